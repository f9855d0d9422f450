//! What is different at a terminal, and what happens when nobody reads.

use super::{fixture, leaves};
use crate::harness::{self, STUDY, Server, contribution, run, tautpool, varied};
use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Command, Output, Stdio};

/// What the program says when standard output is closed before it writes, and how it ends.
fn unread(arguments: &[&str]) -> Output {
    let mut child = tautpool()
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    child.wait_with_output().unwrap()
}

#[test]
fn nothing_breaks_when_nobody_reads_the_output() {
    let folder = harness::folder();
    let data = folder.path().to_str().unwrap();
    let to = tempfile::tempdir().unwrap();
    let to = to.path().to_str().unwrap();
    let table = fixture("demo/study.json");
    let table = table.to_str().unwrap();
    for arguments in [
        vec!["--help"],
        vec!["serve", "--help"],
        vec!["--version"],
        vec!["completions", "bash"],
        vec!["man"],
        vec!["inspect", "--data", data],
        vec!["inspect", "--json", "--data", data],
        vec!["check", table],
        vec!["check", "--json", table],
        vec!["export", "--data", data],
        vec!["backup", "--data", data, "--to", to],
        vec!["host", "study", "list", "--data", data],
        vec!["host", "study", "list", "--json", "--data", data],
        vec![
            "host",
            "invitations",
            "make",
            STUDY,
            "--count",
            "50",
            "--data",
            data,
        ],
        vec!["host", "invitations", "list", STUDY, "--data", data],
        vec!["host", "credential", "make", "--data", data],
        vec!["host", "study", "close", STUDY, "--data", data],
        vec!["release", "verify", table],
        vec!["pool", table],
        vec!["demo", "--listen", "127.0.0.1:0"],
    ] {
        let output = unread(&arguments);
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(!said.contains("panicked"), "{arguments:?}: {said}");
        assert!(
            matches!(output.status.code(), Some(0..=2)),
            "{arguments:?}: {output:?}"
        );
    }
    // Where there is much to write, after its first line.
    let mut child = tautpool()
        .args(["man", "serve"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    out.read_line(&mut String::new()).unwrap();
    drop(out);
    let output = child.wait_with_output().unwrap();
    assert!(
        output.status.success() && output.stderr.is_empty(),
        "{output:?}"
    );
}

/// What a command shows at a terminal, both streams together.
fn at_a_terminal(line: &str, environment: &[(&str, &str)]) -> String {
    let mut command = Command::new("script");
    for (name, _) in std::env::vars_os() {
        if name.to_string_lossy().starts_with("TAUTPOOL_") {
            command.env_remove(name);
        }
    }
    let output = command
        .env_remove("NO_COLOR")
        .env("TERM", "xterm-256color")
        .envs(environment.iter().copied())
        .args(["--quiet", "--return", "--command", line, "/dev/null"])
        .stdin(Stdio::null())
        .output()
        .unwrap();
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Whether a text chooses a colour or a weight (ECMA-48, "select graphic rendition").
fn is_coloured(text: &str) -> bool {
    text.match_indices("\x1b[").any(|(place, _)| {
        let rest = &text[place + 2..];
        let end = rest.find(|c: char| !c.is_ascii_digit() && c != ';');
        end.is_some_and(|end| rest[end..].starts_with('m') && !["", "0"].contains(&&rest[..end]))
    })
}

#[test]
fn progress_is_for_a_person_at_a_terminal_alone() {
    let folder = harness::folder();
    let to = tempfile::tempdir().unwrap();
    let program = env!("CARGO_BIN_EXE_tautpool");
    let (data, to) = (folder.path().display(), to.path().display());
    let shown = at_a_terminal(
        &format!("{program} backup --data {data} --to {to}/one"),
        &[],
    );
    assert!(
        shown.contains("copying and checking") && shown.contains("Checked: integrity"),
        "{shown}"
    );
    let arguments = format!("backup --data {data} --to {to}/two");
    let arguments: Vec<&str> = arguments.split(' ').collect();
    let quiet = run(&arguments, b"");
    assert!(
        quiet.status.success() && quiet.stderr.is_empty(),
        "{quiet:?}"
    );
}

#[test]
fn colours_are_left_out_where_they_are_not_wanted() {
    let program = env!("CARGO_BIN_EXE_tautpool");
    let folder = harness::folder();
    let wrong = format!("{program} serve --workers 0");
    // A key that cannot be read makes a line of the log: backups into a file fail at once.
    let blocked = folder.path().with_extension("blocked");
    File::create(&blocked).unwrap();
    let log = format!(
        "timeout --signal=TERM 5 {program} serve --log-format text --data {} --listen 127.0.0.1:0 --backup-to {}",
        folder.path().display(),
        blocked.display()
    );
    for line in [format!("{program} --help"), wrong, log] {
        let coloured = at_a_terminal(&line, &[]);
        assert!(is_coloured(&coloured), "{line}: {coloured:?}");
        let plain = at_a_terminal(&line, &[("NO_COLOR", "1")]);
        assert!(
            !is_coloured(&plain) && 10 < plain.len(),
            "{line}: {plain:?}"
        );
    }
    let piped = run(&["--help"], b"");
    assert!(!is_coloured(&String::from_utf8(piped.stdout).unwrap()));
    std::fs::remove_file(blocked).unwrap();
}

#[test]
fn log_lines_are_json_or_words() {
    let folder = harness::folder();
    for (format, is_json) in [(None, true), (Some("json"), true), (Some("text"), false)] {
        let mut more = vec!["--log", "info"];
        if let Some(format) = format {
            more.extend(["--log-format", format]);
        }
        let server = Server::serve(folder.path(), &more);
        server.get("/problems").expect(200);
        let log = server.log();
        let line = log.lines().find(|line| line.contains("answered")).unwrap();
        let parsed = serde_json::from_str::<serde_json::Value>(line);
        assert_eq!(parsed.is_ok(), is_json, "{line}");
        assert!(
            line.contains("/problems") && !line.contains('\x1b'),
            "{line}"
        );
    }
}

#[test]
fn a_dash_is_standard_input_or_output_wherever_a_file_is_taken() {
    for (name, command) in leaves() {
        for argument in command.get_arguments() {
            let takes_file = argument
                .get_value_names()
                .is_some_and(|names| names.iter().any(|name| name.ends_with("FILE")));
            let help = argument
                .get_help()
                .map(ToString::to_string)
                .unwrap_or_default();
            assert!(
                !takes_file || help.contains("- is standard"),
                "{name:?}: {help}"
            );
        }
    }
    let study = std::fs::read(fixture("demo/study.json")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let added = harness::host_study(&["add", "-"], folder.path(), &study);
    assert!(added.status.success(), "{added:?}");
    let name = "looser-or-tighter";
    let other = String::from_utf8(study.clone()).unwrap();
    let other = other.replacen("\"question\": \"", "\"question\": \"Once more: ", 1);
    let amended = harness::host_study(&["amend", name, "-"], folder.path(), other.as_bytes());
    assert!(amended.status.success(), "{amended:?}");
    let document = contribution(varied(1)).to_string();
    let checked = run(&["check", "-"], document.as_bytes());
    assert!(checked.status.success(), "{checked:?}");
    let checked = run(
        &[
            "check",
            fixture("contributions/study.json").to_str().unwrap(),
            "--study",
            "-",
        ],
        &study,
    );
    assert_eq!(checked.status.code(), Some(1), "it is no contribution");
    let both = run(&["check", "-", "--study", "-"], &study);
    assert!(String::from_utf8(both.stderr).unwrap().contains("not both"));
    let to_out = run(&["export", "--data", data, "--output", "-"], b"");
    assert!(to_out.stdout.starts_with(b"{\"document\":\"export\""));
}

#[test]
fn an_export_to_a_file_is_private_and_overwrites_nothing() {
    use std::os::unix::fs::PermissionsExt;
    let folder = harness::folder();
    let data = folder.path().to_str().unwrap();
    let file = folder.path().join("private.json");
    let to_file = ["export", "--data", data, "--output", file.to_str().unwrap()];
    let made = run(&to_file, b"");
    assert!(made.status.success(), "{made:?}");
    let text = std::fs::read(&file).unwrap();
    assert_eq!(text, run(&["export", "--data", data], b"").stdout);
    assert_eq!(
        std::fs::metadata(&file).unwrap().permissions().mode() & 0o777,
        0o600
    );
    let again = run(&to_file, b"");
    assert_eq!(again.status.code(), Some(1));
    assert_eq!(std::fs::read(&file).unwrap(), text);
    assert!(Path::new(&file).exists());
    std::io::stdout().flush().unwrap();
}
