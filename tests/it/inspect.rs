//! `tautpool inspect`: it finds what is wrong, says what mends it, and changes nothing, beside a
//! serving process too.

#![expect(
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

use crate::harness::{self, Server, contribution, run, tautpool, varied};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::io::ErrorKind;
use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
use std::os::unix::process::CommandExt;
use std::path::Path;

/// What it says of a folder, with these settings in its environment.
fn inspect(data: &Path, environment: &[(&str, &str)]) -> (Option<i32>, Value) {
    let output = tautpool()
        .envs(environment.iter().copied())
        .args(["inspect", "--json", "--data", data.to_str().unwrap()])
        .output()
        .unwrap();
    let said = serde_json::from_slice(&output.stdout);
    (
        output.status.code(),
        said.unwrap_or_else(|_| panic!("{output:?}")),
    )
}

/// Outcomes and words of one check.
fn of<'a>(said: &'a Value, check: &str) -> Vec<(&'a str, &'a str, Option<&'a str>)> {
    let checks = said["checks"].as_array().unwrap().iter();
    let of_it = checks.filter(|one| one["check"] == check);
    of_it
        .map(|one| {
            (
                one["outcome"].as_str().unwrap(),
                one["found"].as_str().unwrap(),
                one["mend"].as_str(),
            )
        })
        .collect()
}

/// A fault of this check has these words, and says what mends it.
#[track_caller]
fn assert_fault((code, said): (Option<i32>, Value), check: &str, words: &str, mend: &str) {
    assert_eq!(
        (code, &said["ok"]),
        (Some(1), &Value::Bool(false)),
        "{said:#}"
    );
    let told = of(&said, check);
    let is_told = |(outcome, found, told): &(&str, &str, Option<&str>)| {
        *outcome == "fault" && found.contains(words) && told.unwrap().contains(mend)
    };
    assert!(told.iter().any(is_told), "{words}: {said:#}");
}

/// Every file of a folder with its bytes.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = fs::read_dir(folder).unwrap().map(Result::unwrap);
    entries
        .map(|entry| {
            (
                entry.file_name().into_string().unwrap(),
                fs::read(entry.path()).unwrap(),
            )
        })
        .collect()
}

#[test]
fn a_folder_that_is_in_order_is_left_as_it_is() {
    let folder = harness::folder();
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o700)).unwrap();
    let before = files(folder.path());
    let (code, said) = inspect(folder.path(), &[]);
    assert_eq!(
        (code, &said["ok"]),
        (Some(0), &Value::Bool(true)),
        "{said:#}"
    );
    for check in ["folder", "database", "key"] {
        assert_eq!(of(&said, check)[0].0, "ok", "{said:#}");
    }
    for check in ["settings", "disk", "clock", "backups"] {
        assert_eq!(of(&said, check).len(), 1, "{said:#}");
    }
    assert_eq!(files(folder.path()), before);
    // The same for a person.
    let output = run(&["inspect", "--data", folder.path().to_str().unwrap()], b"");
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(
        text.contains("\nok     database   whole, of format "),
        "{text}"
    );
    assert!(
        text.contains("\nlook   backups    none are made while it serves\n"),
        "{text}"
    );
}

#[test]
fn beside_a_server_it_sees_what_is_there_and_disturbs_nobody() {
    let (folder, server) = harness::server();
    for number in 0..4 {
        server.post(&contribution(varied(number))).expect(201);
        let (code, said) = inspect(folder.path(), &[]);
        assert_eq!(code, Some(0), "{said:#}");
    }
    server.get("/ready").expect(200);
    assert_eq!(server.log(), "");
    drop(server);
    // It was killed, so that its log lies beside the database.
    let before = files(folder.path());
    assert!(before.contains_key("tautpool.sqlite-wal"));
    let (code, said) = inspect(folder.path(), &[]);
    assert_eq!(code, Some(0), "{said:#}");
    let after = files(folder.path());
    for file in ["tautpool.sqlite", "tautpool.sqlite-wal", "receipt.key"] {
        assert_eq!(after[file], before[file], "{file}");
    }
    let again = Server::serve(folder.path(), &[]);
    assert_eq!(harness::exported(folder.path()).len(), 4);
    again.get("/ready").expect(200);
}

#[test]
fn what_is_wrong_with_a_folder_is_found_with_its_mend() {
    let folder = harness::folder();
    let data = folder.path();
    let nowhere = data.join("nowhere");
    assert_fault(
        inspect(&nowhere, &[]),
        "folder",
        "there is no tautpool.sqlite",
        "name the data folder",
    );
    assert!(!nowhere.exists());
    let key = data.join("receipt.key");
    let mode =
        |path: &Path, mode| fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    mode(&key, 0o644);
    assert_fault(inspect(data, &[]), "folder", "others may read", "chmod 600");
    mode(&key, 0o600);
    mode(data, 0o777);
    assert_fault(
        inspect(data, &[]),
        "folder",
        "others may write",
        "chmod 700",
    );
    mode(data, 0o755);
    let (code, said) = inspect(data, &[]);
    assert_eq!(code, Some(0), "{said:#}");
    let (outcome, found, mend) = of(&said, "folder")[0];
    assert!(
        outcome == "look" && found.contains("others may look into"),
        "{said:#}"
    );
    assert!(mend.unwrap().starts_with("chmod 700 "), "{said:#}");
    mode(data, 0o700);
    let lock = data.join("in-use.lock");
    mode(&lock, 0o644);
    assert_fault(inspect(data, &[]), "folder", "others may lock", "chmod 600");
    mode(&lock, 0o600);

    let kept = fs::read(&key).unwrap();
    fs::remove_file(&key).unwrap();
    assert_fault(inspect(data, &[]), "key", "there is no", "put back the key");
    assert!(!key.exists(), "none is made");
    fs::write(&key, [7; 32]).unwrap();
    mode(&key, 0o600);
    assert_fault(
        inspect(data, &[]),
        "key",
        "another one's",
        "put back the key",
    );
    fs::write(&key, b"short").unwrap();
    assert_fault(
        inspect(data, &[]),
        "key",
        "not a receipt key",
        "put back the key",
    );
    fs::write(&key, kept).unwrap();
    assert_eq!(inspect(data, &[]).0, Some(0));
}

/// Nobody in particular, as whom root looks at what it may not write in; others are that already.
const NOBODY: u32 = 65_534;

/// What it says to a user that is not root; `None` where the program is out of that user's reach.
fn inspect_unprivileged(data: &Path) -> Option<(Option<i32>, Value)> {
    let mut command = tautpool();
    command.args(["inspect", "--json", "--data", data.to_str().unwrap()]);
    if fs::metadata("/proc/self").unwrap().uid() == 0 {
        command.uid(NOBODY).gid(NOBODY);
    }
    match command.output() {
        Err(error) if error.kind() == ErrorKind::PermissionDenied => None,
        output => {
            let output = output.unwrap();
            Some((
                output.status.code(),
                serde_json::from_slice(&output.stdout).unwrap(),
            ))
        }
    }
}

#[test]
fn what_serve_could_not_write_in_is_found_without_writing() {
    let folder = harness::folder();
    let data = folder.path();
    if fs::metadata("/proc/self").unwrap().uid() == 0 {
        for entry in fs::read_dir(data).unwrap() {
            chown(entry.unwrap().path(), Some(NOBODY), Some(NOBODY)).unwrap();
        }
        chown(data, Some(NOBODY), Some(NOBODY)).unwrap();
    }
    let mode =
        |path: &Path, mode| fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    let Some((code, said)) = inspect_unprivileged(data) else {
        println!("no other user reaches the program here");
        return;
    };
    assert_eq!(code, Some(0), "{said:#}");
    let before = files(data);
    mode(data, 0o500);
    let told = inspect_unprivileged(data).unwrap();
    assert_fault(told, "folder", "may not write in", "chmod u+rwx");
    mode(data, 0o700);
    for (name, words, mend) in [
        ("tautpool.sqlite", "may not write in", "chmod u+rw "),
        ("in-use.lock", "may not write in", "chmod u+rw "),
        ("receipt.key", "may not read", "chmod u+r "),
    ] {
        let wrong = if name == "receipt.key" { 0o200 } else { 0o400 };
        mode(&data.join(name), wrong);
        let told = inspect_unprivileged(data).unwrap();
        assert_fault(told, "folder", words, mend);
        mode(&data.join(name), 0o600);
    }
    assert_eq!(inspect_unprivileged(data).unwrap().0, Some(0));
    assert_eq!(files(data), before);
}

#[test]
fn a_damaged_or_foreign_or_newer_database_is_found() {
    let folder = harness::folder();
    let data = folder.path();
    let file = data.join("tautpool.sqlite");
    let whole = fs::read(&file).unwrap();
    let mut spoiled = whole.clone();
    let half = spoiled.len() / 2;
    spoiled[half..half + 8192].fill(0xA5);
    fs::write(&file, spoiled).unwrap();
    assert_fault(
        inspect(data, &[]),
        "database",
        "damaged",
        "restore a backup",
    );
    fs::write(&file, vec![b'x'; 8192]).unwrap();
    assert_fault(
        inspect(data, &[]),
        "database",
        "damaged",
        "restore a backup",
    );
    fs::write(&file, &whole).unwrap();
    let database = rusqlite::Connection::open(&file).unwrap();
    database.pragma_update(None, "user_version", 99).unwrap();
    drop(database);
    assert_fault(
        inspect(data, &[]),
        "database",
        "use a newer tautpool",
        "restore",
    );
    fs::write(&file, whole).unwrap();
    assert_eq!(inspect(data, &[]).0, Some(0));
}

#[test]
fn a_clock_behind_what_is_stored_is_found() {
    let folder = harness::folder();
    let database = rusqlite::Connection::open(folder.path().join("tautpool.sqlite")).unwrap();
    // The year 2090.
    database
        .execute("UPDATE protocol SET made_at_ms = 3786912000000", [])
        .unwrap();
    drop(database);
    assert_fault(
        inspect(folder.path(), &[]),
        "clock",
        "stored at 2090-",
        "timedatectl",
    );
}

#[test]
fn settings_that_serve_would_refuse_are_found_before_it_starts() {
    let folder = harness::folder();
    let data = folder.path();
    let backups = data.parent().unwrap().join("backups-of-nobody");
    let backups = backups.to_str().unwrap();
    let prefixed = |name: &str| format!("TAUTPOOL_{name}");
    for (settings, words, mend) in [
        (
            vec![("LISTNE", "127.0.0.1:1")],
            "is no setting of this program",
            "write TAUTPOOL_LISTEN",
        ),
        (
            vec![("WORKERS", "many")],
            "invalid value 'many' for '--workers",
            "README.md",
        ),
        (
            vec![("LISTEN", "0.0.0.0:80")],
            "plain HTTP",
            "--behind-tls-proxy",
        ),
        (
            vec![("LISTEN", "0.0.0.0:80"), ("BEHIND_TLS_PROXY", "1")],
            "claim to be the proxy",
            "name its address",
        ),
        (
            vec![("TRUSTED_PROXIES", "10.0.0.1")],
            "--behind-tls-proxy",
            "README.md",
        ),
        (
            vec![("METRICS_LISTEN", "192.0.2.1:9464")],
            "exact counts",
            "127.0.0.1:9464",
        ),
        (
            vec![("PUBLIC_URL", "pool.example/here")],
            "--public-url",
            "README.md",
        ),
        (
            vec![
                ("BACKUP_TO", backups),
                ("BACKUP_EVERY", "48"),
                ("BACKUPS_KEPT", "1"),
            ],
            "removed before",
            "keep them longer",
        ),
        (
            vec![
                ("SECURITY_CONTACT", "mailto:a@pool.example"),
                ("SECURITY_EXPIRES", "2020-01-01"),
            ],
            "--security-expires 2020-01-01",
            "that day is over",
        ),
    ] {
        let named: Vec<(String, &str)> = settings
            .iter()
            .map(|(name, value)| (prefixed(name), *value))
            .collect();
        let environment: Vec<(&str, &str)> = named
            .iter()
            .map(|(name, value)| (name.as_str(), *value))
            .collect();
        assert_fault(inspect(data, &environment), "settings", words, mend);
        // The same out of a file, of which the environment knows nothing.
        let text: String = named
            .iter()
            .map(|(name, value)| format!("{name}={value}\n"))
            .collect();
        let output = run(
            &[
                "inspect",
                "--json",
                "--data",
                data.to_str().unwrap(),
                "--settings",
                "-",
            ],
            text.as_bytes(),
        );
        let said = serde_json::from_slice(&output.stdout).unwrap();
        assert_fault((output.status.code(), said), "settings", words, mend);
    }
    let (code, said) = inspect(
        data,
        &[
            ("TAUTPOOL_PUBLIC_URL", "http://127.0.0.1"),
            ("TAUTPOOL_BEHIND_TLS_PROXY", "1"),
        ],
    );
    assert_eq!(code, Some(0));
    assert_eq!(of(&said, "settings")[0].0, "look", "{said:#}");
}

#[test]
fn backups_are_looked_at_by_age_and_content() {
    let folder = harness::folder();
    let data = folder.path();
    let to = tempfile::tempdir().unwrap();
    let settings = [("TAUTPOOL_BACKUP_TO", to.path().to_str().unwrap())];
    assert_fault(
        inspect(data, &settings),
        "backups",
        "there is none",
        "the service makes one",
    );
    let now_ms = tautpool::clock::now_ms();
    let old = tautpool::backup::make(data, to.path(), now_ms - 3 * 86_400_000).unwrap();
    assert_fault(
        inspect(data, &settings),
        "backups",
        "72 hours old",
        "is the service running",
    );
    let new = tautpool::backup::make(data, to.path(), now_ms).unwrap();
    let (code, said) = inspect(data, &settings);
    assert_eq!(code, Some(0), "{said:#}");
    assert!(
        of(&said, "backups")[0].1.contains("is whole, 0 hours old"),
        "{said:#}"
    );
    let database = new.folder.join("tautpool.sqlite");
    let mut bytes = fs::read(&database).unwrap();
    bytes[5000] ^= 1;
    fs::write(&database, bytes).unwrap();
    assert_fault(
        inspect(data, &settings),
        "backups",
        "spoiled",
        "make another one",
    );
    assert!(old.folder.exists());
}
