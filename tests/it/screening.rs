//! What waits for the host: how it comes to wait, what its sender is told, and that nothing of it
//! outlives what was withdrawn.

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

use crate::harness::{Pair, STUDY, STUDY_FILE, contribution, recruit, varied};
use rusqlite::Connection;
use serde_json::{Value, json};
use std::fs;
use tautpool::demo::Stage;
use tautpool::screening::Rule;
use tautpool::service::{Accepted, Correction, Incoming, Service};
use tautpool::store::{Durability, Store};
use tautpool::vocabulary::{CorrectionReason, State};
use tempfile::TempDir;

/// A folder with a service that has the study.
fn service() -> (TempDir, Service) {
    let folder = tempfile::tempdir().unwrap();
    let service = Service::open_or_make(folder.path(), Durability::Full).unwrap();
    recruit(&service, &fs::read(STUDY_FILE).unwrap(), 0);
    (folder, service)
}

fn send(service: &Service, document: &Value, receipt: Option<&str>) -> Accepted {
    let document = document.to_string();
    let incoming = Incoming {
        study: STUDY,
        document: document.as_bytes(),
        request_key: None,
        receipt,
        now_ms: 0,
    };
    service.submit(&incoming).unwrap()
}

fn mend(service: &Service, sent: &Accepted, document: &Value) -> Accepted {
    let document = document.to_string();
    let correction = Correction {
        study: STUDY,
        receipt: &sent.receipt.reveal(),
        contribution: sent.contribution,
        reason: CorrectionReason::TypingMistake,
        document: document.as_bytes(),
        now_ms: 1,
    };
    service.mend(&correction).unwrap()
}

/// A pair whose second session has a fastest shot that no shots with its spread have.
fn impossible(number: u32) -> Value {
    let mut document = contribution(varied(number));
    document["sessions"][1]["shots"][0]["speed_max"] = json!(171);
    document
}

fn rules(accepted: &Accepted) -> Vec<Rule> {
    accepted.flags.iter().map(|flag| flag.rule).collect()
}

#[test]
fn what_is_held_is_stored_told_in_a_friendly_way_and_counts_nowhere() {
    let (_folder, service) = service();
    for number in 0..4 {
        assert_eq!(
            send(&service, &contribution(varied(number)), None).state,
            State::Accepted
        );
    }
    let held = send(&service, &impossible(4), None);
    assert_eq!(held.state, State::Held);
    assert_eq!(rules(&held), [Rule::SpeedsInconsistent]);
    assert_eq!(held.closed_batch, None, "it is no fifth player");
    let own = service.own(STUDY, &held.receipt.reveal()).unwrap();
    let standing = own.contributions[0].standing();
    assert!(
        standing.starts_with("It waits until the host has looked at it"),
        "{standing}"
    );
    assert!(standing.contains(&held.flags[0].sentence), "{standing}");
    let fifth = send(&service, &contribution(varied(5)), None);
    assert_eq!(fifth.closed_batch, Some(1));
    let public = service.study(STUDY).unwrap();
    assert_eq!(
        public.publication.rows.len(),
        15,
        "three rows of each of five"
    );
}

#[test]
fn a_copy_waits_and_a_retry_gets_the_answer_of_the_first_request() {
    let (_folder, service) = service();
    let document = contribution(varied(3)).to_string();
    let request = |key| {
        let incoming = Incoming {
            study: STUDY,
            document: document.as_bytes(),
            request_key: Some(key),
            receipt: None,
            now_ms: 0,
        };
        service.submit(&incoming).unwrap()
    };
    assert_eq!(request("one").state, State::Accepted);
    let copy = request("two");
    assert_eq!(
        (copy.state, rules(&copy)),
        (State::Held, vec![Rule::DuplicateOfAnother])
    );
    for key in ["one", "two"] {
        let again = request(key);
        assert!(again.repeated);
        let expected = if key == "one" {
            State::Accepted
        } else {
            State::Held
        };
        assert_eq!(again.state, expected);
    }
}

#[test]
fn of_two_copies_that_come_at_once_only_one_counts() {
    let (_folder, service) = service();
    let document = contribution(varied(3));
    let states: Vec<State> = std::thread::scope(|scope| {
        let sending: Vec<_> = (0..2)
            .map(|_| scope.spawn(|| send(&service, &document, None).state))
            .collect();
        sending.into_iter().map(|one| one.join().unwrap()).collect()
    });
    assert!(
        states.contains(&State::Accepted) && states.contains(&State::Held),
        "{states:?}"
    );
}

#[test]
fn a_players_own_pair_sent_again_waits_and_a_further_one_does_not() {
    let (_folder, service) = service();
    let first = send(&service, &contribution(varied(3)), None);
    let receipt = first.receipt.reveal();
    let wider = Pair {
        tensions: (42.0, 52.0),
        ..varied(3)
    };
    let again = send(&service, &contribution(wider), Some(&receipt));
    assert_eq!(
        (again.state, rules(&again)),
        (State::Held, vec![Rule::DuplicateOfOwn])
    );
    let further = send(&service, &contribution(varied(8)), Some(&receipt));
    assert_eq!(further.state, State::Accepted);
}

#[test]
fn a_correction_can_make_wait_and_never_ends_the_wait() {
    let (_folder, service) = service();
    let sent = send(&service, &contribution(varied(0)), None);
    let mended = mend(&service, &sent, &impossible(0));
    assert_eq!(mended.state, State::Held);
    assert_eq!(rules(&mended), [Rule::SpeedsInconsistent]);
    let sound = mend(&service, &sent, &contribution(varied(1)));
    assert_eq!((sound.state, rules(&sound)), (State::Held, vec![]));
    // Its own versions are no copies of each other.
    let unchanged = mend(&service, &sent, &contribution(varied(1)));
    assert!(unchanged.repeated && rules(&unchanged).is_empty());
}

#[test]
fn what_screening_made_of_a_document_is_erased_with_it() {
    let (folder, service) = service();
    let sent = send(&service, &impossible(0), None);
    let other = send(&service, &contribution(varied(1)), None);
    let count = |table: &str| -> i64 {
        let connection = Connection::open(folder.path().join(Store::FILE)).unwrap();
        let query = format!("SELECT count(DISTINCT contribution_id) FROM {table}");
        connection.query_row(&query, [], |row| row.get(0)).unwrap()
    };
    assert_eq!(
        (
            count("likeness"),
            count("screening"),
            count("screening_flag")
        ),
        (2, 2, 1)
    );
    let withdrawn = service.withdraw(STUDY, &sent.receipt.reveal(), sent.contribution, 1);
    withdrawn.unwrap();
    assert_eq!(
        (
            count("likeness"),
            count("screening"),
            count("screening_flag")
        ),
        (1, 1, 0)
    );
    // Whoever comes again after that copies nobody.
    assert_eq!(
        rules(&send(&service, &impossible(0), None)),
        [Rule::SpeedsInconsistent]
    );
    drop(other);
}

#[test]
fn copies_of_what_came_before_there_was_screening_are_found() {
    let (folder, first) = service();
    send(&first, &contribution(varied(3)), None);
    drop(first);
    let connection = Connection::open(folder.path().join(Store::FILE)).unwrap();
    connection
        .execute_batch("DELETE FROM likeness; DELETE FROM screening;")
        .unwrap();
    drop(connection);
    let service = Service::open(folder.path(), Durability::Full).unwrap();
    let copy = send(&service, &contribution(varied(3)), None);
    assert_eq!(copy.state, State::Held);
}

#[test]
fn marks_are_found_by_an_index() {
    let (folder, service) = service();
    send(&service, &contribution(varied(3)), None);
    let connection = Connection::open(folder.path().join(Store::FILE)).unwrap();
    let plan: String = connection
        .query_row(
            "EXPLAIN QUERY PLAN SELECT contribution_id FROM likeness WHERE study_id = 1 AND mark = x'00'",
            [],
            |row| row.get(3),
        )
        .unwrap();
    assert!(plan.starts_with("SEARCH"), "{plan}");
}

#[test]
fn an_outlier_is_flagged_for_the_host_and_neither_held_nor_told() {
    let stage = Stage::set(0).unwrap();
    let line = |mean: f64, figures: [i64; 3], sd: f64| {
        let [hit, landed_in, deep] = figures;
        json!({
            "stroke": "forehand", "direction": "all", "hit": hit, "in": landed_in, "deep": deep,
            "speed_mean": mean, "speed_unit": "km/h", "speed_sd": sd, "sd_divisor": "n-1",
            "speed_n": hit, "speed_over": "all",
        })
    };
    let document = json!({
        "study": "looser-or-tighter",
        "consent": {"text_version": "demo-4", "adult": true, "scope": "pooling"},
        "sessions": [
            {"arm": "looser", "tension": {"mains": 46, "unit": "lb"}, "shots": [line(112.3, [87, 61, 23], 12.7)]},
            {"arm": "tighter", "tension": {"mains": 56, "unit": "lb"}, "shots": [line(91.6, [93, 72, 31], 11.1)]},
        ],
    })
    .to_string();
    let accepted = stage.service.receive(&Incoming {
        study: "looser-or-tighter",
        document: document.as_bytes(),
        request_key: None,
        receipt: None,
        now_ms: 0,
    });
    let accepted = accepted.unwrap();
    assert_eq!(
        (accepted.state, rules(&accepted)),
        (State::Accepted, vec![])
    );
    let store = stage.service.store();
    let kept = store
        .screening(accepted.contribution, None)
        .unwrap()
        .unwrap();
    assert_eq!(kept.flags.len(), 1);
    assert_eq!(kept.flags[0].rule, Rule::StatisticalOutlier);
    assert!(!kept.flags[0].holds);
}
