//! Releases as commands make and check them, and as they are served.

use crate::harness::{
    Answer, PUBLIC_URL, STUDY, Server, analysis, assert_valid, contribution, folder, make_release,
    run, tautpool, varied,
};
use data_encoding::{BASE64, HEXLOWER};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::Duration;
use tautpool::intake::schema::Schema;
use tautpool::receipt::sha256_of;
use tempfile::TempDir;

/// A data folder with so many players' contributions.
fn filled(n: u32) -> TempDir {
    let folder = folder();
    send(folder.path(), 0, n);
    folder
}

fn send(data: &Path, first: u32, n: u32) {
    let server = Server::serve(data, &[]);
    for number in first..first + n {
        server.post(&contribution(varied(number))).expect(201);
    }
}

fn said(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn trouble(output: &Output) -> String {
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// What was printed behind a word.
fn printed(output: &Output, word: &str) -> String {
    assert!(output.status.success(), "{output:?}");
    let said = said(output);
    let mut lines = said.lines().map(str::trim);
    let line = lines.find_map(|line| line.strip_prefix(word)).unwrap();
    line.trim().to_owned()
}

fn path(rest: &str) -> String {
    format!("/api/v1/studies/{STUDY}/releases{rest}")
}

fn verify(bytes: &[u8], more: &[&str]) -> Output {
    run(&[&["release", "verify", "-"], more].concat(), bytes)
}

#[test]
fn a_release_is_made_served_and_checked_as_a_reader_would() {
    let folder = filled(12);
    let made = make_release(folder.path(), &["--note", "The first one."]);
    assert!(said(&made).starts_with(&format!("Release 1 of {STUDY}, the first.")));
    let sha256 = printed(&made, "sha256");
    assert_eq!(
        printed(&made, "address"),
        format!("{PUBLIC_URL}/studies/{STUDY}/releases/1")
    );
    let server = Server::serve(folder.path(), &["--public-url", PUBLIC_URL]);
    let answer = server.get(&path("/1")).expect(200);
    assert_eq!(HEXLOWER.encode(&sha256_of(&answer.body)), sha256);
    assert_eq!(answer.content_type(), "application/json");
    assert_eq!(answer.header("etag"), format!("\"{sha256}\""));
    let digest = BASE64.encode(&sha256_of(&answer.body));
    // RFC 9530, section 3: a dictionary of byte sequences.
    assert_eq!(answer.header("repr-digest"), format!("sha-256=:{digest}:"));
    assert_immutable(&answer);
    assert_valid(Schema::Release, &answer.json());
    let head = server.send("HEAD", &path("/1"), &[], b"").expect(200);
    assert_eq!(head.header("repr-digest"), answer.header("repr-digest"));
    let tag = format!("\"{sha256}\"");
    let again = [("if-none-match", tag.as_str())];
    let again = server.send("GET", &path("/1"), &again, b"").expect(304);
    assert!(again.body.is_empty());
    assert_immutable(&again);

    // As anybody does it who knows nothing of this program.
    let away = tempfile::tempdir().unwrap();
    let name = format!("{STUDY}-release-1.json");
    let sums = server.get(&path("/1/sha256")).expect(200);
    assert_immutable(&sums);
    assert_eq!(sums.text(), format!("{sha256}  {name}\n"));
    fs::write(away.path().join(&name), &answer.body).unwrap();
    fs::write(away.path().join("sums"), &sums.body).unwrap();
    let check = || {
        let mut command = Command::new("sha256sum");
        command.args(["-c", "sums"]).current_dir(away.path());
        command.output().unwrap()
    };
    let checked = check();
    assert!(checked.status.success(), "{checked:?}");
    assert_eq!(said(&checked), format!("{name}: OK\n"));
    let mut changed = answer.body.clone();
    changed[1000] ^= 1;
    fs::write(away.path().join(&name), changed).unwrap();
    assert!(!check().status.success());

    let checked = verify(&answer.body, &["--sha256", &sha256.to_uppercase()]);
    assert!(checked.status.success(), "{}", said(&checked));
    for line in [
        "as given",
        "valid by release.v1",
        "canonical JSON",
        "equal bit for bit",
        "citation and metadata made again",
    ] {
        assert!(said(&checked).contains(line), "{line}: {}", said(&checked));
    }
    server.get(&path("/2")).expect_problem(404, "not-found");
    for number in ["0", "01", "+1", "1.0", "x"] {
        server
            .get(&path(&format!("/{number}")))
            .expect_problem(404, "not-found");
    }
    let other = "/api/v1/studies/none/releases";
    server.get(other).expect_problem(404, "not-found");
    let put = server.send("PUT", &path("/1"), &[], b"{}");
    put.expect_problem(405, "method-not-allowed");
}

fn assert_immutable(answer: &Answer) {
    let wanted = "public, max-age=31536000, immutable";
    assert_eq!(answer.header("cache-control"), wanted);
}

/// The text of the analyses in a pooled document, byte for byte.
fn analyses_text(document: &[u8]) -> &str {
    let text = str::from_utf8(document).unwrap();
    let (_, rest) = text.split_once("\"analyses\":").unwrap();
    let (analyses, _) = rest.split_once(",\"everybody\":").unwrap();
    analyses
}

#[test]
fn pooling_a_release_gives_its_figures_bit_for_bit() {
    let folder = filled(15);
    make_release(folder.path(), &[]);
    let server = Server::serve(folder.path(), &[]);
    let live = server.get(&format!("/api/v1/studies/{STUDY}/pooled"));
    let release = server.get(&path("/1")).expect(200);
    let pooled = run(&["pool", "--json", "-"], &release.body);
    assert!(pooled.status.success(), "{pooled:?}");
    assert_eq!(analyses_text(&pooled.stdout), analyses_text(&live.body));
    let pooled: Value = serde_json::from_slice(&pooled.stdout).unwrap();
    let document = release.json();
    // In canonical form, in which 5 and 5.0 are one number.
    let [again, published] =
        [&pooled["analyses"], &document["findings"]["analyses"]].map(tautpool::wire::canonical);
    assert!(again == published);
    let words = run(&["pool", "-"], &release.body);
    assert!(said(&words).contains("15 pairs, 15 players"), "{words:?}");
    let column = run(&["pool", "-", "--cluster", "group"], &release.body);
    assert_eq!(column.status.code(), Some(2), "{column:?}");
    assert!(String::from_utf8_lossy(&column.stderr).contains("a release has none"));
    // A fault is named by its place in the file.
    let mut spoiled = document;
    spoiled["findings"]["rows"][0]["variance"] = json!(0);
    let refused = run(&["pool", "-"], spoiled.to_string().as_bytes());
    let refused = trouble(&refused);
    assert!(
        refused.starts_with("fault  /findings/rows/0/variance  [too_small]  "),
        "{refused}"
    );
}

#[test]
fn a_file_that_was_tampered_with_is_found_out() {
    let folder = filled(12);
    let sha256 = printed(&make_release(folder.path(), &[]), "sha256");
    let server = Server::serve(folder.path(), &[]);
    let bytes = server.get(&path("/1")).expect(200).body;
    let document: Value = serde_json::from_slice(&bytes).unwrap();
    let faults = |document: &Value, canonical: bool| {
        let text = if canonical {
            tautpool::wire::canonical(document)
        } else {
            document.to_string()
        };
        let output = verify(text.as_bytes(), &["--sha256", &sha256]);
        assert_eq!(output.status.code(), Some(1), "{}", said(&output));
        said(&output)
    };
    let mut figure = document.clone();
    let place = "/findings/analyses/0/shown/estimate";
    *figure.pointer_mut(place).unwrap() = json!(9.5);
    let found = faults(&figure, true);
    assert!(
        found.contains(&format!("FAULT  figures    {place} is not")),
        "{found}"
    );
    assert!(found.contains("FAULT  sha256"), "{found}");
    assert!(found.contains("ok     form"), "{found}");
    let mut row = document.clone();
    let estimate = row["findings"]["rows"][0]["estimate"].as_f64().unwrap();
    row["findings"]["rows"][0]["estimate"] = json!(estimate + 0.1);
    assert!(faults(&row, true).contains("FAULT  figures    /findings/analyses/"));
    let mut word = document.clone();
    word["verdicts"][0]["answer"] = json!("Looser is faster.");
    let found = faults(&word, true);
    assert!(
        found.contains("FAULT  words      /verdicts/0/answer is not"),
        "{found}"
    );
    assert!(found.contains("ok     figures"), "{found}");
    let mut name = document.clone();
    name["publisher"] = json!("Somebody else");
    assert!(faults(&name, true).contains("FAULT  words      /citation is not"));
    // The same document in another form is not the file.
    let found = faults(&document, false);
    assert!(found.contains("FAULT  form"), "{found}");
    assert!(found.contains("ok     words"), "{found}");
    let mut more = document.clone();
    more["sha256"] = json!(sha256);
    let found = faults(&more, true);
    assert!(found.contains("fault  /sha256  [unknown_field]"), "{found}");
    let mut number = document;
    number["number"] = json!(2);
    assert!(faults(&number, true).contains("no release, or it was changed"));
    let cut = verify(&bytes[..bytes.len() - 1], &[]);
    assert_eq!(cut.status.code(), Some(1));
}

#[test]
fn the_list_says_what_became_of_each_release() {
    let folder = filled(10);
    make_release(folder.path(), &[]);
    let first = {
        let server = Server::serve(folder.path(), &[]);
        let list = server.get(&path("")).expect(200).json();
        assert_eq!(list["releases"][0]["superseded_by"], Value::Null);
        server.get(&path("/1")).expect(200).body
    };
    send(folder.path(), 10, 5);
    let update = make_release(folder.path(), &[]);
    assert!(said(&update).starts_with(&format!("Release 2 of {STUDY}, an update of release 1.")));
    let correction = make_release(folder.path(), &["--correction", "A <slip> & more"]);
    assert!(said(&correction).contains("Release 3"), "{correction:?}");
    let server = Server::serve(folder.path(), &[]);
    let answer = server.get(&path("")).expect(200);
    assert_eq!(answer.header("cache-control"), "no-cache");
    let list = answer.json();
    let of = |number: usize, name: &str| list["releases"][number - 1][name].clone();
    assert_eq!(of(1, "superseded_by"), 2);
    assert_eq!(of(1, "corrected_by"), Value::Null);
    assert_eq!(of(2, "kind"), "update");
    assert_eq!(of(2, "superseded_by"), 3);
    assert_eq!(of(2, "corrected_by"), 3);
    assert_eq!(of(2, "correction"), "A <slip> & more");
    assert_eq!(of(3, "superseded_by"), Value::Null);
    assert_eq!(of(3, "correction"), Value::Null);
    for number in 1..=3 {
        let address = of(number, "json");
        let answer = server.get(address.as_str().unwrap()).expect(200);
        assert_eq!(of(number, "bytes"), answer.body.len());
        let sha256 = HEXLOWER.encode(&sha256_of(&answer.body));
        assert_eq!(of(number, "sha256"), sha256);
    }
    // Not a byte of the first one has changed, whatever is said of it now.
    assert_eq!(server.get(&path("/1")).expect(200).body, first);
    let release = server.get(&path("/3")).json();
    let before = server.get(&path("/2")).json();
    assert_eq!(release["findings"], before["findings"]);
    let speed = analysis(&release["findings"], "speed", "band_1");
    assert_eq!(speed["players"], 15);
}

#[test]
fn commands_say_why_nothing_was_released() {
    let folder = filled(4);
    let data = folder.path().to_str().unwrap();
    let nowhere = run(&["release", "make", STUDY, "--data", data], b"");
    let words = trouble(&nowhere);
    assert!(
        words.contains("--public-url") && words.contains("TAUTPOOL_PUBLIC_URL"),
        "{words}"
    );
    assert!(trouble(&make_release(folder.path(), &[])).contains("nothing is public yet"));
    let slip = make_release(folder.path(), &["--correction", "a slip"]);
    assert!(trouble(&slip).contains("nothing is public yet"));
    send(folder.path(), 4, 1);
    let unknown = [
        "release",
        "make",
        "none",
        "--data",
        data,
        "--public-url",
        PUBLIC_URL,
    ];
    assert!(trouble(&run(&unknown, b"")).contains("no such study"));
    make_release(folder.path(), &[]);
    assert!(
        trouble(&make_release(folder.path(), &[])).contains("nothing has changed since release 1")
    );
    let server = Server::serve(folder.path(), &[]);
    assert!(trouble(&make_release(folder.path(), &[])).contains("stop it first"));
    drop(server);
    for arguments in [
        vec!["release"],
        vec!["release", "make", STUDY],
        vec!["release", "verify"],
        vec!["release", "verify", "-", "--sha256", "abc"],
        vec!["release", "verify", STUDY, "--data", data],
        vec![
            "release",
            "make",
            STUDY,
            "--data",
            data,
            "--public-url",
            "http://pool.example",
        ],
        vec!["release", "make", STUDY, "--data", data, "--sha256", "abc"],
    ] {
        let output = run(&arguments, b"");
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
    }
}

#[test]
fn a_kill_leaves_no_release_or_a_whole_one() {
    let folder = filled(10);
    let data = folder.path().to_str().unwrap().to_owned();
    make_release(folder.path(), &[]);
    for wait in 0..24 {
        let mut child = tautpool()
            .args([
                "release",
                "make",
                STUDY,
                "--data",
                &data,
                "--public-url",
                PUBLIC_URL,
            ])
            .args(["--correction", "a slip"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // Spread over the life of the command.
        std::thread::sleep(Duration::from_millis(40 + wait * 45));
        child.kill().unwrap();
        child.wait().unwrap();
    }
    let server = Server::serve(folder.path(), &[]);
    let list = server.get(&path("")).expect(200).json();
    let releases = list["releases"].as_array().unwrap();
    for (place, listed) in releases.iter().enumerate() {
        assert_eq!(listed["number"], place + 1);
        let answer = server.get(listed["json"].as_str().unwrap()).expect(200);
        let sha256 = HEXLOWER.encode(&sha256_of(&answer.body));
        assert_eq!(listed["sha256"], sha256);
        assert_valid(Schema::Release, &answer.json());
    }
    assert!(releases.len() < 25, "nothing was cut short");
}
