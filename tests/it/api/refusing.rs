//! Bodies, headers and connections that are not as they should be.

use crate::corpus;
use crate::harness::{Answer, Pair, STUDY, contribution, exported, read_answer, server};
use serde_json::{Value, json};
use std::fs;
use std::io::Write;
use std::net::Shutdown;
use std::path::Path;
use std::time::{Duration, Instant};
use tautpool::intake::{self, RejectionKind};
use tautpool::protocol::limits::BODY_BYTES;
use tautpool::wire::problem;

/// The head of a POST to the study, up to and without the empty line.
fn head(more: &str) -> String {
    format!(
        "POST /api/v1/studies/{STUDY}/contributions HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n{more}"
    )
}

/// A document with spaces behind it.
fn padded(document: &str, length: usize) -> String {
    document.to_owned() + &" ".repeat(length - document.len())
}

#[test]
fn every_invalid_document_gets_the_faults_that_the_library_finds() {
    let (folder, server) = server();
    let study = corpus::study();
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/contributions/invalid");
    let mut n_documents = 0;
    for entry in fs::read_dir(corpus).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        if name.ends_with(".expected.json") {
            continue;
        }
        let bytes = fs::read(&path).unwrap();
        let rejection = intake::contribution(&bytes, &study).unwrap_err();
        let (status, kind) = match rejection.kind {
            RejectionKind::Malformed => (400, "malformed"),
            RejectionKind::Invalid => (422, "invalid"),
        };
        let problem = server.post_bytes(&bytes, &[]).expect_problem(status, kind);
        let faults: Vec<Value> = rejection.faults.iter().map(problem::fault).collect();
        assert_eq!(problem["faults"], json!(faults), "{name}");
        n_documents += 1;
    }
    assert!(100 < n_documents);
    assert_eq!(exported(folder.path()).len(), 0);
}

#[test]
fn every_valid_document_is_accepted() {
    let (folder, server) = server();
    let documents = corpus::valid_documents();
    for (name, bytes) in &documents {
        let answer = server.post_bytes(bytes, &[]);
        assert_eq!(answer.status, 201, "{name}: {}", answer.text());
    }
    let stored = exported(folder.path());
    assert_eq!(stored.len(), documents.len());
}

#[test]
fn a_body_that_is_no_json_is_refused_with_its_place() {
    let (_folder, server) = server();
    let good = contribution(Pair::default()).to_string();
    let replaced = |to: &str| good.replacen("104.0", to, 1).into_bytes();
    assert_ne!(replaced("NaN"), good.as_bytes());
    let deep = format!("{}{}", "[".repeat(50_000), "]".repeat(50_000));
    let twice = good.replacen("\"arm\":", "\"arm\":\"looser\",\"arm\":", 1);
    for (body, pointer, code) in [
        (replaced("NaN"), "", "not_json"),
        (replaced("1e999"), "", "not_json"),
        (replaced("Infinity"), "", "not_json"),
        (Vec::new(), "", "not_json"),
        (good.as_bytes()[..100].to_vec(), "", "not_json"),
        (format!("{good}{good}").into_bytes(), "", "not_json"),
        (b"{\"study\": \"\xff\"}".to_vec(), "", "not_utf8"),
        (deep.into_bytes(), "", "too_deep"),
        (twice.into_bytes(), "/sessions/0/arm", "duplicate_key"),
    ] {
        let problem = server
            .post_bytes(&body, &[])
            .expect_problem(400, "malformed");
        let faults = problem["faults"].as_array().unwrap();
        assert_eq!(faults.len(), 1, "{problem}");
        assert_eq!(faults[0]["pointer"], pointer, "{problem}");
        assert_eq!(faults[0]["code"], code, "{problem}");
    }
}

#[test]
fn a_study_that_does_not_exist_takes_nothing() {
    let (_folder, server) = server();
    let body = contribution(Pair::default()).to_string();
    let json = [("content-type", "application/json")];
    server
        .send(
            "POST",
            "/api/v1/studies/none/contributions",
            &json,
            body.as_bytes(),
        )
        .expect_problem(404, "not-found");
}

#[test]
fn a_body_that_is_not_declared_as_json_is_refused() {
    let (folder, server) = server();
    let body = contribution(Pair::default()).to_string();
    let path = format!("/api/v1/studies/{STUDY}/contributions");
    for kind in [
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "application/jsonp",
        "",
    ] {
        server
            .send("POST", &path, &[("content-type", kind)], body.as_bytes())
            .expect_problem(415, "not-json");
    }
    let length = body.len();
    let bare = format!("POST {path} HTTP/1.1\r\nHost: x\r\nContent-Length: {length}\r\n\r\n{body}");
    let answer = server.raw(bare.as_bytes()).unwrap();
    answer.expect_problem(415, "not-json");
    assert_eq!(exported(folder.path()).len(), 0);
    for kind in ["application/json; charset=utf-8", "Application/JSON"] {
        server
            .send("POST", &path, &[("content-type", kind)], body.as_bytes())
            .expect(201);
    }
}

#[test]
fn a_body_may_be_as_large_as_the_limit_and_no_larger() {
    let (folder, server) = server();
    let document = contribution(Pair::default()).to_string();
    let padded = |length| padded(&document, length).into_bytes();
    server.post_bytes(&padded(BODY_BYTES), &[]).expect(201);
    server
        .post_bytes(&padded(BODY_BYTES + 1), &[])
        .expect_problem(413, "too-large");
    assert_eq!(exported(folder.path()).len(), 1);
}

#[test]
fn a_chunked_body_has_the_same_limit() {
    let (folder, server) = server();
    let document = contribution(Pair::default()).to_string();
    let chunked = |length: usize| {
        let body = padded(&document, length);
        let mut request = head("Transfer-Encoding: chunked\r\n\r\n");
        for chunk in body.as_bytes().chunks(8_192) {
            let text = str::from_utf8(chunk).unwrap();
            request.push_str(&format!("{:x}\r\n{text}\r\n", chunk.len()));
        }
        request.push_str("0\r\n\r\n");
        request.into_bytes()
    };
    server.raw(&chunked(BODY_BYTES)).unwrap().expect(201);
    let answer = server.raw(&chunked(BODY_BYTES + 1)).unwrap();
    answer.expect_problem(413, "too-large");
    assert_eq!(exported(folder.path()).len(), 1);
}

#[test]
fn a_body_that_breaks_off_is_not_stored() {
    let (folder, server) = server();
    let body = contribution(Pair::default()).to_string();
    for framing in [
        format!("Content-Length: {}\r\n\r\n{body}", body.len() + 1),
        format!(
            "Transfer-Encoding: chunked\r\n\r\n{:x}\r\n{body}\r\n",
            body.len()
        ),
    ] {
        let mut stream = server.connect();
        stream.write_all(head(&framing).as_bytes()).unwrap();
        stream.shutdown(Shutdown::Write).unwrap();
        if let Some(answer) = read_answer(&mut stream) {
            answer.expect_problem(400, "bad-request");
        }
    }
    server.get("/health").expect(200);
    assert_eq!(exported(folder.path()).len(), 0);
}

#[test]
fn a_request_that_never_ends_is_given_up_in_time() {
    let (folder, server) = server();
    let body = contribution(Pair::default()).to_string();
    let half = format!(
        "Content-Length: {}\r\n\r\n{}",
        body.len(),
        &body[..body.len() / 2]
    );
    let began = Instant::now();
    let mut slow_body = server.connect();
    slow_body.write_all(head(&half).as_bytes()).unwrap();
    let mut slow_head = server.connect();
    slow_head.write_all(head("X-Slow: ").as_bytes()).unwrap();
    // Others are served meanwhile.
    server.get("/health").expect(200);
    let answered = |answer: Option<Answer>, within: u64| {
        assert!(began.elapsed() < Duration::from_secs(within));
        if let Some(answer) = answer {
            answer.expect(408);
        }
    };
    answered(read_answer(&mut slow_head), 15);
    answered(read_answer(&mut slow_body), 35);
    assert_eq!(exported(folder.path()).len(), 0);
}

#[test]
fn a_flood_of_headers_and_what_is_no_http_is_refused() {
    let (_folder, server) = server();
    let many: String = (0..500).map(|n| format!("X-{n}: {n}\r\n")).collect();
    let wide = format!("X-Wide: {}\r\n", "x".repeat(400_000));
    let requests = [
        format!("GET /health HTTP/1.1\r\nHost: x\r\n{many}\r\n"),
        format!("GET /health HTTP/1.1\r\nHost: x\r\n{wide}\r\n"),
        "GET /health HTTP/1.1\r\nHost: x\r\nno colon\r\n\r\n".to_owned(),
        "GET /health HTTP/9.9\r\nHost: x\r\n\r\n".to_owned(),
        head("Content-Length: minus one\r\n\r\n"),
        head("Content-Length: 5\r\nContent-Length: 6\r\n\r\nabcdef"),
        head("Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n"),
        head("Transfer-Encoding: chunked\r\n\r\nnot a length\r\n"),
        "\u{16}\u{3}\u{1}\u{2} what TLS begins with\r\n\r\n".to_owned(),
    ];
    for request in requests {
        let start: String = request.chars().take(120).collect();
        if let Some(answer) = server.raw(request.as_bytes()) {
            assert!(
                (400..500).contains(&answer.status),
                "{} {start}",
                answer.status
            );
        }
    }
    server.get("/health").expect(200);
}

#[test]
fn a_body_that_is_declared_too_large_is_refused_at_once() {
    let (_folder, server) = server();
    let began = Instant::now();
    let request = head("Content-Length: 10000000\r\n\r\n");
    let answer = server.raw(request.as_bytes()).unwrap();
    answer.expect_problem(413, "too-large");
    assert!(began.elapsed() < Duration::from_secs(5));
}

#[test]
fn a_body_in_a_coding_and_a_second_key_are_refused() {
    let (folder, server) = server();
    let body = contribution(Pair::default()).to_string();
    let coded = [("content-encoding", "gzip")];
    server
        .post_bytes(body.as_bytes(), &coded)
        .expect_problem(415, "not-json");
    let two = [("idempotency-key", "a"), ("idempotency-key", "b")];
    server
        .post_bytes(body.as_bytes(), &two)
        .expect_problem(400, "bad-request");
    assert_eq!(exported(folder.path()).len(), 0);
}

#[test]
fn no_body_makes_a_reply_or_a_list_of_faults_without_bound() {
    let (_folder, server) = server();
    let fill = |start: &str, item: &str, end: &str| {
        let room = BODY_BYTES - start.len() - end.len() - 1;
        let items = vec![item; room / (item.len() + 1)];
        format!("{start}{}{end}", items.join(","))
    };
    let long_key = "k".repeat(100_000);
    let lines = vec![r#"{"x1":0,"x2":0,"x3":0,"x4":0}"#; 20].join(",");
    let sessions = vec![format!(r#"{{"shots":[{lines}]}}"#); 8].join(",");
    for body in [
        fill(r#"{"sessions":["#, "{}", "]}"),
        fill(r#"{"sessions":["#, "0", "]}"),
        fill("{", r#""a":0"#, "}"),
        fill(&format!(r#"{{"{long_key}":{{"#), r#""0":0,"0":0"#, "}}"),
        format!(r#"{{"sessions":[{sessions}]}}"#),
    ] {
        let began = Instant::now();
        let answer = server.post_bytes(body.as_bytes(), &[]);
        assert!(
            answer.status == 400 || answer.status == 422,
            "{}",
            answer.status
        );
        assert!(answer.body.len() < 400_000, "{} bytes", answer.body.len());
        assert!(began.elapsed() < Duration::from_secs(10));
    }
}
