//! The ledger of consents: one line for each event, kept when the sessions are erased, seen by its
//! giver and the host, and filled in for what was sent before there was one.

use super::{holder, noted, place, send, withdraw};
use crate::harness::{self, STUDY, Server, run};
use data_encoding::HEXLOWER;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::path::Path;

/// SHA-256 of the consent text in the public protocol, as the README has it.
fn text_hash(server: &Server) -> String {
    let path = format!("/api/v1/studies/{STUDY}/protocol");
    let protocol = server.get(&path).expect(200).json();
    let study = protocol["versions"][0]["text"].as_str().unwrap();
    let study: Value = serde_json::from_str(study).unwrap();
    let words = study["protocol"]["consent"]["text"].as_str().unwrap();
    HEXLOWER.encode(&Sha256::digest(words))
}

fn mend(server: &Server, reply: &Value, document: &Value) {
    let path = format!("{}?reason=consent_changed", place(reply));
    let headers = [
        ("authorization", &*holder(reply)),
        ("content-type", "application/json"),
    ];
    server
        .send("PUT", &path, &headers, document.to_string().as_bytes())
        .expect(200);
}

fn own(server: &Server, reply: &Value) -> Value {
    let path = format!("/api/v1/studies/{STUDY}/contributions");
    let headers = [("authorization", &*holder(reply))];
    server.send("GET", &path, &headers, b"").expect(200).json()["contributions"][0].clone()
}

/// Events and scopes of a list of consents.
fn told(consents: &Value) -> Vec<(String, Option<String>)> {
    let text = |value: &Value| value.as_str().map(str::to_owned);
    let events = consents.as_array().unwrap().iter();
    events
        .map(|event| (text(&event["event"]).unwrap(), text(&event["scope"])))
        .collect()
}

fn exported(data: &Path) -> Value {
    let output = run(&["export", "--data", data.to_str().unwrap()], b"");
    assert!(output.status.success(), "{output:?}");
    let export: Value = serde_json::from_slice(&output.stdout).unwrap();
    export["studies"][0]["consents"].clone()
}

#[test]
fn a_consent_is_given_changed_and_ended_and_stays_when_the_sessions_are_erased() {
    let (folder, server) = harness::server();
    let mut document = noted(1, "trace-consent");
    let sent = send(&server, &document);
    // A correction that agrees to the same is no event.
    document["note"] = json!("trace-mended");
    mend(&server, &sent, &document);
    document["consent"]["scope"] = json!("pooling");
    mend(&server, &sent, &document);
    let before = own(&server, &sent);
    let some = |text: &str| Some(text.to_owned());
    let given = ("given".to_owned(), some("pooling_and_rows"));
    let changed = ("changed".to_owned(), some("pooling"));
    assert_eq!(told(&before["consent"]), [given.clone(), changed.clone()]);
    for event in before["consent"].as_array().unwrap() {
        assert_eq!(event["text_sha256"], json!(text_hash(&server)));
        assert_eq!(event["text_version"], "1");
        assert_eq!(event["protocol_version"], 1);
    }
    withdraw(&server, &sent);
    let after = own(&server, &sent);
    let ended = ("ended".to_owned(), None);
    assert_eq!(told(&after["consent"]), [given, changed, ended]);
    assert_eq!(after["versions"][0]["document"], Value::Null);
    assert_eq!(
        (&after["flags"], &after["plan"]),
        (&json!([]), &Value::Null)
    );
    // The page of the receipt says so too.
    let page = server.send(
        "POST",
        &format!("/studies/{STUDY}/receipt"),
        &[("content-type", "application/x-www-form-urlencoded")],
        format!("receipt={}", sent["receipt"].as_str().unwrap()).as_bytes(),
    );
    let page = page.expect(200).text();
    for words in [
        "you agreed to pooling and rows, by the wording “1” of protocol version 1",
        "you agreed from then on to pooling",
        "you withdrew; the consent ended",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    drop(server);
    let host = exported(folder.path());
    assert_eq!(host.as_array().unwrap().len(), 3);
    assert_eq!(host[2]["consent"]["event"], "ended");
    assert_eq!(host[0]["contribution"], sent["contribution"]);
}

#[test]
fn what_was_agreed_to_cannot_be_changed_or_deleted() {
    let (folder, server) = harness::server();
    send(&server, &noted(1, "trace-kept"));
    drop(server);
    let database = rusqlite::Connection::open(folder.path().join("tautpool.sqlite")).unwrap();
    for sql in [
        "DELETE FROM consent",
        "UPDATE consent SET scope = 'pooling'",
        "UPDATE consent SET text_sha256 = zeroblob(32)",
        "UPDATE consent SET at_ms = 0",
    ] {
        let refused = database.execute_batch(sql).unwrap_err().to_string();
        assert!(refused.contains("is never"), "{sql}: {refused}");
    }
}

#[test]
fn a_receipt_opens_everything_that_is_kept_of_its_holder() {
    let (_folder, server) = harness::server();
    let plans = format!("/api/v1/studies/{STUDY}/plans");
    let json_body = [("content-type", "application/json")];
    let plan = server.send("POST", &plans, &json_body, br#"{"kind": "two_sessions"}"#);
    let code = plan.expect(201).json()["code"].as_str().unwrap().to_owned();
    server
        .send("POST", &format!("{plans}/{code}/open"), &[], b"")
        .expect(200);
    let mut document = noted(0, "trace-mine");
    document["plan_code"] = json!(code);
    document["sessions"][0]["order"] = json!(1);
    document["sessions"][1]["order"] = json!(2);
    let sent = send(&server, &document);
    let before = own(&server, &sent);
    assert_eq!(before["public"]["rows"], json!([]), "nothing is public yet");
    assert_eq!(before["plan"]["code"], json!(code));
    assert_eq!(before["plan"]["planned"], true);
    assert!(before["plan"]["sequence"].is_string());
    assert_eq!(before["flags"], sent["flags"], "the flags that were told");
    assert_eq!(before["versions"][0]["document"], document);
    assert_eq!(before["answer"]["effects"], sent["effects"]);
    for number in 1..5 {
        send(&server, &noted(number, "trace-other"));
    }
    let has_rows = || own(&server, &sent)["public"]["rows"] != json!([]);
    harness::wait_until("the batch is public", has_rows);
    let after = own(&server, &sent);
    let rows = after["public"]["rows"].as_array().unwrap();
    let download = format!("/api/v1/studies/{STUDY}/aggregate");
    let download = server.get(&download).expect(200).json();
    let all = download["rows"].as_array().unwrap();
    let group = &rows[0]["group"];
    let of_group: Vec<&Value> = all.iter().filter(|row| row["group"] == *group).collect();
    assert_eq!(rows.iter().collect::<Vec<_>>(), of_group);
    let speed = rows.iter().find(|row| row["outcome"] == "speed").unwrap();
    let effect = &sent["effects"].as_array().unwrap()[0];
    let apart = speed["estimate"].as_f64().unwrap() - effect["estimate"].as_f64().unwrap();
    assert!(apart.abs() <= 0.05 + 1e-9);
}
