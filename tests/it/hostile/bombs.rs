//! Requests made to burst something: to be inflated, to go deep, to have many parts, to be drawn.

use super::{assert_bounded, filled, serve_honestly};
use crate::harness::{STUDY, Server, make_release};
use crate::load::Line;
use flate2::Compression;
use flate2::write::GzEncoder;
use std::io::Write;
use std::thread;

const JSON: &str = "application/json";
const FORM: &str = "application/x-www-form-urlencoded";
const FILE: &str = "multipart/form-data; boundary=x";

/// Every address that takes a body, with what it takes.
fn doors() -> Vec<(&'static str, String, &'static str)> {
    let api = format!("/api/v1/studies/{STUDY}");
    let pages = format!("/studies/{STUDY}");
    let contribution = "0190a3b0-0000-7000-8000-000000000000";
    vec![
        ("POST", format!("{api}/contributions"), JSON),
        (
            "PUT",
            format!("{api}/contributions/{contribution}?reason=other"),
            JSON,
        ),
        ("POST", format!("{api}/plans"), JSON),
        ("POST", format!("{pages}/send"), FORM),
        ("POST", format!("{pages}/send/check"), FORM),
        ("POST", format!("{pages}/plan"), FORM),
        ("POST", format!("{pages}/receipt"), FORM),
        ("POST", format!("{pages}/upload"), FILE),
        ("POST", "/host/sign-in".to_owned(), FORM),
    ]
}

/// Zeros that inflate to 128 MiB and take an eighth of a MiB.
fn inflating() -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    let zeros = vec![0; 1024 * 1024];
    for _ in 0..128 {
        encoder.write_all(&zeros).unwrap();
    }
    encoder.finish().unwrap()
}

#[test]
fn no_door_inflates_a_body() {
    let (_folder, server) = filled();
    let bomb = inflating();
    assert!(bomb.len() < 256 * 1024);
    let before_kib = server.memory().resident_kib;
    for coding in ["gzip", "br", "deflate", "zstd", "gzip, gzip", "x-gzip"] {
        for (method, path, declared) in doors() {
            let headers = [
                ("content-type", declared),
                ("content-encoding", coding),
                ("authorization", "Receipt none"),
            ];
            let answer = server.send(method, &path, &headers, &bomb);
            assert_eq!(answer.status, 415, "{coding} {path}: {}", answer.text());
        }
    }
    serve_honestly(&server, 200);
    assert_bounded(&server, before_kib);
}

fn part(name: &str, more: &str, bytes: &str) -> String {
    format!("--x\r\nContent-Disposition: form-data; name=\"{name}\"{more}\r\n\r\n{bytes}\r\n")
}

fn file(name: &str, bytes: &str) -> String {
    part("file", &format!("; filename=\"{name}\""), bytes) + "--x--\r\n"
}

/// Bodies that are within the limit of bytes and large in another way.
fn bursting() -> Vec<(&'static str, &'static str, String)> {
    let deep = "[".repeat(200_000);
    let deep_and_closed = "[".repeat(100_000) + &"]".repeat(100_000);
    let objects = "{\"a\":".repeat(40_000);
    let names: String = (0..20_000)
        .map(|number| format!("\"{number}\":0,"))
        .collect();
    let same_name = "\"study\":0,".repeat(20_000);
    let digits = "9".repeat(200_000);
    let escapes = "\\u0000".repeat(40_000);
    let empty_sessions = "{},".repeat(80_000);
    let columns = "hit,".repeat(60_000);
    let lines = "a\n".repeat(100_000);
    vec![
        ("deep", JSON, deep.clone()),
        ("deep and closed", JSON, deep_and_closed),
        ("deep objects", JSON, objects),
        ("many names", JSON, format!("{{{names}\"z\":0}}")),
        (
            "one name many times",
            JSON,
            format!("{{{same_name}\"z\":0}}"),
        ),
        ("many digits", JSON, format!("{{\"study\":{digits}}}")),
        (
            "a large exponent",
            JSON,
            format!("{{\"study\":1e{digits}}}"),
        ),
        ("many escapes", JSON, format!("{{\"study\":\"{escapes}\"}}")),
        (
            "many sessions",
            JSON,
            format!("{{\"sessions\":[{empty_sessions}{{}}]}}"),
        ),
        ("many fields", FORM, "a=1&".repeat(60_000)),
        ("many empty fields", FORM, "&".repeat(250_000)),
        (
            "one large field",
            FORM,
            format!("document={}", "%25".repeat(80_000)),
        ),
        (
            "many parts",
            FILE,
            part("a", "", "1").repeat(4_000) + "--x--\r\n",
        ),
        ("boundaries alone", FILE, "--x\r\n".repeat(50_000)),
        (
            "a large name",
            FILE,
            part(&"n".repeat(200_000), "", "1") + "--x--\r\n",
        ),
        (
            "a large head",
            FILE,
            part("file", &"; a=b".repeat(40_000), "1") + "--x--\r\n",
        ),
        ("a large file name", FILE, file(&"n".repeat(200_000), "1")),
        ("a deep file", FILE, file("a.json", &deep)),
        ("a huge cell", FILE, file("a.csv", &"9".repeat(250_000))),
        (
            "an open quote",
            FILE,
            file("a.csv", &format!("\"{}", "\"\"".repeat(120_000))),
        ),
        (
            "many columns",
            FILE,
            file("a.csv", &format!("{columns}\n{columns}\n")),
        ),
        ("many lines", FILE, file("a.csv", &lines)),
        ("many separators", FILE, file("a.csv", &";".repeat(250_000))),
    ]
}

#[test]
fn bodies_that_are_large_in_other_ways_are_refused_within_the_same_memory() {
    let (_folder, server) = filled();
    let before_kib = server.memory().resident_kib;
    let bursting = bursting();
    for (method, path, takes) in doors() {
        for (what, declared, body) in &bursting {
            if *declared != takes {
                continue;
            }
            let headers = [("content-type", takes), ("authorization", "Receipt none")];
            let answer = server.send(method, &path, &headers, body.as_bytes());
            assert!(
                (400..500).contains(&answer.status) || answer.status == 200,
                "{path}: {what}"
            );
        }
    }
    serve_honestly(&server, 200);
    assert_bounded(&server, before_kib);
}

#[test]
fn large_heads_and_long_lists_in_them_are_read_or_refused() {
    let (_folder, server) = filled();
    let before_kib = server.memory().resident_kib;
    let api = format!("/api/v1/studies/{STUDY}");
    let languages = "text/html;q=0.001, ".repeat(3_000);
    let ranges: String = (0..6_000)
        .map(|start| format!("{start}-{start},"))
        .collect();
    let tags = "\"0123456789abcdef\", ".repeat(3_000);
    let codings = "gzip;q=0.5, ".repeat(5_000);
    for (name, value) in [
        ("Accept", languages.as_str()),
        ("Range", &format!("bytes={ranges}0-")),
        ("If-None-Match", &tags),
        ("If-Range", &tags),
        ("Accept-Encoding", &codings),
        ("Cookie", &"a=b; ".repeat(12_000)),
        ("Authorization", &"Receipt ".repeat(7_000)),
        ("X-Forwarded-For", &"192.0.2.1, ".repeat(5_000)),
        ("Idempotency-Key", &"k".repeat(60_000)),
    ] {
        for path in ["aggregate", "pooled", "contributions", "query"] {
            let head = format!("GET {api}/{path} HTTP/1.1\r\nHost: x\r\n{name}: {value}\r\n\r\n");
            let answer = server.raw(head.as_bytes()).unwrap();
            assert!(answer.status < 500, "{name} {path}");
        }
    }
    let query = "outcome=speed&".repeat(4_000);
    for path in ["pooled", "query", "aggregate", "contributions"] {
        let head = format!("GET {api}/{path}?{query} HTTP/1.1\r\nHost: x\r\n\r\n");
        assert!(server.raw(head.as_bytes()).unwrap().status < 500, "{path}");
    }
    // The framework reads a head up to 128 KiB, and an address up to 64 KiB.
    let long = format!("GET /{} HTTP/1.1\r\nHost: x\r\n\r\n", "a".repeat(200_000));
    assert!([400, 431].contains(&server.raw(long.as_bytes()).unwrap().status));
    serve_honestly(&server, 200);
    assert_bounded(&server, before_kib);
}

/// The statuses that so many clients at once get, each for addresses of its own.
fn statuses(server: &Server, clients: usize, paths: impl Fn(usize) -> Vec<String>) -> Vec<u16> {
    let asking: Vec<_> = (0..clients)
        .map(|client| {
            let mut line = Line::new(&server.address);
            let paths = paths(client);
            thread::spawn(move || {
                let asked = paths.iter().map(|path| line.ask("GET", path, "", ""));
                asked
                    .map(|answer| answer.unwrap().status)
                    .collect::<Vec<u16>>()
            })
        })
        .collect();
    serve_honestly(server, 300);
    let asked = asking.into_iter();
    asked.flat_map(|client| client.join().unwrap()).collect()
}

#[test]
fn a_thousand_questions_at_once_are_answered_or_put_off() {
    let (_folder, server) = filled();
    let before_kib = server.memory().resident_kib;
    let asked = statuses(&server, 50, |client| {
        let questions = (0..20).map(|number| {
            let level = 0.5 + f64::from(u32::try_from(client * 20 + number).unwrap()) / 3000.0;
            format!("/api/v1/studies/{STUDY}/query?outcome=speed&level={level:.4}")
        });
        questions.collect()
    });
    assert_eq!(asked.len(), 1000);
    // Busy ones end the reading of that client with a panic of the harness, so none was an error.
    assert!(
        asked.iter().all(|status| [200, 422, 503].contains(status)),
        "{asked:?}"
    );
    assert!(asked.contains(&200));
    assert_bounded(&server, before_kib);
}

#[test]
fn every_card_in_every_unit_asked_for_at_once_is_drawn_within_bounds() {
    let (folder, server) = filled();
    drop(server);
    let made = make_release(folder.path(), &[]);
    assert!(made.status.success(), "{made:?}");
    let server = Server::serve(folder.path(), &[]);
    let before_kib = server.memory().resident_kib;
    let files = ["card.svg", "card-1200x630.png", "card-1920x1080.png"];
    let units = ["", "?speed=mph", "?tension=kg", "?speed=mph&tension=kg"];
    let asked = statuses(&server, 48, |client| {
        let unit = units[client % units.len()];
        let both = ["", "/releases/1"].iter();
        let paths = both
            .flat_map(|place| files.map(|file| format!("/studies/{STUDY}{place}/{file}{unit}")));
        paths.collect()
    });
    assert_eq!(asked, vec![200; 48 * 6]);
    assert_bounded(&server, before_kib);
}
