//! Studies that take new players by invitation, through the real server and its command line.

#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

use crate::form::{CONSENT, on, up_to_send};
use crate::harness::{Answer, STUDY, Server, contribution, exported, folder, run, varied};
use std::fs;
use std::path::Path;

/// Runs `tautpool host invitations` and returns what it printed.
fn host(arguments: &[&str], data: &Path) -> String {
    let folder = ["--data", data.to_str().unwrap()];
    let output = run(
        &[&["host", "invitations"], arguments, &folder].concat(),
        b"",
    );
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).unwrap()
}

/// A folder whose study needs an invitation, and so many codes that are each good for so many uses.
fn by_invitation(count: &str, uses: &str) -> (tempfile::TempDir, Vec<String>) {
    let folder = folder();
    let made = ["make", STUDY, "--count", count, "--uses", uses];
    let codes = host(&made, folder.path());
    let codes = codes.lines().map(str::to_owned).collect();
    host(&["need", STUDY], folder.path());
    (folder, codes)
}

fn send(server: &Server, number: u32, headers: &[(&str, &str)]) -> Answer {
    let document = contribution(varied(number)).to_string();
    server.post_bytes(document.as_bytes(), headers)
}

#[test]
fn a_new_player_needs_a_code_and_whoever_holds_a_receipt_needs_none() {
    let (folder, codes) = by_invitation("2", "1");
    assert_eq!(codes.len(), 2);
    assert_eq!(codes[0].len(), 14);
    let server = Server::serve(folder.path(), &[]);
    let problem = send(&server, 1, &[]).expect_problem(403, "invitation-needed");
    assert!(
        problem["detail"]
            .as_str()
            .unwrap()
            .contains("none was given")
    );
    for wrong in ["0000-0000-0000", "x", "", &codes[0][..9]] {
        send(&server, 1, &[("invitation", wrong)]).expect_problem(403, "invitation-needed");
    }
    let typed = codes[0].to_lowercase().replace('-', " ");
    let sent = send(&server, 1, &[("invitation", &typed)])
        .expect(201)
        .json();
    send(&server, 2, &[("invitation", &codes[0])]).expect_problem(403, "invitation-needed");
    let receipt = format!("Receipt {}", sent["receipt"].as_str().unwrap());
    send(&server, 3, &[("authorization", &receipt)]).expect(201);
    // A faulty document uses no code.
    let faulty = server.post_bytes(b"{}", &[("invitation", &codes[1])]);
    faulty.expect(422);
    send(&server, 4, &[("invitation", &codes[1])]).expect(201);
    assert_eq!(exported(folder.path()).len(), 3);
    drop(server);
    let listed = host(&["list", STUDY], folder.path());
    let listed: Vec<&str> = listed.lines().collect();
    assert_eq!(listed.len(), 2);
    assert!(listed[0].contains("used 1 of 1\topen"), "{listed:?}");
}

#[test]
fn a_retried_request_uses_a_code_once_and_a_club_can_share_one() {
    let (folder, codes) = by_invitation("1", "3");
    let server = Server::serve(folder.path(), &[]);
    let code = ("invitation", codes[0].as_str());
    for _ in 0..5 {
        send(&server, 1, &[code, ("idempotency-key", "one")]).expect(201);
    }
    // The answer was lost, and so was the code.
    send(&server, 1, &[("idempotency-key", "one")]).expect(201);
    send(&server, 2, &[code]).expect(201);
    send(&server, 3, &[code]).expect(201);
    send(&server, 4, &[code]).expect_problem(403, "invitation-needed");
    assert_eq!(exported(folder.path()).len(), 3);
}

#[test]
fn an_invitation_can_be_ended_and_the_need_be_lifted() {
    let (folder, codes) = by_invitation("1", "9");
    host(&["end", STUDY, "1"], folder.path());
    let data = folder.path().to_str().unwrap();
    let again = ["host", "invitations", "end", STUDY, "1", "--data", data];
    assert_eq!(run(&again, b"").status.code(), Some(1));
    let server = Server::serve(folder.path(), &[]);
    let code = ("invitation", codes[0].as_str());
    send(&server, 1, &[code]).expect_problem(403, "invitation-needed");
    let page = server.get(&format!("/studies/{STUDY}/take-part")).text();
    assert!(page.contains("by invitation"));
    drop(server);
    host(&["lift", STUDY], folder.path());
    let server = Server::serve(folder.path(), &[]);
    send(&server, 1, &[]).expect(201);
    let page = server.get(&format!("/studies/{STUDY}/take-part")).text();
    assert!(!page.contains("by invitation"));
}

#[test]
fn the_form_asks_for_the_code_and_keeps_what_was_typed() {
    let (folder, codes) = by_invitation("1", "1");
    let server = Server::serve(folder.path(), &[]);
    let mut page = up_to_send(&server);
    let missing = on(&server, &mut page, CONSENT, "send").expect(403);
    assert!(missing.text().contains("takes sessions by invitation"));
    let wrong = on(
        &server,
        &mut page,
        &[("invitation", "0000-0000-0000")],
        "send",
    )
    .expect(403);
    assert!(wrong.text().contains("no such invitation"));
    assert!(wrong.text().contains("value=\"0000-0000-0000\""));
    on(&server, &mut page, &[("invitation", &codes[0])], "send").expect(201);
    assert_eq!(exported(folder.path()).len(), 1);
    assert!(!server.log().contains(&codes[0]));
}

#[test]
fn codes_are_not_in_the_folder_and_guessing_them_is_limited() {
    let (folder, codes) = by_invitation("1", "1");
    let server = Server::serve(folder.path(), &["--requests-a-minute", "100"]);
    for _ in 0..5 {
        send(&server, 1, &[("invitation", "0000-0000-0000")]).expect(403);
    }
    let right = ("invitation", codes[0].as_str());
    send(&server, 1, &[right]).expect_problem(429, "too-many-requests");
    drop(server);
    let plain = codes[0].replace('-', "");
    for entry in fs::read_dir(folder.path()).unwrap() {
        let bytes = fs::read(entry.unwrap().path()).unwrap();
        for code in [&plain, &codes[0]] {
            assert!(
                !bytes
                    .windows(code.len())
                    .any(|part| part == code.as_bytes())
            );
        }
    }
}
