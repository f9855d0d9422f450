//! Sending contributions: what comes back, retries, receipts.

use crate::harness::{
    Pair, STUDY, STUDY_FILE, Server, add_study, analysis, contribution, exported, folder,
    host_study, server, varied,
};
use serde_json::{Value, json};
use std::fs;
use tautpool::protocol::limits::PAIRS_PER_PLAYER;

fn close(found: &Value, expected: f64) {
    let found = found.as_f64().unwrap();
    assert!((found - expected).abs() < 1e-9, "{found} is not {expected}");
}

#[test]
fn the_reply_has_the_effects_that_one_computes_by_hand() {
    let (_folder, server) = server();
    let answer = server.post(&contribution(Pair::default())).expect(201);
    assert_eq!(answer.content_type(), "application/json");
    assert_eq!(answer.header("cache-control"), "no-store");
    let reply = answer.json();
    assert_eq!(reply["repeated"], false);
    assert_eq!(reply["gap_lb"], 6.0);
    // 1 lb = 0.45359237 kg by definition.
    close(&reply["gap_kg"], 2.721_554_22);
    assert_eq!(reply["band"], "band_1");
    assert_eq!(reply["flags"], json!([]));
    assert_eq!(reply["left_out"], json!([]));
    // Speed: 104 - 101, and 10^2/100 twice. Deep: 41/80 - 33/80 in points, and
    // 10,000 (0.5125 0.4875 / 80 + 0.4125 0.5875 / 80). In: 80/100 twice, and 10,000 (2 0.8 0.2 / 100).
    let by_hand = [
        ("speed", "km/h", 3.0, 2.0, "reported"),
        ("deep_share", "points", 10.0, 61.523_437_5, "counts"),
        ("in_share", "points", 0.0, 32.0, "counts"),
    ];
    let effects = reply["effects"].as_array().unwrap();
    assert_eq!(effects.len(), by_hand.len());
    for (effect, (outcome, unit, estimate, variance, source)) in effects.iter().zip(by_hand) {
        assert_eq!(effect["outcome"], outcome);
        assert_eq!(effect["stroke"], "forehand");
        assert_eq!(effect["direction"], "all");
        assert_eq!(effect["unit"], unit);
        assert_eq!(effect["variance_source"], source);
        close(&effect["estimate"], estimate);
        close(&effect["variance"], variance);
        // The 0.975 quantile of the normal distribution, from any printed table.
        let half_width = 1.959_963_984_540_054 * variance.sqrt();
        close(&effect["low"], estimate - half_width);
        close(&effect["high"], estimate + half_width);
    }
}

#[test]
fn the_reply_says_what_was_left_out_and_what_was_noticed() {
    let (_folder, server) = server();
    let mut document = contribution(Pair {
        sd: Some(9.0),
        tensions: (48.0, 52.0),
        ..Pair::default()
    });
    document["plan_code"] = json!("ABCD2345");
    for session in document["sessions"].as_array_mut().unwrap() {
        let line = session["shots"][0].as_object_mut().unwrap();
        line.remove("deep");
        line.remove("speed_n");
    }
    let reply = server.post(&document).expect(201).json();
    assert_eq!(reply["band"], "under");
    let said = |list: &str, name: &str| -> Vec<String> {
        let entries = reply[list].as_array().unwrap().iter();
        entries
            .map(|entry| entry[name].as_str().unwrap().to_owned())
            .collect()
    };
    assert_eq!(said("left_out", "outcome"), ["deep_share"]);
    assert_eq!(said("left_out", "code"), ["not_given"]);
    let mut flags = said("flags", "code");
    flags.sort_unstable();
    flags.dedup();
    assert_eq!(
        flags,
        [
            "gap_under_protocol",
            "plan_not_found",
            "timed_count_assumed"
        ]
    );
}

#[test]
fn a_repeated_request_gets_the_same_receipt_and_is_stored_once() {
    let (folder, server) = server();
    let body = contribution(Pair::default()).to_string();
    let send = |key: &str| {
        server
            .post_bytes(body.as_bytes(), &[("idempotency-key", key)])
            .expect(201)
            .json()
    };
    let first = send("5b0c1c1e");
    // The draft of the IETF writes the key as a quoted string.
    let second = send("\"5b0c1c1e\"");
    assert_eq!(first["repeated"], false);
    assert_eq!(second["repeated"], true);
    for name in ["receipt", "contribution", "effects", "gap_kg"] {
        assert_eq!(first[name], second[name], "{name}");
    }
    assert_eq!(exported(folder.path()).len(), 1);
    let third = send("another");
    assert_ne!(first["contribution"], third["contribution"]);
    assert_ne!(first["receipt"], third["receipt"]);
    assert_eq!(exported(folder.path()).len(), 2);
}

#[test]
fn a_key_that_was_used_for_another_body_is_refused() {
    let (folder, server) = server();
    let key = [("idempotency-key", "once")];
    let one = contribution(varied(1)).to_string();
    let two = contribution(varied(2)).to_string();
    server.post_bytes(one.as_bytes(), &key).expect(201);
    server
        .post_bytes(two.as_bytes(), &key)
        .expect_problem(422, "key-used-otherwise");
    assert_eq!(exported(folder.path()).len(), 1);
    // A refused document does not use its key up.
    let key = [("idempotency-key", "twice")];
    server
        .post_bytes(b"{}", &key)
        .expect_problem(422, "invalid");
    server.post_bytes(two.as_bytes(), &key).expect(201);
}

#[test]
fn a_key_that_is_no_key_is_refused() {
    let (folder, server) = server();
    let body = contribution(Pair::default()).to_string();
    let longest = "k".repeat(255);
    let too_long = "k".repeat(256);
    for key in [
        "",
        " ",
        "\"\"",
        "two words",
        "a,b",
        "\"open",
        "a\"b",
        "\"a\"b",
        &too_long,
    ] {
        server
            .post_bytes(body.as_bytes(), &[("idempotency-key", key)])
            .expect_problem(400, "bad-request");
    }
    assert_eq!(exported(folder.path()).len(), 0);
    server
        .post_bytes(body.as_bytes(), &[("idempotency-key", &longest)])
        .expect(201);
}

#[test]
fn the_same_request_from_eight_threads_at_once_is_stored_once() {
    let (folder, server) = server();
    let body = contribution(Pair::default()).to_string();
    let replies: Vec<Value> = std::thread::scope(|scope| {
        // Who asks while the first is under way is told so, and gets its answer in the end.
        let send = || {
            loop {
                let answer = server.post_bytes(body.as_bytes(), &[("idempotency-key", "at-once")]);
                if answer.status != 409 {
                    break answer.expect(201).json();
                }
                assert_eq!(answer.header("retry-after"), "1");
                answer.expect_problem(409, "under-way");
            }
        };
        let threads: Vec<_> = (0..8).map(|_| scope.spawn(send)).collect();
        threads
            .into_iter()
            .map(|thread| thread.join().unwrap())
            .collect()
    });
    let first_time = replies.iter().filter(|reply| reply["repeated"] == false);
    assert_eq!(first_time.count(), 1);
    for reply in &replies {
        assert_eq!(reply["receipt"], replies[0]["receipt"]);
        assert_eq!(reply["contribution"], replies[0]["contribution"]);
    }
    assert_eq!(exported(folder.path()).len(), 1);
}

#[test]
fn different_contributions_from_eight_threads_at_once_are_all_stored() {
    let (folder, server) = server();
    std::thread::scope(|scope| {
        for thread in 0..8 {
            let server = &server;
            scope.spawn(move || {
                for number in 0..5 {
                    server
                        .post(&contribution(varied(8 * number + thread)))
                        .expect(201);
                }
            });
        }
    });
    let stored = exported(folder.path());
    assert_eq!(stored.len(), 40);
    // Batches close at every fifth new player and hold five each.
    for (place, entry) in stored.iter().enumerate() {
        assert_eq!(entry["batch"], json!(place / 5 + 1));
    }
    let pooled = server
        .get(&format!("/api/v1/studies/{STUDY}/pooled"))
        .json();
    assert_eq!(pooled["batch"]["number"], 8);
    assert_eq!(analysis(&pooled, "speed", "band_1")["players"], 40);
}

#[test]
fn a_further_pair_with_the_receipt_joins_the_same_player() {
    let (folder, server) = server();
    let first = server.post(&contribution(varied(0))).expect(201).json();
    let receipt = first["receipt"].as_str().unwrap().to_owned();
    let typed = receipt.to_lowercase().replace('-', "");
    let credentials = format!("receipt {typed}");
    let further = contribution(varied(1)).to_string();
    let second = server
        .post_bytes(further.as_bytes(), &[("authorization", &credentials)])
        .expect(201)
        .json();
    assert_eq!(second["receipt"], json!(receipt));
    assert_ne!(second["contribution"], first["contribution"]);
    for number in 2..5 {
        let reply = server
            .post(&contribution(varied(number)))
            .expect(201)
            .json();
        assert!(
            reply["counts"]
                .as_str()
                .unwrap()
                .contains("next public batch")
        );
    }
    // Five contributions of four players close no batch; the fifth player does.
    let pooled = format!("/api/v1/studies/{STUDY}/pooled");
    assert_eq!(server.get(&pooled).json()["batch"], Value::Null);
    let last = server.post(&contribution(varied(5))).expect(201).json();
    assert!(last["counts"].as_str().unwrap().contains("public batch 1"));
    let document = server.get(&pooled).json();
    let analysis = analysis(&document, "speed", "band_1");
    // Nobody else has two pairs in one band, so one of the two has no row.
    assert_eq!(analysis["k"], 5);
    assert_eq!(analysis["players"], 5);
    let stored = exported(folder.path());
    assert_eq!(stored[0]["player"], stored[1]["player"]);
    assert_ne!(stored[0]["player"], stored[2]["player"]);
}

#[test]
fn a_receipt_that_nobody_holds_is_refused() {
    let (folder, server) = server();
    let body = contribution(Pair::default()).to_string();
    let nobody = ["AAAA"; 8].join("-");
    for receipt in [nobody.as_str(), "AAAA", "not a receipt", "0000"] {
        let credentials = format!("Receipt {receipt}");
        let answer = server.post_bytes(body.as_bytes(), &[("authorization", &credentials)]);
        // RFC 9110, 15.5.2: a 401 names the scheme.
        assert_eq!(answer.header("www-authenticate"), "Receipt");
        answer.expect_problem(401, "receipt-unknown");
    }
    for credentials in [format!("Bearer {nobody}"), "Receipt".to_owned(), nobody] {
        let answer = server.post_bytes(body.as_bytes(), &[("authorization", &credentials)]);
        assert_eq!(answer.header("www-authenticate"), "Receipt");
        answer.expect_problem(401, "receipt-unknown");
    }
    assert_eq!(exported(folder.path()).len(), 0);
}

#[test]
fn a_receipt_of_one_study_is_none_in_another() {
    let folder = folder();
    let other = fs::read_to_string(STUDY_FILE)
        .unwrap()
        .replace(STUDY, "another-study");
    let added = host_study(&["add", "-"], folder.path(), other.as_bytes());
    assert!(added.status.success());
    let opened = host_study(&["open", "another-study"], folder.path(), b"");
    assert!(opened.status.success());
    assert!(!add_study(STUDY_FILE, folder.path()).status.success());
    let server = Server::serve(folder.path(), &[]);
    let reply = server
        .post(&contribution(Pair::default()))
        .expect(201)
        .json();
    let credentials = format!("Receipt {}", reply["receipt"].as_str().unwrap());
    let mut further = contribution(Pair::default());
    further["study"] = json!("another-study");
    let headers = [
        ("content-type", "application/json"),
        ("authorization", credentials.as_str()),
    ];
    let path = "/api/v1/studies/another-study/contributions";
    server
        .send("POST", path, &headers, further.to_string().as_bytes())
        .expect_problem(401, "receipt-unknown");
}

#[test]
fn no_log_line_has_a_receipt_or_anything_of_a_body() {
    let folder = folder();
    let server = Server::serve(folder.path(), &["--log", "debug"]);
    let mut document = contribution(Pair::default());
    document["note"] = json!("the-note-in-words");
    document["setup"] = json!({"frame": {"label": "the-frame-in-words"}});
    let reply = server.post(&document).expect(201).json();
    let receipt = reply["receipt"].as_str().unwrap().to_owned();
    let contribution_id = reply["contribution"].as_str().unwrap().to_owned();
    let credentials = format!("Receipt {receipt}");
    let authorization = ("authorization", credentials.as_str());
    let key = [authorization, ("idempotency-key", "the-key-in-words")];
    let body = document.to_string();
    server.post_bytes(body.as_bytes(), &key).expect(201);
    let broken = &body.as_bytes()[..200];
    server.post_bytes(broken, &[authorization]).expect(400);
    document["arm-in-words"] = json!("the-value-in-words");
    server
        .post_bytes(document.to_string().as_bytes(), &key)
        .expect(422);
    let wrong = format!("Bearer {receipt}");
    let wrong = [("authorization", wrong.as_str())];
    server.post_bytes(body.as_bytes(), &wrong).expect(401);
    server
        .send("POST", "/nowhere-in-words", &key, body.as_bytes())
        .expect(404);
    let log = server.log();
    // The service says at its start where it listens; it never says who asked.
    let about_requests = log.lines().filter(|line| line.contains("request.id"));
    assert!(!about_requests.collect::<String>().contains("127.0.0.1"));
    assert!(log.contains("\"http.status\":422"), "{log}");
    assert!(log.contains("\"http.route\":\"/api/v1/studies/{study}/contributions\""));
    let first_group = receipt.split('-').next().unwrap().to_owned();
    for secret in [
        receipt.replace('-', ""),
        receipt,
        first_group,
        "in-words".to_owned(),
        "speed_mean".to_owned(),
        contribution_id,
    ] {
        assert!(!log.contains(&secret), "{secret} in\n{log}");
    }
}

#[test]
fn one_player_sends_a_limited_number_of_pairs() {
    let (folder, server) = server();
    let first = server
        .post(&contribution(Pair::default()))
        .expect(201)
        .json();
    let credentials = format!("Receipt {}", first["receipt"].as_str().unwrap());
    let body = contribution(Pair::default()).to_string();
    let further = || server.post_bytes(body.as_bytes(), &[("authorization", &credentials)]);
    for _ in 1..PAIRS_PER_PLAYER {
        further().expect(201);
    }
    further().expect_problem(422, "too-many-pairs");
    assert_eq!(
        exported(folder.path()).len(),
        usize::try_from(PAIRS_PER_PLAYER).unwrap()
    );
}
