//! Outcomes as JSON: one document on a line, with the keys that the README lists.

use super::fixture;
use crate::harness::{self, STUDY, Server, contribution, run, varied};
use serde_json::Value;
use std::fs;

/// Runs a command with `--json`, which has to say one document; answers its keys and itself.
#[track_caller]
fn told(arguments: &[&str], input: &[u8]) -> (Vec<String>, Value) {
    let output = run(&[arguments, &["--json"]].concat(), input);
    let text = String::from_utf8(output.stdout).unwrap();
    assert_eq!(
        text.lines().count(),
        1,
        "{arguments:?}: {text} {:?}",
        output.stderr
    );
    let said: Value = serde_json::from_str(&text).unwrap();
    let keys = said.as_object().unwrap().keys().cloned().collect();
    (keys, said)
}

/// The keys that the README lists for a command, in the words of its row.
fn listed(row: &str) -> Vec<String> {
    let readme = include_str!("../../../README.md");
    let mut lines = readme.lines().filter_map(|line| line.strip_prefix(row));
    let keys = lines.next_back().unwrap_or_else(|| panic!("{row}"));
    let keys = keys.split([':', ';']).next().unwrap();
    let mut keys: Vec<String> = keys
        .split('`')
        .skip(1)
        .step_by(2)
        .map(str::to_owned)
        .collect();
    keys.retain(|key| !key.is_empty());
    keys
}

#[track_caller]
fn assert_listed(row: &str, arguments: &[&str], input: &[u8]) -> Value {
    let (keys, said) = told(arguments, input);
    assert_eq!(keys, listed(row), "{row}: {said}");
    said
}

#[test]
fn every_outcome_has_the_keys_that_the_readme_lists() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let study = fixture("contributions/study.json");
    let mut other: Value = serde_json::from_slice(&fs::read(&study).unwrap()).unwrap();
    other["question"] = "Another question, for the sake of a change?".into();
    let changed = folder.path().with_extension("changed.json");
    fs::write(&changed, other.to_string()).unwrap();
    let (study, changed) = (study.to_str().unwrap(), changed.to_str().unwrap());
    let row = "| `host study add`, `open`, `amend`, `close` | ";
    let of_study = |arguments: &[&str]| {
        let said = assert_listed(
            row,
            &[&["host", "study"], arguments, &["--data", data]].concat(),
            b"",
        );
        (said["state"].clone(), said["version"].clone())
    };
    assert_eq!(of_study(&["add", study]), ("draft".into(), 1.into()));
    assert_eq!(
        of_study(&["amend", STUDY, changed]),
        ("draft".into(), 1.into())
    );
    assert_eq!(of_study(&["open", STUDY]), ("recruiting".into(), 1.into()));
    let all = assert_listed(
        "| `host study list` | ",
        &["host", "study", "list", "--data", data],
        b"",
    );
    assert_eq!(all["studies"][0]["study"], STUDY);
    let faulty = told(&["host", "study", "add", "-", "--data", data], b"{}");
    assert_eq!(faulty.0, ["faults"]);

    let invitations = |row: &str, arguments: &[&str]| {
        assert_listed(
            row,
            &[&["host", "invitations"], arguments, &["--data", data]].concat(),
            b"",
        )
    };
    let made = invitations(
        "| `host invitations make` | ",
        &["make", STUDY, "--count", "3"],
    );
    assert_eq!(made["codes"].as_array().unwrap().len(), 3);
    let row = "| `host invitations need`, `lift` | ";
    assert_eq!(invitations(row, &["need", STUDY])["needed"], true);
    assert_eq!(invitations(row, &["lift", STUDY])["needed"], false);
    invitations("| `host invitations end` | ", &["end", STUDY, "2"]);
    let all = invitations("| `host invitations list` | ", &["list", STUDY]);
    assert_eq!(all["invitations"][0]["ended"], Value::Null);
    assert!(all["invitations"][1]["ended"].is_string(), "{all}");
    let made = assert_listed(
        "| `host credential make` | ",
        &["host", "credential", "make", "--data", data],
        b"",
    );
    assert!(20 < made["credential"].as_str().unwrap().len());

    let server = Server::serve(folder.path(), &[]);
    for number in 0..5 {
        server.post(&contribution(varied(number))).expect(201);
    }
    harness::wait_until("the batch is shown", || {
        server
            .get(&format!("/api/v1/studies/{STUDY}/pooled"))
            .json()["batch"]
            .is_object()
    });
    let path = folder.path().join("aggregate.json");
    let aggregate = server
        .get(&format!("/api/v1/studies/{STUDY}/aggregate"))
        .expect(200);
    fs::write(&path, &aggregate.body).unwrap();
    drop(server);
    let made = assert_listed(
        "| `release make` | ",
        &[
            "release",
            "make",
            STUDY,
            "--data",
            data,
            "--public-url",
            "https://pool.example",
        ],
        b"",
    );
    assert_eq!(
        (&made["number"], &made["kind"]),
        (&1.into(), &"first".into())
    );
    let server = Server::serve(folder.path(), &[]);
    let release = server
        .get(&format!("/api/v1/studies/{STUDY}/releases/1"))
        .expect(200)
        .body;
    drop(server);
    let row = "| `release verify` | ";
    let hash = made["sha256"].as_str().unwrap();
    let good = assert_listed(row, &["release", "verify", "-", "--sha256", hash], &release);
    assert_eq!(good["ok"], true, "{good}");
    let bad = assert_listed(
        row,
        &["release", "verify", "-", "--sha256", &"0".repeat(64)],
        &release,
    );
    assert_eq!(
        (&bad["ok"], &bad["checks"][0]["outcome"]),
        (&false.into(), &"fault".into())
    );
    let none = assert_listed(row, &["release", "verify", "-"], b"{}");
    assert_eq!(none["ok"], false);
    assert!(!none["faults"].as_array().unwrap().is_empty());

    assert_listed("| `inspect` | ", &["inspect", "--data", data], b"");
    assert_listed(
        "| `check` | ",
        &["check", "-"],
        contribution(varied(1)).to_string().as_bytes(),
    );
    let to = folder.path().with_extension("backups");
    let to = to.to_str().unwrap();
    let row = "| `backup`, `restore` | ";
    let made = assert_listed(row, &["backup", "--data", data, "--to", to], b"");
    assert_listed(
        row,
        &["restore", made["backup"].as_str().unwrap(), "--check"],
        b"",
    );
    let file = folder.path().join("private.json");
    assert_listed(
        "| `export --output FILE` | ",
        &["export", "--data", data, "--output", file.to_str().unwrap()],
        b"",
    );
    let (keys, _) = told(&["pool", path.to_str().unwrap()], b"");
    assert!(keys.iter().any(|key| key == "analyses"), "{keys:?}");
    assert_eq!(of_study(&["close", STUDY]).0, "closed");
    fs::remove_dir_all(to).unwrap();
    fs::remove_file(changed).unwrap();
}
