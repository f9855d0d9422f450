//! Forms and pieces of bodies: compression with a tag for each form, and ranges of files.

use super::{aggregate, pooled, readable};
use crate::harness::{Answer, Pair, STUDY, Server, contribution, run, server};
use std::io::{Read, Write};
use std::process::{Command, Stdio};

const GZIP: (&str, &str) = ("accept-encoding", "gzip");

fn asked(server: &Server, path: &str, headers: &[(&str, &str)]) -> Answer {
    server.send("GET", path, headers, b"")
}

/// What another program makes of a compressed body.
fn unpacked(body: &[u8]) -> Vec<u8> {
    let mut program = Command::new("gzip")
        .arg("-dc")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = program.stdin.take().unwrap();
    let body = body.to_vec();
    let writing = std::thread::spawn(move || stdin.write_all(&body).unwrap());
    let mut text = Vec::new();
    program
        .stdout
        .take()
        .unwrap()
        .read_to_end(&mut text)
        .unwrap();
    writing.join().unwrap();
    assert!(program.wait().unwrap().success());
    text
}

#[test]
fn a_compressed_body_has_a_tag_of_its_own_that_is_honoured() {
    let (_folder, server) = server();
    let mut n_compressed = 0;
    for path in readable() {
        let plain = server.get(&path).expect(200);
        let packed = asked(&server, &path, &[GZIP]).expect(200);
        if plain.body.len() < 1024 {
            assert_eq!(packed.header("content-encoding"), "", "{path}");
            assert_eq!(packed.header("vary"), "", "{path}");
            continue;
        }
        n_compressed += 1;
        assert_eq!(packed.header("content-encoding"), "gzip", "{path}");
        assert_eq!(unpacked(&packed.body), plain.body, "{path}");
        assert!(packed.body.len() < plain.body.len(), "{path}");
        for answer in [&plain, &packed] {
            assert_eq!(answer.header("vary"), "accept-encoding", "{path}");
        }
        let tag = packed.header("etag").to_owned();
        assert_ne!(tag, plain.header("etag"), "{path}");
        let has = asked(&server, &path, &[GZIP, ("if-none-match", &tag)]).expect(304);
        assert_eq!(has.header("etag"), tag, "{path}");
        assert_eq!(has.header("vary"), "accept-encoding", "{path}");
        // The tag of one form says nothing of the other.
        asked(&server, &path, &[("if-none-match", &tag)]).expect(200);
        let other = plain.header("etag");
        asked(&server, &path, &[GZIP, ("if-none-match", other)]).expect(200);
        let head = server.send("HEAD", &path, &[GZIP], b"").expect(200);
        assert_eq!(head.header("content-length"), packed.body.len().to_string());
        assert_eq!(head.header("etag"), tag);
    }
    assert!(20 < n_compressed);
}

#[test]
fn nothing_with_a_secret_in_it_is_compressed() {
    let (folder, server) = server();
    let data = folder.path().to_str().unwrap();
    let document = contribution(Pair::default()).to_string();
    let sent = server.post_bytes(document.as_bytes(), &[GZIP]).expect(201);
    assert_eq!(sent.header("content-encoding"), "");
    let receipt = sent.json()["receipt"].as_str().unwrap().to_owned();
    let holder = format!("Receipt {receipt}");
    let own = format!("/api/v1/studies/{STUDY}/contributions");
    let own = asked(&server, &own, &[GZIP, ("authorization", &holder)]).expect(200);
    let form = format!("/studies/{STUDY}/send");
    let form = asked(&server, &form, &[GZIP]).expect(200);
    let plan = asked(&server, &format!("/studies/{STUDY}/plan"), &[GZIP]).expect(200);
    let opened = server.send(
        "POST",
        &format!("/studies/{STUDY}/receipt"),
        &[GZIP, ("content-type", "application/x-www-form-urlencoded")],
        format!("receipt={receipt}").as_bytes(),
    );
    drop(server);
    let made = run(&["host", "credential", "make", "--data", data], b"");
    assert!(made.status.success());
    let server = Server::serve(folder.path(), &[]);
    let sign_in = asked(&server, "/host/sign-in", &[GZIP]).expect(200);
    for answer in [own, form, plan, opened.expect(200), sign_in] {
        assert!(1024 < answer.body.len());
        assert_eq!(answer.header("content-encoding"), "");
        assert_eq!(answer.header("access-control-allow-origin"), "");
        let kept = answer.header("cache-control");
        assert!(kept == "no-store" || kept.starts_with("private"), "{kept}");
    }
}

#[test]
fn a_file_can_be_fetched_in_pieces() {
    let (_folder, server) = server();
    for path in [pooled(), aggregate()] {
        let whole = server.get(&path).expect(200);
        assert_eq!(whole.header("accept-ranges"), "bytes");
        let length = whole.body.len();
        let tag = whole.header("etag");
        let mut pieced = Vec::new();
        for first in (0..length).step_by(1000) {
            let range = format!("bytes={first}-{}", first + 999);
            // A client that takes compressed bodies gets pieces of the plain one.
            let headers = [GZIP, ("range", range.as_str()), ("if-range", tag)];
            let piece = asked(&server, &path, &headers).expect(206);
            let last = first + piece.body.len() - 1;
            let told = format!("bytes {first}-{last}/{length}");
            assert_eq!(piece.header("content-range"), told);
            assert_eq!(piece.header("content-encoding"), "");
            assert_eq!(piece.header("etag"), tag);
            pieced.extend(piece.body);
        }
        assert_eq!(pieced, whole.body);
        let end = asked(&server, &path, &[("range", "bytes=-7")]).expect(206);
        assert_eq!(end.body, whole.body.get(length - 7..).unwrap());
    }
}

#[test]
fn a_range_that_cannot_be_given_is_refused_or_not_looked_at() {
    let (_folder, server) = server();
    let path = pooled();
    let whole = server.get(&path).expect(200);
    let length = whole.body.len();
    let beyond = format!("bytes={length}-");
    let answer = asked(&server, &path, &[("range", &beyond)]);
    assert_eq!(answer.header("content-range"), format!("bytes */{length}"));
    assert_eq!(answer.header("cache-control"), "no-store");
    answer.expect_problem(416, "range-not-there");
    for headers in [
        [("range", "bytes=0-1,5-6"), ("x", "")],
        [("range", "lines=0-1"), ("x", "")],
        [("range", "bytes=0-1"), ("if-range", "\"other\"")],
        [
            ("range", "bytes=0-1"),
            ("if-range", "Sat, 29 Oct 1994 19:43:31 GMT"),
        ],
    ] {
        let answer = asked(&server, &path, &headers).expect(200);
        assert_eq!(answer.body, whole.body, "{headers:?}");
    }
    // What the client has already is not sent, in pieces neither.
    let has = [
        ("range", "bytes=0-1"),
        ("if-none-match", whole.header("etag")),
    ];
    asked(&server, &path, &has).expect(304);
    let head = server
        .send("HEAD", &path, &[("range", "bytes=0-1")], b"")
        .expect(200);
    assert_eq!(head.header("content-length"), length.to_string());
    assert_eq!(head.header("accept-ranges"), "bytes");
    // A list and a page are read as a whole.
    for path in ["/api/v1/studies", "/api", "/health"] {
        let answer = asked(&server, path, &[("range", "bytes=0-1")]).expect(200);
        assert_eq!(answer.header("accept-ranges"), "", "{path}");
    }
}
