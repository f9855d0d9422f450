//! The same through HTTP and through a kill of the server.

use super::far;
use crate::harness::{Answer, STUDY, Server, contribution, exported, server, varied};
use serde_json::{Value, json};

fn address(contribution: &Value) -> String {
    let contribution = contribution["contribution"].as_str().unwrap();
    format!("/api/v1/studies/{STUDY}/contributions/{contribution}")
}

fn of_holder(server: &Server, receipt: &str, method: &str, path: &str, body: &[u8]) -> Answer {
    let authorization = format!("Receipt {receipt}");
    let mut headers = vec![("authorization", authorization.as_str())];
    if !body.is_empty() {
        headers.push(("content-type", "application/json"));
    }
    server.send(method, path, &headers, body)
}

fn all(server: &Server, receipt: &str) -> Answer {
    let path = format!("/api/v1/studies/{STUDY}/contributions");
    of_holder(server, receipt, "GET", &path, b"")
}

#[test]
fn what_was_sent_is_read_mended_and_withdrawn_and_survives_a_kill() {
    let (folder, server) = server();
    let sent = server.post(&contribution(varied(3))).json();
    let receipt = sent["receipt"].as_str().unwrap();
    let own = all(&server, receipt);
    assert_eq!(own.status, 200);
    assert_eq!(own.header("cache-control"), "no-store");
    let own = own.json();
    assert_eq!(own["document"], "own");
    let only = &own["contributions"][0];
    assert_eq!(only["contribution"], sent["contribution"]);
    assert_eq!(only["versions"][0]["document"], contribution(varied(3)));
    assert_eq!(only["answer"]["effects"], sent["effects"]);

    let path = format!("{}?reason=wrong_session", address(&sent));
    let body = contribution(far()).to_string();
    let mended = of_holder(&server, receipt, "PUT", &path, body.as_bytes());
    assert_eq!(mended.status, 200);
    let mended = mended.json();
    assert_eq!(mended["contribution"], sent["contribution"]);
    assert_eq!(mended["repeated"], false);
    drop(server);

    let server = Server::serve(folder.path(), &[]);
    let own = all(&server, receipt).json();
    let versions = own["contributions"][0]["versions"].as_array().unwrap();
    assert_eq!(versions.len(), 2);
    assert_eq!(versions[1]["reason"], "wrong_session");
    assert_eq!(versions[1]["document"], contribution(far()));
    let kept = exported(folder.path());
    assert_eq!(kept.len(), 1);

    let gone = of_holder(&server, receipt, "DELETE", &address(&sent), b"");
    assert_eq!(gone.status, 200);
    let gone = gone.json();
    assert_eq!(gone["contributions"][0]["state"], "withdrawn");
    assert_eq!(gone["contributions"][0]["answer"], Value::Null);
    drop(server);
    let server = Server::serve(folder.path(), &[]);
    let own = all(&server, receipt).json();
    assert_eq!(own["contributions"][0]["state"], "withdrawn");
    assert_eq!(exported(folder.path()), Vec::<Value>::new());
    let late = of_holder(&server, receipt, "PUT", &path, body.as_bytes());
    assert_eq!(late.status, 409);
    assert_eq!(late.json()["type"], "/problems#already-withdrawn");
    assert_eq!(
        late.json()["detail"],
        "This contribution was withdrawn: send it anew to take part again."
    );
}

#[test]
fn each_door_says_what_it_misses() {
    let (_folder, server) = server();
    let sent = server.post(&contribution(varied(1))).json();
    let receipt = sent["receipt"].as_str().unwrap();
    let list = format!("/api/v1/studies/{STUDY}/contributions");
    let body = contribution(far()).to_string();
    let body = body.as_bytes();
    let place = address(&sent);
    let nobody = "AAAA-AAAA-AAAA-AAAA-AAAA-AAAA-AAAA-AAAA";
    let other = format!("{list}/0192d4e0-0000-7000-8000-000000000000");

    let without = server.get(&list);
    assert_eq!(without.status, 401);
    assert_eq!(without.header("www-authenticate"), "Receipt");
    assert_eq!(all(&server, nobody).status, 401);
    for (receipt, method, path, body, status, word) in [
        (
            nobody,
            "DELETE",
            place.clone(),
            &b""[..],
            401,
            "receipt-unknown",
        ),
        (receipt, "DELETE", other.clone(), b"", 404, "not-found"),
        (
            receipt,
            "DELETE",
            format!("{list}/7"),
            b"",
            404,
            "not-found",
        ),
        (receipt, "PUT", place.clone(), body, 400, "bad-request"),
        (
            receipt,
            "PUT",
            format!("{place}?reason=boredom"),
            body,
            400,
            "bad-request",
        ),
        (
            receipt,
            "PUT",
            format!("{other}?reason=other"),
            body,
            404,
            "not-found",
        ),
        (
            receipt,
            "PUT",
            format!("{place}?reason=other"),
            b"{}",
            422,
            "invalid",
        ),
        (
            receipt,
            "POST",
            place.clone(),
            body,
            405,
            "method-not-allowed",
        ),
    ] {
        let answer = of_holder(&server, receipt, method, &path, body);
        assert_eq!(answer.status, status, "{method} {path}");
        let problem = answer.json();
        assert_eq!(problem["type"], json!(format!("/problems#{word}")));
    }
    assert_eq!(
        all(&server, receipt).json()["contributions"][0]["state"],
        "accepted"
    );
}

#[test]
fn no_receipt_and_no_plan_stands_in_the_log() {
    let folder = crate::harness::folder();
    let server = Server::serve(folder.path(), &["--log", "trace"]);
    let sent = server.post(&contribution(varied(1))).json();
    let receipt = sent["receipt"].as_str().unwrap();
    all(&server, receipt);
    of_holder(&server, receipt, "DELETE", &address(&sent), b"");
    let log = server.log();
    assert!(log.contains("answered"), "{log}");
    assert!(!log.contains(receipt));
    assert!(!log.contains(&receipt.replace('-', "")));
}

/// Sends the form of the receipt page.
fn form(server: &Server, fields: &[(&str, &str)]) -> Answer {
    let body = fields
        .iter()
        .map(|(name, value)| format!("{name}={value}"))
        .collect::<Vec<_>>()
        .join("&");
    server.send(
        "POST",
        &format!("/studies/{STUDY}/receipt"),
        &[("content-type", "application/x-www-form-urlencoded")],
        body.as_bytes(),
    )
}

#[test]
fn the_page_of_a_receipt_shows_exports_and_withdraws() {
    let (_folder, server) = server();
    let page = server.get(&format!("/studies/{STUDY}/receipt"));
    assert_eq!(page.status, 200);
    let sent = server.post(&contribution(varied(1))).json();
    let receipt = sent["receipt"].as_str().unwrap();
    let contribution_id = sent["contribution"].as_str().unwrap();

    let wrong = form(&server, &[("receipt", "AAAA"), ("do", "see")]);
    assert_eq!(wrong.status, 422);
    assert!(wrong.text().contains("Nobody in this study holds"));
    let small = receipt.to_lowercase().replace('-', "+");
    let seen = form(&server, &[("receipt", &small), ("do", "see")]);
    assert_eq!(
        (seen.status, seen.header("cache-control")),
        (200, "no-store")
    );
    assert!(seen.text().contains("46 against 52 lb"), "{}", seen.text());

    let with = [("receipt", receipt), ("contribution", contribution_id)];
    let own = form(&server, &[with[0], ("do", "export")]);
    assert!(own.header("content-disposition").starts_with("attachment"));
    assert_eq!(
        own.json()["contributions"][0]["contribution"],
        contribution_id
    );
    let asked = form(&server, &[with[0], with[1], ("do", "withdraw")]);
    assert!(asked.text().contains("cannot be called back"));
    let gone = form(&server, &[with[0], with[1], ("do", "withdraw-now")]);
    assert!(gone.text().contains("erased"), "{}", gone.text());
    let other = [with[0], ("contribution", "7"), ("do", "withdraw-now")];
    assert_eq!(form(&server, &other).status, 422);
}
