//! Addresses that would lead out of where they belong: no file is read by its name, so there is
//! nothing to find, and nothing that fails.

use super::stage::Stage;
use crate::harness::{STUDY, run, server};
use serde_json::Value;
use std::collections::BTreeSet;
use std::ffi::OsString;
use std::fs;
use std::path::Path;

/// Ways of writing a place above, and of cutting a name off.
const WAYS: &[&str] = &[
    "..",
    "%2e%2e",
    "%2E%2E%2F%2E%2E%2Fetc%2Fpasswd",
    "..%2f..%2f..%2f..%2fetc%2fpasswd",
    "%252e%252e%252fetc%252fpasswd",
    "..%5c..%5c..%5cetc%5cpasswd",
    "..\\..\\etc\\passwd",
    "....//....//etc/passwd",
    "../../../../etc/passwd",
    "/etc/passwd",
    "//etc/passwd",
    "..%c0%af..%c0%afetc/passwd",
    "%2e%2e/receipt.key",
    "receipt.key",
    "tautpool.sqlite",
    "form.js%00",
    "%00",
    "%0d%0aSet-Cookie:%20zqx=1",
    "%0a%0d%0a<script>zqx()</script>",
    "%ff%fe",
    "..;/",
    ".%00./",
    "~",
    "*",
    "CON",
    "form.js/..%2f..",
];

/// Every address that takes something, as the description and the pages tell them.
fn templates() -> Vec<String> {
    let document: Value =
        serde_json::from_str(include_str!("../../../schema/openapi.json")).unwrap();
    let told = document["paths"].as_object().unwrap();
    let mut all: Vec<String> = told.keys().cloned().collect();
    let pages = [
        "/script/{file}",
        "/studies/{study}",
        "/studies/{study}/pairs",
        "/studies/{study}/send",
        "/studies/{study}/receipt",
        "/studies/{study}/protocol",
        "/studies/{study}/releases/{number}",
        "/studies/{study}/releases/{number}/pairs",
        "/studies/{study}/releases/{number}/pictures/{name}.svg",
        "/host/open/{code}",
        "/host/studies/{study}",
        "/host/studies/{study}/review/{contribution}",
        "/{anything}",
        "/.well-known/{anything}",
    ];
    all.extend(pages.map(str::to_owned));
    all.retain(|path| path.contains('{'));
    assert!(20 < all.len());
    all
}

/// The address with something in the place of one of its parts, and what belongs there in the others.
fn filled(template: &str, wanted: usize, text: &str) -> Option<String> {
    let mut parts = template.split('{');
    let mut path = parts.next().unwrap().to_owned();
    let mut is_filled = false;
    for (nth, part) in parts.enumerate() {
        let (name, rest) = part.split_once('}').unwrap();
        let usual = match name {
            "study" => STUDY,
            "number" | "n" | "release" => "1",
            _ => "x",
        };
        is_filled |= nth == wanted;
        path.push_str(if nth == wanted { text } else { usual });
        path.push_str(rest);
    }
    is_filled.then_some(path)
}

#[test]
fn no_address_leads_to_a_file_of_the_machine() {
    let stage = Stage::usual();
    let key = fs::read(stage.copied().path().join("receipt.key")).unwrap();
    for template in templates() {
        for wanted in 0..3 {
            for way in WAYS {
                let Some(path) = filled(&template, wanted, way) else {
                    continue;
                };
                for method in ["GET", "POST"] {
                    let request = format!(
                        "{method} {path} HTTP/1.1\r\nhost: {}\r\nconnection: close\r\ncontent-length: 0\r\n\r\n",
                        stage.server.address
                    );
                    // An answer that is a failure of the service stops the test.
                    let answer = stage.server.raw(request.as_bytes()).unwrap();
                    let refused = [303, 400, 401, 403, 404, 405, 415];
                    assert!(
                        refused.contains(&answer.status),
                        "{method} {path}: {}",
                        answer.status
                    );
                    assert!(!answer.text().contains("root:"), "{path}");
                    assert!(
                        !answer.body.windows(key.len()).any(|part| part == key),
                        "{path}"
                    );
                    assert_eq!(answer.header("set-cookie"), "", "{path}");
                }
            }
        }
    }
}

fn names_in(folder: &Path) -> BTreeSet<OsString> {
    let entries = fs::read_dir(folder).unwrap();
    entries.map(|entry| entry.unwrap().file_name()).collect()
}

#[test]
fn the_name_of_a_study_is_no_path_for_the_command_line_either() {
    let (folder, server) = server();
    drop(server);
    let data = folder.path().join("deeper");
    fs::create_dir(&data).unwrap();
    let before = names_in(folder.path());
    let data = folder.path().to_str().unwrap();
    for name in ["../x", "/etc/passwd", "..", "a/b", "", "deeper", "x\n"] {
        for arguments in [
            vec!["host", "study", "open", name, "--data", data],
            vec!["host", "study", "close", name, "--data", data],
            vec!["export", "--study", name, "--data", data],
            vec![
                "release",
                "make",
                name,
                "--data",
                data,
                "--public-url",
                "https://pool.example",
            ],
        ] {
            let output = run(&arguments, b"");
            assert_ne!(output.status.code(), Some(0), "{arguments:?}");
            assert!(output.stdout.is_empty(), "{arguments:?}: {output:?}");
        }
    }
    // Nothing came to be; the log of the database goes when nobody uses it.
    assert!(names_in(folder.path()).is_subset(&before));
}
