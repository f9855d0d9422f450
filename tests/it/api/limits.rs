//! How often one may ask.

use super::pooled;
use crate::harness::host::post_with;
use crate::harness::{Answer, Pair, STUDY, Server, contribution, exported, folder, varied};

fn limited(a_minute: &str) -> (tempfile::TempDir, Server) {
    let folder = folder();
    let server = Server::serve(folder.path(), &["--requests-a-minute", a_minute]);
    (folder, server)
}

/// What a structured field says under a name.
fn said(answer: &Answer, field: &str, name: &str) -> u64 {
    let parts = answer.header(field).split(';').skip(1);
    let mut pairs = parts.filter_map(|part| part.split_once('='));
    let (_, value) = pairs.find(|(known, _)| *known == name).unwrap();
    value.parse().unwrap()
}

#[test]
fn whoever_asks_too_often_is_told_when_to_ask_again() {
    let (_folder, server) = limited("5");
    for left in (0..5).rev() {
        let answer = server.get(&pooled()).expect(200);
        assert_eq!(answer.header("ratelimit-policy"), "\"reading\";q=5;w=60");
        assert!(answer.header("ratelimit").starts_with("\"reading\";"));
        assert_eq!(said(&answer, "ratelimit", "r"), left);
        assert!(said(&answer, "ratelimit", "t") <= 60);
    }
    let refused = server.get("/api/v1/studies");
    let wait: u64 = refused.header("retry-after").parse().unwrap();
    assert!((1..=12).contains(&wait), "{wait}");
    assert_eq!(said(&refused, "ratelimit", "t"), wait);
    assert_eq!(said(&refused, "ratelimit", "r"), 0);
    assert_eq!(refused.header("access-control-allow-origin"), "*");
    refused.expect_problem(429, "too-many-requests");
    // Files and pictures are in the same quota; pages have one of their own, and whoever watches the
    // service is not counted.
    for path in ["/schema/problem.v1.schema.json", "/api/openapi.json"] {
        server.get(path).expect(429);
    }
    server
        .get(&format!("/studies/{STUDY}/card.svg"))
        .expect(429);
    server.send("HEAD", &pooled(), &[], b"").expect(429);
    for path in ["/", "/api", "/style.css", "/problems"] {
        let answer = server.get(path).expect(200);
        assert_eq!(answer.header("ratelimit-policy"), "\"pages\";q=25;w=60");
    }
    for path in ["/health", "/ready"] {
        let answer = server.get(path).expect(200);
        assert_eq!(answer.header("ratelimit"), "", "{path}");
    }
    server.get(&format!("/studies/{STUDY}")).expect(200);
}

#[test]
fn sending_has_a_quota_of_its_own_and_what_is_refused_is_not_stored() {
    let (folder, server) = limited("10");
    let document = contribution(Pair::default());
    for _ in 0..2 {
        let answer = server.post(&document).expect(201);
        assert_eq!(answer.header("ratelimit-policy"), "\"writing\";q=2;w=60");
        assert_eq!(answer.header("access-control-allow-origin"), "");
    }
    let refused = server.post(&document);
    assert_eq!(refused.header("access-control-allow-origin"), "");
    refused.expect_problem(429, "too-many-requests");
    server.get(&pooled()).expect(200);
    assert_eq!(exported(folder.path()).len(), 2);
}

#[test]
fn there_is_a_generous_limit_unless_it_is_switched_off() {
    let (_folder, server) = limited("600");
    let answer = server.get(&pooled()).expect(200);
    assert_eq!(answer.header("ratelimit-policy"), "\"reading\";q=600;w=60");
    let (_folder, server) = limited("0");
    let answer = server.get(&pooled()).expect(200);
    assert_eq!(answer.header("ratelimit-policy"), "");
    assert_eq!(answer.header("ratelimit"), "");
}

/// What a browser says that it would like.
const BROWSER: (&str, &str) = ("accept", "text/html,application/xhtml+xml,*/*;q=0.8");

#[test]
fn a_reader_is_told_in_words_and_a_program_in_a_problem_document() {
    let (_folder, server) = limited("1");
    let page = format!("/studies/{STUDY}");
    for _ in 0..5 {
        server.send("GET", &page, &[BROWSER], b"").expect(200);
    }
    let told = server.send("GET", &page, &[BROWSER], b"").expect(429);
    assert_eq!(told.content_type(), "text/html; charset=utf-8");
    assert!(
        told.text()
            .contains("Wait 12 seconds and load this page again.")
    );
    assert_eq!(told.header("retry-after"), "12");
    assert_eq!(told.header("cache-control"), "no-store");
    server.get(&page).expect_problem(429, "too-many-requests");
    server.get("/health").expect(200);
}

#[test]
fn forms_plans_and_files_have_quotas_of_their_own() {
    let (_folder, server) = limited("20");
    let send = |path: &str, fields: &[(&str, &str)]| {
        post_with(
            &server,
            &format!("/studies/{STUDY}/{path}"),
            &[BROWSER],
            fields,
        )
    };
    for _ in 0..2 {
        send("plan", &[("do", "draw"), ("kind", "two_sessions")]).expect(200);
        send("upload", &[]).expect(400);
    }
    let refused = send("plan", &[("do", "draw"), ("kind", "two_sessions")]).expect(429);
    assert!(refused.text().contains("what you typed is still there"));
    send("upload", &[]).expect(429);
    let json = [("content-type", "application/json")];
    let draw = format!("/api/v1/studies/{STUDY}/plans");
    let kind = br#"{"kind": "two_sessions"}"#;
    let refused = server.send("POST", &draw, &json, kind);
    refused.expect_problem(429, "too-many-requests");
    for _ in 0..20 {
        send("send", &[("do", "next")]).expect(422);
    }
    send("send", &[("do", "next")]).expect(429);
    server.get(&format!("/studies/{STUDY}/send")).expect(200);
}

#[test]
fn receipts_cannot_be_guessed_for_long_by_any_door() {
    let (_folder, server) = limited("60");
    let sent = server.post(&contribution(varied(1))).expect(201).json();
    let own = format!("/api/v1/studies/{STUDY}/contributions");
    let api = |receipt: &str| {
        let authorization = format!("Receipt {receipt}");
        server.send("GET", &own, &[("authorization", &authorization)], b"")
    };
    let page = |receipt: &str| {
        let fields = [("receipt", receipt), ("do", "see")];
        post_with(
            &server,
            &format!("/studies/{STUDY}/receipt"),
            &[BROWSER],
            &fields,
        )
    };
    let receipt = sent["receipt"].as_str().unwrap();
    for _ in 0..10 {
        api(receipt).expect(200);
    }
    api("AAAA").expect(401);
    page("AAAA").expect(422);
    api("AAAA").expect(401);
    // Now not even the right one is looked at, for as long as it says.
    let refused = api(receipt);
    let wait: u64 = refused.header("retry-after").parse().unwrap();
    assert!((1..=20).contains(&wait), "{wait}");
    refused.expect_problem(429, "too-many-requests");
    page(receipt).expect(429);
    // Whoever names none is not kept waiting.
    server.get(&pooled()).expect(200);
    server.post(&contribution(varied(2))).expect(201);
}

#[test]
fn only_a_named_proxy_speaks_for_others() {
    let folder = folder();
    let ask = |server: &Server, client: &str| {
        let headers = [
            ("x-forwarded-for", client),
            ("forwarded", "for=203.0.113.7"),
        ];
        server.send("GET", &pooled(), &headers, b"").status
    };
    let behind = ["--requests-a-minute", "1", "--behind-tls-proxy"];
    let server = Server::serve(folder.path(), &behind);
    let told = ["192.0.2.1", "192.0.2.2", "192.0.2.1"].map(|client| ask(&server, client));
    assert_eq!(told, [200, 200, 429]);
    drop(server);
    // This machine is none of the proxies, so what it says of others is a claim.
    let elsewhere = [
        &behind[..],
        &["--trusted-proxies", "10.0.0.0/8,2001:db8::5"],
    ]
    .concat();
    let server = Server::serve(folder.path(), &elsewhere);
    let told = ["192.0.2.1", "192.0.2.2"].map(|client| ask(&server, client));
    assert_eq!(told, [200, 429]);
}
