//! Completions and manual pages, held against the programs that read them.

use super::leaves;
use crate::harness::run;
use std::fs;
use std::process::Command;

#[test]
fn shells_take_the_completions() {
    let folder = tempfile::tempdir().unwrap();
    for (shell, check) in [("bash", "-n"), ("zsh", "-n"), ("fish", "--no-execute")] {
        let script = run(&["completions", shell], b"");
        assert!(script.status.success());
        let text = String::from_utf8(script.stdout).unwrap();
        for option in ["metrics-listen", "withdrawn-in", "invitations"] {
            assert!(text.contains(option), "{shell}: {option}");
        }
        let file = folder.path().join(shell);
        fs::write(&file, &text).unwrap();
        let output = Command::new(shell).arg(check).arg(&file).output().unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(
            output.status.success() && said.is_empty(),
            "{shell}: {said}"
        );
    }
    // One that completes: the shell asks for what may follow `tautpool host study`.
    let ask = format!(
        ". {}; COMP_WORDS=(tautpool host study \"\"); COMP_CWORD=3; _tautpool tautpool \"\" study; echo \"${{COMPREPLY[@]}}\"",
        folder.path().join("bash").display()
    );
    let output = Command::new("bash").args(["-c", &ask]).output().unwrap();
    let offered = String::from_utf8(output.stdout).unwrap();
    for command in ["add", "open", "amend", "close", "list"] {
        assert!(offered.contains(command), "{offered}");
    }
    assert_eq!(
        run(&["completions", "no-shell"], b"").status.code(),
        Some(2)
    );
}

#[test]
fn there_is_a_page_for_every_command_and_formatters_find_no_fault() {
    let folder = tempfile::tempdir().unwrap();
    let to = folder.path().to_str().unwrap();
    let output = run(&["man", "--to", to, "--"], b"");
    assert!(output.status.success(), "{output:?}");
    for (name, _) in leaves() {
        let page = folder.path().join(format!("tautpool-{}.1", name.join("-")));
        assert!(page.exists(), "{page:?}");
    }
    assert!(folder.path().join("tautpool.1").exists());
    for entry in fs::read_dir(folder.path()).unwrap() {
        let page = entry.unwrap().path();
        let shown = Command::new("man")
            .args(["--warnings", "--encoding=UTF-8", "--local-file"])
            .arg(&page)
            .env("LC_ALL", "C.UTF-8")
            .env("MANWIDTH", "100")
            .output()
            .unwrap();
        let said = String::from_utf8(shown.stderr).unwrap();
        assert!(
            shown.status.success() && said.is_empty(),
            "{page:?}: {said}"
        );
        let linted = Command::new("mandoc")
            .args(["-T", "lint", "-W", "error"])
            .arg(&page)
            .output()
            .unwrap();
        assert!(linted.status.success(), "{page:?}: {linted:?}");
    }
    let one = run(&["man", "host", "study", "add"], b"");
    let page = fs::read(folder.path().join("tautpool-host-study-add.1")).unwrap();
    assert_eq!(one.stdout, page);
    let text = String::from_utf8(page).unwrap();
    for part in ["TAUTPOOL_DATA", "tautpool host study add study.json"] {
        assert!(text.replace("\\-", "-").contains(part), "{text}");
    }
    let none = run(&["man", "host", "party"], b"");
    assert_eq!(none.status.code(), Some(2));
    assert!(
        String::from_utf8(none.stderr)
            .unwrap()
            .contains("no command host party")
    );
}
