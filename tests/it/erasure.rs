//! What was withdrawn is in no byte of the data folder, while everything else is; what is kept of it
//! is that there was a consent and that it ended.

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod consents;
mod pages;

use crate::harness::host::{Desk, credential};
use crate::harness::{self, STUDY, Server, contribution, varied};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

/// Every word of the files of a folder that begins with `trace-` and ends with an exclamation mark.
fn traces(folder: &Path) -> BTreeSet<String> {
    const BEGINS: &[u8] = b"trace-";
    let mut found = BTreeSet::new();
    for entry in fs::read_dir(folder).unwrap() {
        let bytes = fs::read(entry.unwrap().path()).unwrap();
        for at in 0..bytes.len().saturating_sub(BEGINS.len()) {
            if bytes[at..].starts_with(BEGINS) {
                let is_part = |byte: &u8| byte.is_ascii_alphanumeric() || *byte == b'-';
                let end = bytes[at..].iter().position(|byte| !is_part(byte));
                // What the end of a page cut off is found whole elsewhere.
                if let Some(end) = end.filter(|end| bytes[at + end] == b'!') {
                    let word = bytes[at..at + end].to_vec();
                    found.insert(String::from_utf8(word).unwrap());
                }
            }
        }
    }
    found
}

fn set(words: &[&str]) -> BTreeSet<String> {
    words.iter().map(|word| (*word).to_owned()).collect()
}

/// A pair with a note that nobody else has.
fn noted(number: u32, note: &str) -> Value {
    let mut document = contribution(varied(number));
    document["note"] = json!(format!("{note}!"));
    document
}

fn send(server: &Server, document: &Value) -> Value {
    server.post(document).expect(201).json()
}

fn place(reply: &Value) -> String {
    let id = reply["contribution"].as_str().unwrap();
    format!("/api/v1/studies/{STUDY}/contributions/{id}")
}

fn holder(reply: &Value) -> String {
    format!("Receipt {}", reply["receipt"].as_str().unwrap())
}

fn withdraw(server: &Server, reply: &Value) -> Value {
    let headers = [("authorization", &*holder(reply))];
    server
        .send("DELETE", &place(reply), &headers, b"")
        .expect(200)
        .json()
}

#[test]
fn what_waits_is_erased_at_once_and_what_counts_with_the_batch_that_takes_it_out() {
    let (folder, server) = harness::server();
    let counted: Vec<Value> = (0..5)
        .map(|number| send(&server, &noted(number, &format!("trace-counted-{number}"))))
        .collect();
    let waits = send(&server, &noted(10, "trace-waits"));
    let mut all = set(&["trace-waits"]);
    all.extend((0..5).map(|number| format!("trace-counted-{number}")));
    assert_eq!(traces(folder.path()), all, "the search finds what is there");
    // The version before a correction, and the correction.
    let mended = noted(11, "trace-mended");
    let headers = [
        ("authorization", &*holder(&waits)),
        ("content-type", "application/json"),
    ];
    let path = format!("{}?reason=other", place(&waits));
    server
        .send("PUT", &path, &headers, mended.to_string().as_bytes())
        .expect(200);
    all.insert("trace-mended".to_owned());
    assert_eq!(traces(folder.path()), all);
    withdraw(&server, &waits);
    all.retain(|word| word.starts_with("trace-counted"));
    assert_eq!(traces(folder.path()), all, "erased when the answer came");
    for gone in &counted[..4] {
        withdraw(&server, gone);
    }
    assert_eq!(traces(folder.path()), all, "four wait for the batch");
    withdraw(&server, &counted[4]);
    assert_eq!(traces(folder.path()), set(&[]), "the fifth closed it");
    drop(server);
    assert_eq!(traces(folder.path()), set(&[]));
}

#[test]
fn what_was_held_declined_or_planned_leaves_no_trace_nor_does_what_was_made_of_it() {
    let folder = harness::folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let plans = format!("/api/v1/studies/{STUDY}/plans");
    let json = [("content-type", "application/json")];
    let plan = server.send("POST", &plans, &json, br#"{"kind": "two_sessions"}"#);
    let plan = plan.expect(201).json();
    let code = plan["code"].as_str().unwrap();
    server
        .send("POST", &format!("{plans}/{code}/open"), &[], b"")
        .expect(200);
    let mut planned = noted(1, "trace-planned");
    planned["plan_code"] = json!(code);
    let mut copied = noted(2, "trace-held");
    copied["sessions"][1]["shots"] = copied["sessions"][0]["shots"].clone();
    let held = send(&server, &copied);
    copied["note"] = json!("trace-declined!");
    let declined = send(&server, &copied);
    assert_eq!(
        (&held["state"], &declined["state"]),
        (&json!("held"), &json!("held"))
    );
    let desk = Desk::enter(&server, &credential);
    let id = declined["contribution"].as_str().unwrap();
    let fields = [
        ("version", "1"),
        ("decision", "declined-copied"),
        ("note", "trace-of-the-host! in both sheets"),
    ];
    desk.post(&format!("/host/studies/{STUDY}/review/{id}"), &fields)
        .expect(303);
    let planned = send(&server, &planned);
    let before = traces(folder.path());
    let wanted = [
        "trace-declined",
        "trace-held",
        "trace-of-the-host",
        "trace-planned",
    ];
    assert_eq!(before, set(&wanted));
    for reply in [&planned, &held, &declined] {
        withdraw(&server, reply);
    }
    assert_eq!(traces(folder.path()), set(&[]));
    drop(server);
    let database = rusqlite::Connection::open(folder.path().join("tautpool.sqlite")).unwrap();
    let count = |sql: &str| -> i64 { database.query_row(sql, [], |row| row.get(0)).unwrap() };
    for table in ["likeness", "screening", "screening_flag"] {
        assert_eq!(
            count(&format!("SELECT count(*) FROM {table}")),
            0,
            "{table}"
        );
    }
    // That somebody took part, decided on and left stays.
    assert_eq!(
        count("SELECT count(*) FROM contribution WHERE state = 'withdrawn'"),
        3
    );
    assert_eq!(count("SELECT count(*) FROM decision WHERE note = ''"), 1);
    assert_eq!(
        count("SELECT count(*) FROM consent WHERE event = 'ended'"),
        3
    );
}

#[test]
fn a_withdrawn_request_that_is_sent_again_does_not_come_back() {
    let (folder, server) = harness::server();
    let document = noted(1, "trace-again").to_string();
    let key = [("idempotency-key", "the-same-key")];
    let first = server
        .post_bytes(document.as_bytes(), &key)
        .expect(201)
        .json();
    let again = server
        .post_bytes(document.as_bytes(), &key)
        .expect(201)
        .json();
    assert_eq!(again["repeated"], true);
    withdraw(&server, &first);
    let problem = server.post_bytes(document.as_bytes(), &key);
    problem.expect_problem(409, "already-withdrawn");
    assert_eq!(traces(folder.path()), set(&[]));
    drop(server);
    let database = rusqlite::Connection::open(folder.path().join("tautpool.sqlite")).unwrap();
    let is_zero: bool = database
        .query_row(
            "SELECT request_hash = zeroblob(32) FROM idempotency",
            [],
            |row| row.get(0),
        )
        .unwrap();
    assert!(is_zero, "the hash of what was sent is gone too");
}

#[test]
fn a_reader_keeps_the_log_and_it_is_emptied_when_the_reader_is_gone() {
    let (folder, server) = harness::server();
    let sent = send(&server, &noted(1, "trace-read"));
    let reader = rusqlite::Connection::open(folder.path().join("tautpool.sqlite")).unwrap();
    reader.execute_batch("BEGIN").unwrap();
    let n: i64 = reader
        .query_row("SELECT count(*) FROM version", [], |row| row.get(0))
        .unwrap();
    assert_eq!(n, 1);
    let begun = Instant::now();
    withdraw(&server, &sent);
    assert!(
        begun.elapsed() < Duration::from_secs(4),
        "nobody waits for the reader"
    );
    assert_eq!(
        traces(folder.path()),
        set(&["trace-read"]),
        "the reader still may read it"
    );
    drop(reader);
    let deadline = Instant::now() + Duration::from_secs(120);
    while !traces(folder.path()).is_empty() {
        assert!(Instant::now() < deadline, "ten seconds are promised");
        std::thread::sleep(Duration::from_millis(500));
    }
}

#[test]
fn a_kill_between_erasing_and_emptying_the_log_is_made_good_at_the_next_start() {
    let (folder, server) = harness::server();
    let sent = send(&server, &noted(1, "trace-killed"));
    let reader = rusqlite::Connection::open(folder.path().join("tautpool.sqlite")).unwrap();
    reader.execute_batch("BEGIN").unwrap();
    let _: i64 = reader
        .query_row("SELECT count(*) FROM version", [], |row| row.get(0))
        .unwrap();
    withdraw(&server, &sent);
    drop(server);
    assert_eq!(traces(folder.path()), set(&["trace-killed"]));
    drop(reader);
    let _server = Server::serve(folder.path(), &[]);
    assert_eq!(traces(folder.path()), set(&[]));
    // And the file is written anew, which the killed server had not come to.
    let database = rusqlite::Connection::open(folder.path().join("tautpool.sqlite")).unwrap();
    let is_due = || -> bool {
        let sql = "SELECT EXISTS (SELECT 1 FROM fact WHERE name = 'rewrite_due')";
        database.query_row(sql, [], |row| row.get(0)).unwrap()
    };
    let deadline = Instant::now() + Duration::from_secs(60);
    while is_due() {
        assert!(Instant::now() < deadline, "the server does it at its start");
        std::thread::sleep(Duration::from_millis(100));
    }
}
