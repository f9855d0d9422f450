//! The drill: backups under load, restored and served.

use super::{backup, refusal, restore, try_backup};
use crate::harness::{self, Pair, STUDY, Server, add_study, contribution, varied};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;
use tempfile::TempDir;

/// What senders were told, in the order they were: document and reply.
type Ledger = Arc<Mutex<Vec<(Value, Value)>>>;

/// Sends different pairs until it is told to stop; writes down every 201.
fn send_until(stop: &AtomicBool, next: &AtomicU32, server: &Server, ledger: &Ledger) {
    while !stop.load(Ordering::SeqCst) {
        let number = next.fetch_add(1, Ordering::SeqCst);
        let document = contribution(varied(number));
        let answer = server.post(&document).expect(201);
        ledger.lock().unwrap().push((document, answer.json()));
        // Steady, but not so many that all of them take long to send again.
        thread::sleep(Duration::from_millis(25));
    }
}

/// Public figures of the newest batch in a folder as they leave, without the day, which may end
/// between two batches. A contribution is acknowledged before its batch is public.
fn figures(server: &Server, data: &Path) -> Value {
    let database = rusqlite::Connection::open(data.join("tautpool.sqlite")).unwrap();
    let newest = "SELECT max(number) FROM batch";
    let newest: Option<i64> = database.query_row(newest, [], |row| row.get(0)).unwrap();
    let path = format!("/api/v1/studies/{STUDY}/pooled");
    let mut pooled = Value::Null;
    harness::wait_until("the newest batch is public", || {
        pooled = server.get(&path).expect(200).json();
        pooled["batch"]["number"].as_i64() == newest
    });
    pooled["batch"]["date"].take();
    pooled
}

fn own(server: &Server, receipt: &str) -> Value {
    let path = format!("/api/v1/studies/{STUDY}/contributions");
    let holder = format!("Receipt {receipt}");
    let answer = server.send("GET", &path, &[("authorization", &holder)], b"");
    answer.expect(200).json()
}

#[test]
fn backups_under_load_restore_to_everything_that_was_acknowledged_before() {
    let (folder, server) = harness::server();
    let to = tempfile::tempdir().unwrap();
    let ledger = Ledger::default();
    let (stop, next) = (AtomicBool::new(false), AtomicU32::new(0));
    let mut taken = Vec::new();
    thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| send_until(&stop, &next, &server, &ledger));
        }
        for _ in 0..harness::runs(2, 60) {
            thread::sleep(Duration::from_millis(1100));
            let before = ledger.lock().unwrap().len();
            let (backup, said) = backup(folder.path(), to.path());
            let after = ledger.lock().unwrap().len();
            taken.push((before, backup, said, after));
        }
        stop.store(true, Ordering::SeqCst);
    });
    let last = taken.last().unwrap();
    assert!(
        20 < last.0 && taken[0].0 < last.0,
        "hardly any load: {taken:?}"
    );
    drop(server);
    let ledger = ledger.lock().unwrap();
    let fresh = harness::server();
    let mut sent = Vec::new();
    for (before, backup, said, after) in &taken {
        // A sender each may have been answered and not yet have written it down.
        let kept = said["holds"]["contributions"].as_u64().unwrap();
        let at_most = u64::try_from(*after + 2).unwrap();
        assert!(
            (*before as u64..=at_most).contains(&kept),
            "{said} {before} {after}"
        );
        is_restored(backup, &ledger[..*before], &fresh, &mut sent);
    }
}

/// A backup restored and served has everything that was acknowledged before it began, as it was
/// told; its receipts open; and its figures are those of a fresh service that got the same
/// contributions in the same order. That was sent what stood in the backups before, and is sent the
/// rest now.
fn is_restored(
    backup: &Path,
    before: &[(Value, Value)],
    (folder, fresh): &(TempDir, Server),
    sent: &mut Vec<String>,
) {
    let parent = tempfile::tempdir().unwrap();
    let data = parent.path().join("restored");
    let output = restore(backup, &data);
    assert!(output.status.success(), "{output:?}");
    let restored = harness::exported(&data);
    let kept: BTreeMap<&str, &Value> = restored
        .iter()
        .map(|kept| (kept["contribution"].as_str().unwrap(), kept))
        .collect();
    let server = Server::serve(&data, &[]);
    for (document, reply) in before {
        let id = reply["contribution"].as_str().unwrap();
        let stored = kept[id]["document"].as_str().unwrap();
        assert_eq!(serde_json::from_str::<Value>(stored).unwrap(), *document);
    }
    for (document, reply) in before.iter().step_by(7) {
        let own = own(&server, reply["receipt"].as_str().unwrap());
        let only = &own["contributions"][0];
        assert_eq!(only["contribution"], reply["contribution"]);
        assert_eq!(only["versions"][0]["document"], *document);
    }
    let documents = restored
        .iter()
        .map(|kept| kept["document"].as_str().unwrap());
    let documents: Vec<&str> = documents.collect();
    assert_eq!(
        sent,
        &documents[..sent.len()],
        "every backup goes on from the one before"
    );
    for document in &documents[sent.len()..] {
        fresh.post_bytes(document.as_bytes(), &[]).expect(201);
        sent.push((*document).to_owned());
    }
    assert_eq!(figures(&server, &data), figures(fresh, folder.path()));
}

#[test]
fn a_backup_is_for_its_owner_alone_says_what_it_holds_and_is_never_written_over() {
    use std::os::unix::fs::PermissionsExt;
    let (folder, server) = harness::server();
    for number in 0..6 {
        server.post(&contribution(varied(number))).expect(201);
    }
    let parent = tempfile::tempdir().unwrap();
    let to = parent.path().join("made/for/it");
    let (made, said) = backup(folder.path(), &to);
    let holds = &said["holds"];
    assert_eq!(
        (&holds["contributions"], &holds["studies"]),
        (&json!(6), &json!(1))
    );
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&made), 0o700);
    let mut names = Vec::new();
    for entry in fs::read_dir(&made).unwrap() {
        let path = entry.unwrap().path();
        assert_eq!(mode(&path), 0o600, "{}", path.display());
        names.push(path.file_name().unwrap().to_str().unwrap().to_owned());
    }
    names.sort();
    assert_eq!(
        names,
        [
            "SHA256SUMS",
            "backup.json",
            "receipt.key",
            "tautpool.sqlite"
        ]
    );
    // Anybody can check it with what every system has.
    let checked = std::process::Command::new("sha256sum")
        .args(["--check", "--strict", "SHA256SUMS"])
        .current_dir(&made)
        .output();
    assert!(checked.unwrap().status.success());
    let description: Value =
        serde_json::from_slice(&fs::read(made.join("backup.json")).unwrap()).unwrap();
    assert_eq!(description["holds"], *holds);
    assert_eq!(description["format"], said["format"]);
    // Every second has one at most.
    let outputs: Vec<_> = (0..3).map(|_| try_backup(folder.path(), &to)).collect();
    let refused: Vec<_> = outputs
        .iter()
        .filter(|output| !output.status.success())
        .collect();
    for output in &refused {
        assert!(
            refusal(output).contains("nothing is overwritten"),
            "{output:?}"
        );
    }
    let n_backups = fs::read_dir(&to).unwrap().count();
    assert_eq!(n_backups, 1 + outputs.len() - refused.len());
    assert!(super::check(&made).status.success());
    // A restored folder is not overwritten either, nor one in use.
    let again = restore(&made, folder.path());
    assert!(refusal(&again).contains("is not empty"), "{again:?}");
    let inside = try_backup(folder.path(), &folder.path().join("backups"));
    assert!(refusal(&inside).contains("inside the data folder"));
    assert!(
        !folder.path().join("backups").exists(),
        "nothing is made there"
    );
    let nothing = try_backup(parent.path(), &to);
    assert!(refusal(&nothing).contains("nothing to back up"));
}

#[test]
fn what_was_withdrawn_is_in_no_backup_from_after_it_was_erased() {
    let (folder, server) = harness::server();
    let mut document = contribution(Pair::default());
    document["note"] = json!("a note that nobody else would write");
    let reply = server.post(&document).expect(201).json();
    let to = tempfile::tempdir().unwrap();
    let (before, _) = backup(folder.path(), &to.path().join("before"));
    let holder = format!("Receipt {}", reply["receipt"].as_str().unwrap());
    let id = reply["contribution"].as_str().unwrap();
    let path = format!("/api/v1/studies/{STUDY}/contributions/{id}");
    let headers = [("authorization", holder.as_str())];
    server.send("DELETE", &path, &headers, b"").expect(200);
    let (after, _) = backup(folder.path(), &to.path().join("after"));
    let has_note = |backup: &Path| {
        let bytes = fs::read(backup.join("tautpool.sqlite")).unwrap();
        let note = b"a note that nobody else would write";
        bytes.windows(note.len()).any(|window| window == note)
    };
    assert!(has_note(&before), "the search finds what is there");
    assert!(!has_note(&after));
}

#[test]
fn a_backup_of_an_idle_folder_needs_no_server_and_one_of_a_newer_format_is_refused() {
    let folder = harness::folder();
    let to = tempfile::tempdir().unwrap();
    let (made, _) = backup(folder.path(), &to.path().join("idle"));
    let empty = tempfile::tempdir().unwrap();
    let output = restore(&made, empty.path());
    assert!(
        output.status.success(),
        "an empty folder is taken: {output:?}"
    );
    let again = add_study(harness::STUDY_FILE, empty.path());
    let words = String::from_utf8(again.stderr).unwrap();
    assert!(words.contains("already a study"), "{words}");
    let database = rusqlite::Connection::open(folder.path().join("tautpool.sqlite")).unwrap();
    database.pragma_update(None, "user_version", 99).unwrap();
    drop(database);
    let newer = try_backup(folder.path(), &to.path().join("newer"));
    assert!(refusal(&newer).contains("use a newer tautpool"));
    assert_eq!(fs::read_dir(to.path().join("newer")).unwrap().count(), 0);
}

#[test]
fn withdrawals_made_since_are_taken_over_from_a_newer_folder() {
    let (folder, server) = harness::server();
    let sent: Vec<Value> = (0..5)
        .map(|number| {
            server
                .post(&contribution(varied(number)))
                .expect(201)
                .json()
        })
        .collect();
    let to = tempfile::tempdir().unwrap();
    let (made, _) = backup(folder.path(), &to.path().join("before"));
    let gone = &sent[2];
    let holder = format!("Receipt {}", gone["receipt"].as_str().unwrap());
    let id = gone["contribution"].as_str().unwrap();
    let path = format!("/api/v1/studies/{STUDY}/contributions/{id}");
    let headers = [("authorization", holder.as_str())];
    let told = server
        .send("DELETE", &path, &headers, b"")
        .expect(200)
        .json();
    let (newer, _) = backup(folder.path(), &to.path().join("after"));
    // From the folder while it is in use, and from a newer backup.
    for (name, other) in [("of-folder", folder.path()), ("of-backup", &newer)] {
        let data = to.path().join(name);
        let arguments = [
            "restore",
            "--json",
            made.to_str().unwrap(),
            "--data",
            data.to_str().unwrap(),
            "--withdrawn-in",
            other.to_str().unwrap(),
        ];
        let output = harness::run(&arguments, b"");
        assert!(output.status.success(), "{output:?}");
        let said: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(said["withdrawn"], 1);
        let restored = Server::serve(&data, &[]);
        let own = own(&restored, gone["receipt"].as_str().unwrap());
        let (now, then) = (&own["contributions"][0], &told["contributions"][0]);
        assert_eq!(now["state"], "withdrawn");
        assert_eq!(now["withdrawn"], then["withdrawn"]);
        assert_eq!(now["consent"], then["consent"]);
    }
    assert!(
        super::check(&newer).status.success(),
        "the backup is as it was"
    );
}
