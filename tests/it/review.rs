//! The host's way through what is held: the list, the page of one contribution, and a decision.

#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

use crate::harness::host::{Desk, credential, post};
use crate::harness::{STUDY, Server, contribution, folder, varied};
use serde_json::Value;

/// A running server with the study, and the credential of its host.
fn stage() -> (tempfile::TempDir, Server, String) {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    (folder, server, credential)
}

/// One session copied into the other: more alike than chance allows.
fn copied() -> Value {
    let mut document = contribution(varied(3));
    let shots = document.pointer("/sessions/0/shots").unwrap().clone();
    *document.pointer_mut("/sessions/1/shots").unwrap() = shots;
    document
}

fn send(server: &Server, document: &Value) -> Value {
    server.post(document).expect(201).json()
}

#[test]
fn what_is_held_is_listed_looked_at_blind_and_decided_with_a_reason() {
    let (_folder, server, credential) = stage();
    let sent = send(&server, &copied());
    let contribution = sent.get("contribution").and_then(Value::as_str).unwrap();
    assert!(
        sent.get("counts")
            .unwrap()
            .as_str()
            .unwrap()
            .contains("host"),
        "{sent}"
    );
    let list = format!("/host/studies/{STUDY}/review");
    let place = format!("{list}/{contribution}");
    assert_eq!(
        server.get(&list).expect(303).header("location"),
        "/host/sign-in"
    );
    assert_eq!(
        server.get(&place).expect(303).header("location"),
        "/host/sign-in"
    );
    post(&server, &place, &[("decision", "accepted-plausible")]).expect(403);
    let desk = Desk::enter(&server, &credential);
    let listed = desk.get(&list).expect(200).text();
    assert!(listed.contains(&place));
    // Which one it is can be told from its line, and what it is held for.
    let ending = format!("Contribution …{}", &contribution[contribution.len() - 6..]);
    assert!(
        listed.contains(&format!("<span>{ending}, sent <time")),
        "{listed}"
    );
    let page = desk.get(&place).expect(200).text();
    assert!(
        page.contains(&ending) && page.contains("version 1: held for"),
        "{page}"
    );
    for told in [
        "Held because of this",
        "Looser and tighter together",
        "Record the decision",
    ] {
        assert!(page.contains(told), "{told}: {page}");
    }
    // No mean and no count of one session is on the page.
    for figure in sent.pointer("/effects").and_then(Value::as_array).unwrap() {
        assert!(figure.get("estimate").is_some());
    }
    for (fields, words) in [
        (
            [
                ("version", "1"),
                ("decision", ""),
                ("note", "Looked at it again."),
            ],
            "Choose whether it counts",
        ),
        (
            [
                ("version", "1"),
                ("decision", "declined-copied"),
                ("note", "short"),
            ],
            "Say why in 10 to",
        ),
        (
            [
                ("version", "2"),
                ("decision", "declined-copied"),
                ("note", "Looked at it again."),
            ],
            "mended it while you were looking",
        ),
        (
            [
                ("version", "1"),
                ("decision", "declined-plausible"),
                ("note", "Looked at it again."),
            ],
            "does not go with this decision",
        ),
    ] {
        let refused = desk.post(&place, &fields).expect(422).text();
        assert!(refused.contains(words), "{words}: {refused}");
        assert!(refused.contains("Nothing was decided"));
    }
    let fields = [
        ("version", "1"),
        ("decision", "declined-copied"),
        ("note", "Both sheets are one."),
    ];
    desk.post_bare(&place, &[], &fields).expect(403);
    assert_eq!(
        desk.post(&place, &fields).expect(303).header("location"),
        list
    );
    // The same form again, after a lost answer, is answered as before; another decision is not.
    desk.post(&place, &fields).expect(303);
    let other = [
        fields[0],
        fields[1],
        ("note", "Both sheets are one, I say."),
    ];
    let refused = desk.post(&place, &other).expect(422).text();
    assert!(refused.contains("It is decided so already"), "{refused}");
    let after = desk.get(&list).expect(200).text();
    assert!(after.contains("Nothing waits"), "{after}");
    assert!(
        after.contains("left out: figures copied from other sessions"),
        "{after}"
    );
    // Its sender is told the ground and not the words.
    let receipt = sent.get("receipt").and_then(Value::as_str).unwrap();
    let own = server
        .send(
            "GET",
            &format!("/api/v1/studies/{STUDY}/contributions"),
            &[("authorization", &format!("Receipt {receipt}"))],
            b"",
        )
        .expect(200)
        .text();
    assert!(own.contains("figures copied from other sessions"), "{own}");
    assert!(!own.contains("Both sheets are one"), "{own}");
    // It can be taken back, and both decisions stay.
    let fields = [
        ("version", "1"),
        ("decision", "accepted-explained"),
        ("note", "The sender told why."),
    ];
    desk.post(&place, &fields).expect(303);
    let page = desk.get(&place).expect(200).text();
    for told in [
        "Both sheets are one.",
        "The sender told why.",
        "It does not count",
    ] {
        assert!(page.contains(told), "{told}: {page}");
    }
}

#[test]
fn what_is_not_there_is_said_in_words() {
    let (_folder, server, credential) = stage();
    let desk = Desk::enter(&server, &credential);
    desk.get("/host/studies/no-such-study/review").expect(404);
    let nobody = format!("/host/studies/{STUDY}/review/00000000-0000-4000-8000-000000000000");
    assert!(desk.get(&nobody).expect(404).text().contains("<h1>"));
    desk.get(&format!("/host/studies/{STUDY}/review/x"))
        .expect(404);
}
