//! Databases of every earlier format, written by the programs of their time, open with this one: all
//! that was sent is there, receipts open it, and figures come out as they did.

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

use crate::harness::{STUDY, Server, analysis, run};
use serde_json::Value;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use tautpool::store::Store;
use tempfile::TempDir;

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/databases")
}

/// The data folder of a format, as the program of its time left it.
fn folder(format: i64) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let packed = fs::read(fixtures().join(format!("format-{format}.sqlite.gz"))).unwrap();
    let mut database = Vec::new();
    flate2::read::GzDecoder::new(packed.as_slice())
        .read_to_end(&mut database)
        .unwrap();
    fs::write(folder.path().join("tautpool.sqlite"), database).unwrap();
    let key = fixtures().join(format!("format-{format}.key"));
    fs::copy(key, folder.path().join("receipt.key")).unwrap();
    folder
}

/// What senders were told then. Formats that no program wrote by itself were made of format 8.
fn told(format: i64) -> Value {
    let file = match format {
        4..=7 => 8,
        other => other,
    };
    let text = fs::read(fixtures().join(format!("format-{file}.json"))).unwrap();
    serde_json::from_slice(&text).unwrap()
}

fn version(folder: &Path) -> i64 {
    let database = rusqlite::Connection::open(folder.join("tautpool.sqlite")).unwrap();
    database
        .query_row("PRAGMA user_version", [], |row| row.get(0))
        .unwrap()
}

/// What a receipt opens is what was sent with it, every version.
fn opens(server: &Server, sent: &Value) {
    let path = format!("/api/v1/studies/{STUDY}/contributions");
    let holder = format!("Receipt {}", sent["receipt"].as_str().unwrap());
    let answer = server.send("GET", &path, &[("authorization", &holder)], b"");
    let own = answer.expect(200).json();
    let found = own["contributions"].as_array().unwrap().iter();
    let mut found = found.filter(|one| one["contribution"] == sent["contribution"]);
    let contribution = found.next().unwrap();
    assert_eq!(contribution["state"], sent["state"]);
    let documents = sent["documents"].as_array().unwrap();
    let versions = contribution["versions"].as_array().unwrap();
    assert_eq!(versions.len(), documents.len());
    let is_erased = versions[0]["document"].is_null();
    for (version, document) in versions.iter().zip(documents) {
        if !is_erased {
            assert_eq!(version["document"], *document);
        }
    }
    if is_erased {
        assert_eq!(sent["state"], "withdrawn");
    }
}

#[test]
fn every_earlier_format_opens_with_all_that_was_sent_and_its_figures() {
    for format in 1..Store::format() {
        let folder = folder(format);
        assert_eq!(version(folder.path()), format);
        let told = told(format);
        let server = Server::serve(folder.path(), &[]);
        let sent = told["sent"].as_array().unwrap();
        assert!(27 < sent.len());
        for sent in sent {
            opens(&server, sent);
        }
        for plan in told["plans"].as_array().unwrap() {
            let path = format!(
                "/api/v1/studies/{STUDY}/plans/{}/open",
                plan.as_str().unwrap()
            );
            server.send("POST", &path, &[], b"").expect(200);
        }
        let pooled = server
            .get(&format!("/api/v1/studies/{STUDY}/pooled"))
            .expect(200)
            .json();
        assert_eq!(pooled["batch"]["number"], told["batch"], "format {format}");
        let speed = analysis(&pooled, "speed", "band_1");
        let estimate = speed["models"]["reml"]["estimate"].as_f64().unwrap();
        let then = told["speed"].as_f64().unwrap();
        assert!(
            (estimate - then).abs() < 1e-9,
            "format {format}: {estimate} then {then}"
        );
        if 7 <= format {
            // Its bytes are those of then, which today's schema does not describe.
            let hash = format!("/api/v1/studies/{STUDY}/releases/1/sha256");
            server.get(&hash).expect(200);
        }
        drop(server);
        assert_eq!(version(folder.path()), Store::format());
        let kept = Store::look_into(&folder.path().join("tautpool.sqlite")).unwrap();
        let sent = i64::try_from(sent.len()).unwrap();
        assert!(kept.counts.contains(&("contributions", sent)), "{kept:?}");
    }
}

#[test]
fn every_earlier_format_is_backed_up_as_it_is_and_restored_to_the_newest() {
    for format in 1..Store::format() {
        let folder = folder(format);
        let to = tempfile::tempdir().unwrap();
        let (data, backups) = (folder.path().to_str().unwrap(), to.path().to_str().unwrap());
        let made = run(&["backup", "--json", "--data", data, "--to", backups], b"");
        assert!(made.status.success(), "{made:?}");
        let made: Value = serde_json::from_slice(&made.stdout).unwrap();
        assert_eq!(made["format"], format);
        assert_eq!(
            version(folder.path()),
            format,
            "the folder is left as it is"
        );
        let restored = to.path().join("restored");
        let output = run(
            &[
                "restore",
                made["backup"].as_str().unwrap(),
                "--data",
                restored.to_str().unwrap(),
            ],
            b"",
        );
        assert!(output.status.success(), "{output:?}");
        let words = String::from_utf8(output.stdout).unwrap();
        let brought = format!("brought to database format {}", Store::format());
        assert!(words.contains(&brought), "{words}");
        assert_eq!(version(&restored), Store::format());
    }
}

#[test]
fn a_newer_format_is_refused_in_words_and_left_as_it_is() {
    let folder = folder(Store::format() - 1);
    let path = folder.path().join("tautpool.sqlite");
    let database = rusqlite::Connection::open(&path).unwrap();
    let newer = Store::format() + 1;
    database.pragma_update(None, "user_version", newer).unwrap();
    drop(database);
    let data = folder.path().to_str().unwrap();
    for command in [
        vec!["serve", "--data", data, "--listen", "127.0.0.1:0"],
        vec!["export", "--data", data],
        vec!["host", "study", "list", "--data", data],
    ] {
        let output = run(&command, b"");
        assert_eq!(output.status.code(), Some(1), "{output:?}");
        let words = String::from_utf8(output.stderr).unwrap();
        let wanted = format!(
            "the database has format {newer}, this program knows up to {}: use a newer tautpool",
            Store::format()
        );
        assert!(words.contains(&wanted), "{words}");
    }
    assert_eq!(version(folder.path()), newer);
}
