//! How often one may ask.

use super::pooled;
use crate::harness::{Answer, Pair, STUDY, Server, contribution, exported, folder};

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
    // Files and pictures are in the same quota; pages and the health check are in none.
    for path in ["/schema/problem.v1.schema.json", "/api/openapi.json"] {
        server.get(path).expect(429);
    }
    server
        .get(&format!("/studies/{STUDY}/card.svg"))
        .expect(429);
    server.send("HEAD", &pooled(), &[], b"").expect(429);
    for path in ["/", "/health", "/ready", "/api", "/style.css", "/problems"] {
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
