//! `tautpool check`, `export`, `host study add`, and what `serve` and `pool` refuse.

use crate::corpus;
use crate::harness::{
    Pair, STUDY, STUDY_FILE, Server, add_study, contribution, exported, folder, host_study, run,
    varied,
};
use serde_json::{Value, json};
use std::fs;
use std::net::TcpListener;
use std::path::Path;
use std::process::Output;
use tautpool::intake;
use tautpool::wire::{problem, reply};

fn code(output: &Output) -> Option<i32> {
    output.status.code()
}

fn said(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

#[test]
fn check_finds_what_the_server_finds() {
    let study = corpus::study();
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/contributions");
    let (mut n_valid, mut n_invalid) = (0, 0);
    for folder in ["valid", "invalid"] {
        for entry in fs::read_dir(corpus.join(folder)).unwrap() {
            let path = entry.unwrap().path();
            let path = path.to_str().unwrap();
            if path.ends_with(".expected.json") || path.ends_with(".flags.json") {
                continue;
            }
            let output = run(&["check", "--json", "--study", STUDY_FILE, path], b"");
            let found: Value = serde_json::from_slice(&output.stdout).unwrap();
            // The API is held against the same faults of the library.
            match intake::contribution(&fs::read(path).unwrap(), &study) {
                Ok(admitted) => {
                    let flags: Vec<Value> = admitted.flags.iter().map(reply::flag).collect();
                    assert_eq!(found, json!({"faults": [], "flags": flags}), "{path}");
                    assert_eq!(code(&output), Some(0), "{path}");
                    n_valid += 1;
                }
                Err(rejection) => {
                    let faults: Vec<Value> = rejection.faults.iter().map(problem::fault).collect();
                    assert_eq!(found, json!({"faults": faults, "flags": []}), "{path}");
                    assert_eq!(code(&output), Some(1), "{path}");
                    n_invalid += 1;
                }
            }
        }
    }
    assert!(10 < n_valid && 100 < n_invalid);
}

#[test]
fn check_says_in_words_what_to_mend() {
    let mut document = contribution(Pair::default());
    let good = run(&["check", "-"], document.to_string().as_bytes());
    assert_eq!(code(&good), Some(0));
    let good = String::from_utf8(good.stdout).unwrap();
    assert_eq!(good, "No faults: the contribution can be sent.\n");
    document["sessions"][0]["tension"]["mains"] = json!(4);
    let bad = run(&["check", "-"], document.to_string().as_bytes());
    assert_eq!(code(&bad), Some(1));
    let bad = String::from_utf8(bad.stdout).unwrap();
    assert!(
        bad.starts_with("fault  /sessions/0/tension/mains  [tension_out_of_bounds]  4 lb"),
        "{bad}"
    );
    // Without a study its name and consent text are not known, so they are not checked.
    document = contribution(Pair::default());
    document["study"] = json!("some-other-study");
    document["consent"]["text_version"] = json!("2027-01");
    let other = run(&["check", "-"], document.to_string().as_bytes());
    assert_eq!(code(&other), Some(0));
    let named = run(
        &["check", "--study", STUDY_FILE, "-"],
        document.to_string().as_bytes(),
    );
    assert_eq!(code(&named), Some(1));
}

#[test]
fn a_wrong_command_line_ends_with_2_and_a_missing_file_with_1() {
    for arguments in [
        vec!["check"],
        vec!["check", "-", "--no-such-option"],
        vec!["no-such-command"],
        vec!["pool", "-", "--estimator", "magic"],
        vec!["serve", "--data", "x", "--listen", "nowhere"],
        vec!["man", "nosuch"],
        vec!["demo", "--send", "1", "--to", "ftp://x"],
    ] {
        let output = run(&arguments, b"");
        assert_eq!(code(&output), Some(2), "{arguments:?}");
        assert!(!said(&output).is_empty());
    }
    for command in ["check", "pool"] {
        let output = run(&[command, "no/such/file"], b"");
        assert_eq!(code(&output), Some(1));
        assert!(
            said(&output).starts_with("tautpool: no/such/file: "),
            "{output:?}"
        );
    }
    let output = run(&["export", "--data", "no/such/folder"], b"");
    assert_eq!(code(&output), Some(1));
    assert!(said(&output).contains("no/such/folder"));
}

#[test]
fn one_effect_is_told_in_the_singular_and_without_what_it_cannot_say() {
    let one = run(&["pool", "-"], b"estimate,variance\n1.5,0.5\n");
    let text = String::from_utf8(one.stdout).unwrap();
    assert!(text.starts_with("1 effect in 1 cluster\n"), "{text}");
    assert!(text.contains("Only 1 player so far"), "{text}");
    assert!(!text.contains("may be a slip"), "{text}");
    let three = "estimate,variance\n1,0.5\n2,0.5\n1.5,0.5\n";
    let three = run(&["pool", "-"], three.as_bytes());
    let text = String::from_utf8(three.stdout).unwrap();
    assert!(text.starts_with("3 effects in 3 clusters\n"), "{text}");
    assert!(!text.contains("One player carries"), "{text}");
}

#[test]
fn a_demo_that_does_not_run_is_named_with_what_to_do() {
    // A port that was free a moment ago.
    let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr();
    let address = format!("http://{}", address.unwrap());
    let output = run(&["demo", "--send", "1", "--to", &address], b"");
    assert_eq!(code(&output), Some(1));
    let said = said(&output);
    let words = format!("{address} cannot be reached (Connection refused");
    assert!(said.contains(&words), "{said}");
    assert!(
        said.contains("start the demo with `tautpool demo`"),
        "{said}"
    );
}

#[test]
fn export_holds_every_contribution_word_for_word_with_its_effects() {
    let folder = folder();
    let server = Server::serve(folder.path(), &[]);
    let mut sent = Vec::new();
    for number in 0..7 {
        let mut document = contribution(varied(number));
        document["note"] = json!(format!("note {number} with é, \u{1F3BE} and \"quotes\""));
        // The text as it was written stays, spaces and order of fields included.
        let text = format!(" {document:#}\n\n");
        let reply = server.post_bytes(text.as_bytes(), &[]).expect(201).json();
        sent.push((text, reply));
    }
    let entries = exported(folder.path());
    assert_eq!(entries.len(), sent.len());
    for (place, (entry, (text, reply))) in entries.iter().zip(&sent).enumerate() {
        assert_eq!(entry["document"], json!(text));
        assert_eq!(entry["contribution"], reply["contribution"]);
        assert_eq!(entry["gap_kg"], reply["gap_kg"]);
        assert_eq!(entry["effects"], reply["effects"]);
        assert_eq!(entry["state"], "accepted");
        let batch = if place < 5 { json!(1) } else { Value::Null };
        assert_eq!(entry["batch"], batch);
    }
    let data = folder.path().to_str().unwrap();
    let all: Value = serde_json::from_slice(&run(&["export", "--data", data], b"").stdout).unwrap();
    assert_eq!(all["studies"][0]["study"], STUDY);
    assert!(
        all["private"]
            .as_str()
            .unwrap()
            .contains("not for publication")
    );
    let other = run(&["export", "--data", data, "--study", "none"], b"");
    assert_eq!(code(&other), Some(1));
    assert!(said(&other).contains("no study named none"));
}

#[test]
fn a_study_is_added_once_and_only_without_faults() {
    let folder = folder();
    let twice = add_study(STUDY_FILE, folder.path());
    assert_eq!(code(&twice), Some(1));
    assert!(
        said(&twice).contains(&format!("already a study named `{STUDY}`")),
        "{twice:?}"
    );
    let mut study: Value = serde_json::from_slice(&fs::read(STUDY_FILE).unwrap()).unwrap();
    study["study"] = json!("Not A Slug");
    study["protocol"]["gap_band_edges"] = json!([8, 5]);
    study["protocol"]["minimum_players"] = json!(2);
    study["protocol"].as_object_mut().unwrap().remove("caution");
    study["protocol"]["batch_player"] = json!(5);
    let bad = host_study(&["add", "-"], folder.path(), study.to_string().as_bytes());
    assert_eq!(code(&bad), Some(1));
    let listed = String::from_utf8(bad.stdout).unwrap() + &String::from_utf8(bad.stderr).unwrap();
    for place in [
        "/study  [wrong_form]",
        "/protocol/gap_band_edges  [edges_not_rising]",
        "/protocol/minimum_players  [too_small]",
        "/protocol/caution  [missing]",
        "/protocol/batch_player  [unknown_field]",
    ] {
        assert!(listed.contains(place), "{place} in\n{listed}");
    }
    let server = Server::serve(folder.path(), &[]);
    let list = server.get("/api/v1/studies").expect(200).json();
    assert_eq!(list["studies"].as_array().unwrap().len(), 1);
}

#[test]
fn plain_http_is_not_served_beyond_this_machine() {
    let folder = folder();
    let data = folder.path().to_str().unwrap();
    for address in ["0.0.0.0:0", "[::]:0", "192.0.2.1:8080"] {
        let refused = run(&["serve", "--data", data, "--listen", address], b"");
        assert_eq!(code(&refused), Some(2), "{address}");
        assert!(said(&refused).contains("--behind-tls-proxy"), "{refused:?}");
        assert!(refused.stdout.is_empty());
        let refused = run(&["demo", "--listen", address], b"");
        assert_eq!(code(&refused), Some(2), "{address}");
        assert!(said(&refused).contains("this machine only"), "{refused:?}");
    }
}

#[test]
fn a_proxy_elsewhere_has_to_be_named() {
    let folder = folder();
    let data = folder.path().to_str().unwrap();
    let serve = |more: &[&str]| run(&[&["serve", "--data", data], more].concat(), b"");
    let beyond = ["--behind-tls-proxy", "--listen", "0.0.0.0:0"];
    let refused = serve(&beyond);
    assert_eq!(code(&refused), Some(2));
    assert!(said(&refused).contains("--trusted-proxies"), "{refused:?}");
    for networks in ["proxy.example", "10.0.0.0/33", "10.0.0.1,", "*"] {
        let refused = serve(&[&beyond[..], &["--trusted-proxies", networks]].concat());
        assert_eq!(code(&refused), Some(2), "{networks}");
        assert!(said(&refused).contains("10.0.0.0/24"), "{refused:?}");
    }
    let alone = serve(&["--trusted-proxies", "10.0.0.5"]);
    assert_eq!(code(&alone), Some(2), "{alone:?}");
}

#[test]
fn what_another_server_has_already_is_named() {
    let (folder, other) = (folder(), folder());
    let server = Server::serve(folder.path(), &[]);
    let second = |data: &Path, address: &str| {
        let data = data.to_str().unwrap();
        run(&["serve", "--data", data, "--listen", address], b"")
    };
    let taken = second(other.path(), &server.address);
    assert_eq!(code(&taken), Some(1));
    assert!(said(&taken).contains(&server.address), "{taken:?}");
    let taken = second(folder.path(), "127.0.0.1:0");
    assert_eq!(code(&taken), Some(1));
    assert!(
        said(&taken).contains(folder.path().to_str().unwrap()),
        "{taken:?}"
    );
    // A folder is free again when its server is gone, however it went.
    drop(server);
    Server::serve(folder.path(), &[]).get("/health").expect(200);
}

#[test]
fn a_download_with_faults_is_refused_by_place() {
    let folder = folder();
    let server = Server::serve(folder.path(), &[]);
    for number in 0..5 {
        server.post(&contribution(varied(number))).expect(201);
    }
    let aggregate = server
        .get(&format!("/api/v1/studies/{STUDY}/aggregate"))
        .json();
    type Spoil = fn(&mut Value);
    let slips: [(Spoil, &str, &str); 11] = [
        (
            |d| d["rows"][0]["variance"] = json!(0),
            "/rows/0/variance",
            "too_small",
        ),
        (
            |d| d["rows"][0]["variance"] = json!("2"),
            "/rows/0/variance",
            "wrong_type",
        ),
        (
            |d| d["rows"][0]["estimate"] = Value::Null,
            "/rows/0/estimate",
            "wrong_type",
        ),
        (
            |d| d["rows"][1]["band"] = json!("band_5"),
            "/rows/1/band",
            "not_in_list",
        ),
        (
            |d| d["rows"][1]["band"] = json!("band_0"),
            "/rows/1/band",
            "wrong_form",
        ),
        (
            |d| d["rows"][2]["group"] = json!(0),
            "/rows/2/group",
            "too_small",
        ),
        (
            |d| d["rows"][2]["outcome"] = json!("spin"),
            "/rows/2/outcome",
            "not_in_list",
        ),
        (
            |d| d["rows"][3]["note"] = json!("x"),
            "/rows/3/note",
            "unknown_field",
        ),
        (|d| d["level"] = json!(1), "/level", "too_large"),
        (
            |d| d["document"] = json!("pooled"),
            "/document",
            "not_in_list",
        ),
        (
            |d| d["protocol"]["gap_band_edges"][0] = json!(9),
            "/protocol/gap_band_edges",
            "edges_not_rising",
        ),
    ];
    for (spoil, place, word) in slips {
        let mut spoiled = aggregate.clone();
        spoil(&mut spoiled);
        let output = run(&["pool", "-"], spoiled.to_string().as_bytes());
        assert_eq!(code(&output), Some(1), "{place}");
        let listed = said(&output);
        assert!(
            listed.starts_with(&format!("fault  {place}  [{word}]  ")),
            "{listed}"
        );
        assert_eq!(listed.lines().count(), 1, "{listed}");
    }
}
