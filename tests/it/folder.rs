//! What happens to a data folder that is not as it should be: it is refused in words, and nothing
//! is made that would hide a loss.

#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

use crate::harness::{self, STUDY_FILE, run};
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Command;
use tautpool::receipt::ReceiptKey;
use tautpool::store::Store;

/// Starts a server on a folder, which must refuse, and returns its words.
fn refusal(folder: &Path) -> String {
    let data = folder.to_str().unwrap();
    let output = run(&["serve", "--data", data, "--listen", "127.0.0.1:0"], b"");
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    String::from_utf8(output.stderr).unwrap()
}

#[test]
fn a_folder_that_nobody_made_is_not_made_by_serving_it() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("mistyped");
    assert!(refusal(&folder).contains("tautpool host study add"));
    assert!(!folder.exists());
}

#[test]
fn what_is_made_is_its_owners_alone_whatever_the_umask() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("data");
    let command = format!(
        "umask 022; exec '{}' host study add '{STUDY_FILE}' --data '{}'",
        env!("CARGO_BIN_EXE_tautpool"),
        folder.display()
    );
    let added = Command::new("sh").args(["-c", &command]).output().unwrap();
    assert!(added.status.success(), "{added:?}");
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&folder), 0o700);
    for entry in fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        assert_eq!(mode(&path), 0o600, "{}", path.display());
    }
}

#[test]
fn a_faulty_study_makes_no_folder() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("data");
    let output = run(
        &[
            "host",
            "study",
            "add",
            "-",
            "--data",
            folder.to_str().unwrap(),
        ],
        b"{}",
    );
    assert_eq!(output.status.code(), Some(1));
    assert!(
        String::from_utf8(output.stdout)
            .unwrap()
            .contains("/protocol")
    );
    assert!(!folder.exists());
}

#[test]
fn a_key_or_a_database_alone_is_refused_and_nothing_is_made() {
    for (missing, kept) in [
        (ReceiptKey::FILE, Store::FILE),
        (Store::FILE, ReceiptKey::FILE),
    ] {
        let folder = harness::folder();
        fs::remove_file(folder.path().join(missing)).unwrap();
        let output = harness::add_study(STUDY_FILE, folder.path());
        let words = String::from_utf8(output.stderr).unwrap();
        assert!(words.contains(missing) && words.contains(kept), "{words}");
        assert!(!folder.path().join(missing).exists());
    }
}

#[test]
fn another_key_is_refused() {
    let (one, other) = (harness::folder(), harness::folder());
    let key = |folder: &Path| folder.join(ReceiptKey::FILE);
    fs::copy(key(other.path()), key(one.path())).unwrap();
    assert!(refusal(one.path()).contains("does not belong to this database"));
}

#[test]
fn a_damaged_or_foreign_database_is_refused() {
    let folder = harness::folder();
    let file = folder.path().join(Store::FILE);
    fs::write(&file, vec![b'x'; 8192]).unwrap();
    assert!(refusal(folder.path()).contains("not a database"));
    fs::remove_file(&file).unwrap();
    let foreign = rusqlite::Connection::open(&file).unwrap();
    foreign.execute_batch("CREATE TABLE other (x)").unwrap();
    drop(foreign);
    assert!(refusal(folder.path()).contains("not made by tautpool"));
}

#[test]
fn two_processes_do_not_share_a_folder() {
    let folder = harness::folder();
    let _server = harness::Server::serve(folder.path(), &[]);
    assert!(refusal(folder.path()).contains("another tautpool"));
}
