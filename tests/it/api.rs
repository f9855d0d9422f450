//! What can be read over HTTP, by whom and how. Sending is in [`sending`], what is refused in
//! [`refusing`], how the interface describes itself in [`description`], forms and pieces of bodies in
//! [`forms`], other origins in [`origins`], parts of lists in [`parts`], how often one may ask in
//! [`limits`], what stands where nothing is in [`nowhere`].

#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

mod description;
mod forms;
mod limits;
mod nowhere;
mod origins;
mod parts;
mod refusing;
mod sending;

use crate::harness::{Answer, Pair, STUDY, contribution, server, varied};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use tautpool::intake::schema::Schema;
use tautpool::pages::SCRIPTS;

/// Every address that answers GET, for a server with the study.
fn readable() -> Vec<String> {
    let mut paths: Vec<String> = [
        "/",
        "/problems",
        "/style.css",
        "/icon.svg",
        "/health",
        "/api",
    ]
    .map(str::to_owned)
    .to_vec();
    paths.extend(["/api/openapi.json", "/api/v1/studies"].map(str::to_owned));
    paths.push(format!("/studies/{STUDY}"));
    paths.push(pooled());
    paths.push(aggregate());
    for schema in Schema::ALL {
        paths.push(format!("/schema/{}", schema.file_name()));
    }
    paths.push("/worker.js".to_owned());
    for (name, _) in SCRIPTS {
        paths.push(format!("/script/{name}"));
    }
    paths
}

fn pooled() -> String {
    format!("/api/v1/studies/{STUDY}/pooled")
}

fn aggregate() -> String {
    format!("/api/v1/studies/{STUDY}/aggregate")
}

#[test]
fn health_says_that_the_database_answers() {
    let (_folder, server) = server();
    let health = server.get("/health").expect(200).json();
    assert_eq!(health["database"], "answers");
    assert_eq!(health["software"], env!("CARGO_PKG_VERSION"));
}

#[test]
fn the_list_of_studies_leads_to_every_door_of_the_study() {
    let (_folder, server) = server();
    let list = server.get("/api/v1/studies").expect(200).json();
    let entries = list["studies"].as_array().unwrap();
    assert_eq!(entries.len(), 1);
    let entry = &entries[0];
    assert_eq!(entry["study"]["study"], STUDY);
    assert_eq!(entry["study"]["invented"], true);
    assert_eq!(entry["minimum_gap"], 5);
    assert_eq!(entry["gap_unit"], "lb");
    assert_eq!(entry["consent"]["text_version"], "1");
    assert_eq!(entry["adults_only"], true);
    assert_eq!(entry["session_minutes"], 20);
    assert_eq!(entry["warm_up_minutes"], 10);
    for door in ["page", "pooled", "aggregate"] {
        server.get(entry[door].as_str().unwrap()).expect(200);
    }
    let body = contribution(Pair::default()).to_string();
    let json = [("content-type", "application/json")];
    let door = entry["contributions"].as_str().unwrap();
    server
        .send("POST", door, &json, body.as_bytes())
        .expect(201);
}

#[test]
fn before_the_first_batch_everything_is_withheld() {
    let (_folder, server) = server();
    let document = server.get(&pooled()).expect(200).json();
    assert_eq!(document["batch"], Value::Null);
    // Two primary outcomes, each under protocol and in four bands.
    let analyses = document["analyses"].as_array().unwrap();
    assert_eq!(analyses.len(), 10);
    for analysis in analyses {
        assert_eq!(analysis["withheld"], "Fewer than 5 players so far.");
        assert_eq!(analysis["k"], Value::Null);
    }
    let document = server.get(&aggregate()).expect(200).json();
    assert_eq!(document["rows"], json!([]));
}

#[test]
fn schemas_are_served_byte_for_byte_and_none_is_left_out() {
    let (_folder, server) = server();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("schema");
    let mut n_files = 0;
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        if name == "openapi.json" {
            continue;
        }
        let answer = server.get(&format!("/schema/{name}")).expect(200);
        assert_eq!(answer.content_type(), "application/schema+json");
        assert_eq!(answer.body, fs::read(&path).unwrap(), "{name}");
        let kind = name.strip_suffix(".v1.schema.json").unwrap();
        let id = format!("urn:tautpool:schema:{kind}:v1");
        assert_eq!(answer.json()["$id"], json!(id));
        n_files += 1;
    }
    assert_eq!(n_files, Schema::ALL.len());
}

#[test]
fn every_kind_of_content_is_declared_as_what_it_is() {
    let (_folder, server) = server();
    for (path, kind) in [
        ("/", "text/html; charset=utf-8"),
        ("/problems", "text/html; charset=utf-8"),
        ("/style.css", "text/css; charset=utf-8"),
        ("/icon.svg", "image/svg+xml"),
        ("/script/form.js", "text/javascript; charset=utf-8"),
        ("/worker.js", "text/javascript; charset=utf-8"),
        ("/health", "application/json"),
        ("/ready", "application/json"),
        (&pooled(), "application/json"),
    ] {
        assert_eq!(server.get(path).expect(200).content_type(), kind, "{path}");
    }
}

#[test]
fn a_problem_type_leads_to_its_explanation() {
    let (_folder, server) = server();
    let problem = server.get("/nothing").expect_problem(404, "not-found");
    let (page, fragment) = problem["type"].as_str().unwrap().split_once('#').unwrap();
    let page = server.get(page).expect(200).text();
    assert!(page.contains(&format!("id=\"{fragment}\"")), "{page}");
}

#[test]
fn head_gives_the_headers_of_get_and_no_body() {
    let (_folder, server) = server();
    let lasting = |answer: &Answer| -> BTreeMap<String, String> {
        let names = answer.header_names();
        let names = names
            .iter()
            .filter(|name| !["date", "request-id"].contains(*name));
        names
            .map(|name| ((*name).to_owned(), answer.header(name).to_owned()))
            .collect()
    };
    for path in readable() {
        let get = server.get(&path).expect(200);
        let head = server.send("HEAD", &path, &[], b"").expect(200);
        assert_eq!(lasting(&head), lasting(&get), "{path}");
        assert!(head.body.is_empty(), "{path}");
        assert!(!get.body.is_empty(), "{path}");
    }
}

#[test]
fn what_a_client_has_already_is_not_sent_again() {
    let (_folder, server) = server();
    for path in readable() {
        let tag = server.get(&path).expect(200).header("etag").to_owned();
        assert!(tag.starts_with('"') && tag.ends_with('"'), "{path}: {tag}");
        for theirs in [
            tag.clone(),
            format!("W/{tag}"),
            format!("\"other\", {tag}"),
            "*".to_owned(),
        ] {
            let asked = [("if-none-match", theirs.as_str())];
            for method in ["GET", "HEAD"] {
                let answer = server.send(method, &path, &asked, b"").expect(304);
                assert!(answer.body.is_empty(), "{path}");
                assert_eq!(answer.header("etag"), tag, "{path}");
                assert_eq!(answer.header("cache-control"), "no-cache", "{path}");
            }
        }
        for theirs in ["\"other\"", "W/\"other\"", "not a tag"] {
            let asked = [("if-none-match", theirs)];
            server.send("GET", &path, &asked, b"").expect(200);
        }
    }
}

#[test]
fn a_new_batch_changes_the_tags_of_what_it_changes() {
    let (_folder, server) = server();
    let changing = [format!("/studies/{STUDY}"), pooled(), aggregate()];
    let tags = || {
        changing
            .each_ref()
            .map(|path| server.get(path).header("etag").to_owned())
    };
    let before = tags();
    for number in 0..4 {
        server.post(&contribution(varied(number))).expect(201);
        assert_eq!(tags(), before);
    }
    server.post(&contribution(varied(4))).expect(201);
    for ((path, old), new) in changing.iter().zip(before).zip(tags()) {
        assert_ne!(old, new, "{path}");
        let asked = [("if-none-match", old.as_str())];
        server.send("GET", path, &asked, b"").expect(200);
    }
}

#[test]
fn a_wrong_method_is_refused_with_the_right_ones() {
    let (_folder, server) = server();
    for method in ["POST", "PUT", "PATCH", "DELETE", "TRACE"] {
        for path in readable() {
            let is_open = path.starts_with("/api/") || path.starts_with("/schema/");
            let allowed = if is_open {
                "GET, HEAD, OPTIONS"
            } else {
                "GET, HEAD"
            };
            let answer = server.send(method, &path, &[], b"");
            assert_eq!(answer.header("allow"), allowed, "{method} {path}");
            answer.expect_problem(405, "method-not-allowed");
        }
    }
    let contributions = format!("/api/v1/studies/{STUDY}/contributions");
    for method in ["PUT", "PATCH", "DELETE", "OPTIONS"] {
        let answer = server.send(method, &contributions, &[], b"");
        assert_eq!(answer.header("allow"), "GET, HEAD, POST", "{method}");
        answer.expect_problem(405, "method-not-allowed");
    }
    let head = server.send("HEAD", &contributions, &[], b"").expect(401);
    assert!(head.body.is_empty());
}

#[test]
fn an_unknown_address_is_a_problem_document() {
    let (_folder, server) = server();
    for path in [
        "/nothing",
        "/health/",
        "//health",
        "/schema",
        "/schema/",
        "/schema/receipt",
        "/schema/..%2f..%2fCargo.toml",
        "/schema/%2e%2e/%2e%2e/Cargo.toml",
        "/schema/../../Cargo.toml",
        "/../Cargo.toml",
        "/studies/none",
        "/studies/%00",
        "/studies/%ff",
        "/schema/%ff%fe",
        "/studies/%2e%2e%2f%2e%2e%2fetc%2fpasswd",
        "/api/v1/studies/none/pooled",
        "/api/v1/studies/none/aggregate",
        "/api/v1/studies/demo-of-the-corpus%20/pooled",
        "/api/v2/studies",
    ] {
        let request = format!("GET {path} HTTP/1.1\r\nHost: x\r\n\r\n");
        let answer = server.raw(request.as_bytes()).unwrap();
        let problem = answer.expect_problem(404, "not-found");
        assert_eq!(problem["faults"], json!([]), "{path}");
    }
}

#[test]
fn a_very_long_address_is_refused() {
    let (_folder, server) = server();
    let request = |length: usize| {
        let path = "a".repeat(length);
        format!("GET /schema/{path} HTTP/1.1\r\nHost: x\r\n\r\n")
    };
    let answer = server.raw(request(20_000).as_bytes()).unwrap();
    answer.expect_problem(404, "not-found");
    // The HTTP parser itself refuses this one, and it may close before everything is sent.
    if let Some(answer) = server.raw(request(400_000).as_bytes()) {
        answer.expect(431);
    }
    server.get("/health").expect(200);
}

#[test]
fn every_request_has_its_own_identifier() {
    let (_folder, server) = server();
    let one = server.get("/nothing");
    let id = format!("urn:uuid:{}", one.header("request-id"));
    let two = server.get("/nothing");
    assert_ne!(one.header("request-id"), two.header("request-id"));
    assert_eq!(one.expect(404).json()["instance"], json!(id));
}
