//! A file instead of typing: JSON or single shots as CSV, through the real server.

#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

use crate::harness::{Answer, Pair, STUDY, STUDY_FILE, Server, contribution, exported, server};
use crate::reference_values::{cases, reference, text};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;
use tautpool::intake;
use tautpool::intake::shots::shots;

const BOUNDARY: &str = "a-boundary-of-the-tests";

/// A form as a browser sends it: text fields, and a file.
fn form(fields: &[(&str, &str)], file: Option<(&str, &[u8])>) -> Vec<u8> {
    let mut body = Vec::new();
    for (name, value) in fields {
        let part = format!(
            "--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
        );
        body.extend_from_slice(part.as_bytes());
    }
    if let Some((name, bytes)) = file {
        let head = format!(
            "--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\nContent-Type: application/octet-stream\r\n\r\n"
        );
        body.extend_from_slice(head.as_bytes());
        body.extend_from_slice(bytes);
        body.extend_from_slice(b"\r\n");
    }
    body.extend_from_slice(format!("--{BOUNDARY}--\r\n").as_bytes());
    body
}

fn post(server: &Server, fields: &[(&str, &str)], file: Option<(&str, &[u8])>) -> Answer {
    let declared = format!("multipart/form-data; boundary={BOUNDARY}");
    let path = format!("/studies/{STUDY}/upload");
    let headers = [("content-type", declared.as_str())];
    let answer = server.send("POST", &path, &headers, &form(fields, file));
    assert_eq!(answer.header("cache-control"), "no-store");
    assert!(answer.content_type().starts_with("text/html"));
    answer
}

fn upload(server: &Server, name: &str, bytes: &[u8]) -> Answer {
    post(server, &[], Some((name, bytes)))
}

/// The value of a hidden field, as a browser would read it.
fn hidden(page: &str, name: &str) -> String {
    let start = format!("<input type=\"hidden\" name=\"{name}\" value=\"");
    let rest = page.split_once(&start).unwrap().1;
    let value = rest.split_once('"').unwrap().0;
    value
        .replace("&#34;", "\"")
        .replace("&#39;", "'")
        .replace("&#60;", "<")
        .replace("&#62;", ">")
        .replace("&#38;", "&")
}

fn shots_file(name: &str) -> Vec<u8> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/shots");
    fs::read(folder.join(name)).unwrap()
}

#[test]
fn the_summaries_are_those_of_another_program() {
    let study = intake::study(&fs::read(STUDY_FILE).unwrap()).unwrap();
    let file = reference("shots.json");
    for case in cases(&file) {
        let name = text(case, "name");
        let read = shots(&shots_file(name), &study).unwrap();
        assert_eq!(
            read.document["sessions"], case["expected"]["sessions"],
            "{name}"
        );
    }
    assert_eq!(cases(&file).len(), 2);
}

#[test]
fn single_shots_are_shown_before_they_are_sent_and_sent_once() {
    let (folder, server) = server();
    let page = upload(&server, "shots.csv", &shots_file("invented-commas.csv"))
        .expect(200)
        .text();
    for shown in [
        "Session 1: looser string bed",
        "Session 4: looser string bed",
        "Strung at 48 lb mains, 46.5 lb crosses.",
        "18 minutes of hitting.",
        "Partner’s mean speed 91.25 km/h.",
        "forehand, crosscourt",
        "93.25 km/h",
        "15.64 km/h",
        // 24 shots with an autocorrelation of 0.1: 24 (0.9/1.1) = 19.6.
        "about 20",
    ] {
        assert!(page.contains(shown), "{shown} is not in {page}");
    }
    assert!(!page.contains(" checked"));
    assert_eq!(exported(folder.path()).len(), 0, "a preview stores nothing");

    let drawn = server.send(
        "POST",
        &format!("/api/v1/studies/{STUDY}/plans"),
        &[("content-type", "application/json")],
        br#"{"kind": "two_sessions"}"#,
    );
    let code = drawn.expect(201).json()["code"]
        .as_str()
        .unwrap()
        .to_owned();
    let typed = code.to_lowercase().replace('-', " ");
    let (document, token) = (hidden(&page, "document"), hidden(&page, "token"));
    let fields = [
        ("do", "send"),
        ("document", document.as_str()),
        ("token", token.as_str()),
        ("consent_pooling", "yes"),
        ("consent_rows", "yes"),
        ("adult", "yes"),
        ("plan_code", typed.as_str()),
        ("itn", "5"),
        ("receipt", ""),
    ];
    let unticked: Vec<(&str, &str)> = fields
        .iter()
        .filter(|(name, _)| !["consent_pooling", "adult"].contains(name))
        .copied()
        .collect();
    let refused = post(&server, &unticked, None).expect(422).text();
    assert!(refused.contains("Tick that your figures may be counted"));
    assert!(refused.contains("confirm that you are of age"));
    assert_eq!(hidden(&refused, "token"), token);
    assert_eq!(exported(folder.path()).len(), 0);

    post(&server, &fields, None).expect(201);
    post(&server, &fields, None).expect(201);
    let stored = exported(folder.path());
    assert_eq!(stored.len(), 1);
    let stored = stored_document(&stored[0]);
    assert_eq!(stored["consent"]["scope"], "pooling_and_rows");
    assert_eq!(stored["consent"]["adult"], true);
    assert_eq!(stored["consent"]["text_version"], "1");
    assert_eq!(stored["plan_code"], code.replace('-', ""));
    assert_eq!(stored["player"]["itn"], 5);
    let sent: Value = serde_json::from_str(&document).unwrap();
    assert_eq!(stored["sessions"], sent["sessions"]);
    // With other answers the same page is another request.
    let mut other = fields.to_vec();
    other.retain(|(name, _)| *name != "consent_rows");
    let refused = post(&server, &other, None).expect(422).text();
    assert!(refused.contains("was sent before with other answers"));
    assert_eq!(exported(folder.path()).len(), 1);
}

/// The verbatim document of an exported contribution.
fn stored_document(contribution: &Value) -> Value {
    serde_json::from_str(contribution["document"].as_str().unwrap()).unwrap()
}

#[test]
fn semicolons_and_decimal_commas_are_read() {
    let (folder, server) = server();
    let page = upload(&server, "shots.csv", &shots_file("invented-semicolons.csv"))
        .expect(200)
        .text();
    for shown in [
        "Strung at 24.5 kg.",
        " mph",
        "have no landing, so shots in and deep are left out.",
        "have no direction, so directions are left out.",
        "Minutes not given.",
    ] {
        assert!(page.contains(shown), "{shown} is not in {page}");
    }
    assert_eq!(exported(folder.path()).len(), 0);
}

#[test]
fn every_bad_row_is_named_by_line_and_column() {
    let (folder, server) = server();
    let good = String::from_utf8(shots_file("invented-commas.csv")).unwrap();
    let mut lines: Vec<String> = good.lines().map(str::to_owned).collect();
    lines[6] = lines[6].replace("km/h", "knots");
    lines[40] = lines[40].replace("lb", "<b>stone</b>");
    let page = upload(&server, "shots.csv", lines.join("\n").as_bytes())
        .expect(422)
        .text();
    assert!(page.contains("2 faults to mend in the file; nothing was stored."));
    assert!(page.contains("<strong>line 7, column speed_unit</strong>"));
    assert!(page.contains("<strong>line 41, column tension_unit</strong>"));
    assert!(!page.contains("<b>stone"), "what was sent is escaped");
    assert_eq!(exported(folder.path()).len(), 0);
}

#[test]
fn a_json_file_is_shown_and_its_own_consent_is_put_aside() {
    let (folder, server) = server();
    let mut document = contribution(Pair::default());
    document["note"] = json!("\"quoted\" <b>&amp; & 'bold'\nsecond line");
    document["consent"] = json!({"text_version": "of long ago", "scope": "pooling_and_rows"});
    let page = upload(&server, "pair.json", document.to_string().as_bytes())
        .expect(200)
        .text();
    assert!(page.contains("taken as 100"), "no autocorrelation is given");
    let token = hidden(&page, "token");
    let carried = hidden(&page, "document");
    let read: Value = serde_json::from_str(&carried).unwrap();
    assert_eq!(read["note"], document["note"]);
    assert!(read.get("consent").is_none());
    let fields = [
        ("do", "send"),
        ("document", carried.as_str()),
        ("token", token.as_str()),
        ("consent_pooling", "yes"),
        ("adult", "yes"),
        ("plan_code", ""),
        ("itn", ""),
    ];
    post(&server, &fields, None).expect(201);
    let stored = stored_document(&exported(folder.path())[0]);
    assert_eq!(stored["consent"]["scope"], "pooling");
    assert_eq!(stored["note"], document["note"]);
}

#[test]
fn a_json_file_gets_the_sentences_of_the_interface() {
    let (_folder, server) = server();
    let mut document = contribution(Pair::default());
    document["sessions"][0]["shots"][0]["in"] = json!(101);
    document["sessions"][1]["arms"] = json!("tighter");
    let problem = server.post(&document).expect_problem(422, "invalid");
    let page = upload(&server, "pair.json", document.to_string().as_bytes())
        .expect(422)
        .text();
    let faults = problem["faults"].as_array().unwrap();
    assert!(2 <= faults.len());
    for fault in faults {
        let place = fault["pointer"].as_str().unwrap();
        assert!(
            page.contains(&format!("<strong>{place}</strong>")),
            "{place}"
        );
        let sentence = fault["sentence"].as_str().unwrap().replace('"', "&#34;");
        assert!(page.contains(&sentence), "{sentence}");
    }
    let page = upload(&server, "pair.json", b"{\"a\": 1,}")
        .expect(422)
        .text();
    assert!(page.contains("the whole file"));
}

#[test]
fn what_is_no_such_file_is_answered_with_a_page() {
    let (folder, server) = server();
    let huge = vec![b'1'; 300 * 1024];
    let page = upload(&server, "shots.csv", &huge).expect(413).text();
    assert!(page.contains("larger than 256 KiB"));
    let page = post(&server, &[], None).expect(422).text();
    assert!(page.contains("Choose a file first"));
    upload(&server, "shots.csv", b"").expect(422);
    let page = upload(&server, "sheet.xlsx", b"PK\x03\x04\x14\x00")
        .expect(422)
        .text();
    assert!(page.contains("save the sheet as CSV"));
    upload(&server, "photo.jpg", b"\xff\xd8\xff\xe0\x00\x10JFIF").expect(422);
    let path = format!("/studies/{STUDY}/upload");
    for declared in ["application/json", "multipart/form-data", "text/csv"] {
        let headers = [("content-type", declared)];
        let answer = server
            .send("POST", &path, &headers, b"session,")
            .expect(400);
        assert!(answer.content_type().starts_with("text/html"));
    }
    let cut_off = &form(&[("do", "send")], None)[..40];
    let declared = format!("multipart/form-data; boundary={BOUNDARY}");
    let headers = [("content-type", declared.as_str())];
    server.send("POST", &path, &headers, cut_off).expect(400);
    // Sent without what the preview has.
    post(&server, &[("do", "send")], None).expect(422);
    server
        .send("PUT", &path, &[], b"")
        .expect_problem(405, "method-not-allowed");
    server
        .get("/studies/no-such-study/upload")
        .expect_problem(404, "not-found");
    assert_eq!(exported(folder.path()).len(), 0);
}

#[test]
fn a_receipt_goes_along_and_makes_both_one_player() {
    let (folder, server) = server();
    let reply = server
        .post(&contribution(Pair::default()))
        .expect(201)
        .json();
    let receipt = reply["receipt"].as_str().unwrap();
    let page = post(&server, &[("do", "choose"), ("receipt", receipt)], None)
        .expect(200)
        .text();
    assert_eq!(hidden(&page, "receipt"), receipt);
    let file = shots_file("invented-commas.csv");
    let page = post(&server, &[("receipt", receipt)], Some(("a.csv", &file)))
        .expect(200)
        .text();
    assert!(page.contains(&format!("value=\"{receipt}\"")));
    let (document, token) = (hidden(&page, "document"), hidden(&page, "token"));
    let fields = |receipt: &str, correcting: &str| -> Vec<(String, String)> {
        [
            ("do", "send"),
            ("document", &document),
            ("token", &token),
            ("consent_pooling", "yes"),
            ("adult", "yes"),
            ("receipt", receipt),
            ("correcting", correcting),
        ]
        .map(|(name, value)| (name.to_owned(), value.to_owned()))
        .to_vec()
    };
    let send = |fields: &[(String, String)]| {
        let fields: Vec<(&str, &str)> = fields
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str()))
            .collect();
        post(&server, &fields, None)
    };
    let page = send(&fields("no receipt", "")).expect(401).text();
    assert!(page.contains("No player of this study holds this receipt"));
    assert_eq!(exported(folder.path()).len(), 1);
    send(&fields(receipt, "")).expect(201);
    assert_eq!(exported(folder.path()).len(), 2);
    assert!(!server.log().contains(receipt));
}

#[test]
fn the_page_documents_every_column_and_the_template_has_them() {
    let (_folder, server) = server();
    let page = server
        .get(&format!("/studies/{STUDY}/upload"))
        .expect(200)
        .text();
    let template = server
        .get(&format!("/studies/{STUDY}/shots-template.csv"))
        .expect(200);
    assert_eq!(template.content_type(), "text/csv; charset=utf-8");
    assert_eq!(
        template.header("content-disposition"),
        "attachment; filename=\"shots.csv\""
    );
    let template = template.text();
    let header = template.lines().next().unwrap();
    for column in header.split(',') {
        assert!(page.contains(&format!("<code>{column}</code>")), "{column}");
    }
    assert_eq!(header.split(',').count(), 12);
    // Whoever sends the template as it is learns which lines to delete.
    let page = upload(&server, "shots.csv", template.as_bytes())
        .expect(422)
        .text();
    assert!(page.contains("This is an example line of the template; delete it."));
}
