//! Releases: what is published for good stays, byte for byte, and says what became of it. Files and
//! commands are in [`files`], the canonical form in [`canonical`], what catalogues ask in
//! [`metadata`], pages and the desk in [`pages`].

#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

mod canonical;
mod files;
mod flips;
mod metadata;
mod pages;

use crate::harness::{STUDY, STUDY_FILE, assert_valid, contribution, recruit, varied};
use serde_json::{Value, json};
use std::fs;
use std::sync::Arc;
use std::thread;
use tautpool::intake::schema::Schema;
use tautpool::receipt::sha256_of;
use tautpool::release::{PublicUrl, ReleaseKind};
use tautpool::service::{Accepted, Incoming, NotReleased, Published, Service, Wanted};

/// 15 January 2027.
const NOW_MS: i64 = 1_800_000_000_000;
const DAY_MS: i64 = 86_400_000;
const URL: &str = "https://pool.example";

fn study() -> Value {
    serde_json::from_slice(&fs::read(STUDY_FILE).unwrap()).unwrap()
}

/// A service with a study that is reached at [`URL`].
fn service_with(study: &Value) -> Service {
    let service = Service::in_memory().unwrap();
    recruit(&service, study.to_string().as_bytes(), NOW_MS);
    service.reached_at(PublicUrl::parse(URL).unwrap());
    service
}

fn service() -> Service {
    service_with(&study())
}

/// So many new players, from a first number on.
fn players(service: &Service, first: u32, n: u32) -> Vec<Accepted> {
    let send = |number| {
        let document = contribution(varied(number)).to_string();
        let incoming = Incoming {
            study: STUDY,
            document: document.as_bytes(),
            request_key: None,
            receipt: None,
            now_ms: NOW_MS,
        };
        service.submit(&incoming).unwrap()
    };
    (first..first + n).map(send).collect()
}

const NEXT: Wanted<'static> = Wanted {
    correction: None,
    note: None,
    number: None,
};

fn release(service: &Service, wanted: &Wanted<'_>) -> Result<Published, NotReleased> {
    service.release(STUDY, wanted, NOW_MS + DAY_MS)
}

fn bytes(service: &Service, number: i64) -> Vec<u8> {
    let mut releases = service.releases(STUDY).unwrap().into_iter();
    let release = releases.find(|release| release.number == number).unwrap();
    service
        .release_file(STUDY, &release)
        .unwrap()
        .plain()
        .unwrap()
        .to_vec()
}

/// A release as a document that holds to its schema.
fn document(service: &Service, number: i64) -> Value {
    let document = serde_json::from_slice(&bytes(service, number)).unwrap();
    assert_valid(Schema::Release, &document);
    document
}

#[test]
fn a_release_has_what_is_public_and_what_may_be_said_of_it() {
    let service = service();
    players(&service, 0, 12);
    let wanted = Wanted {
        note: Some("  The first\r\n one. "),
        ..NEXT
    };
    let made = release(&service, &wanted).unwrap();
    assert_eq!((made.number, made.kind), (1, ReleaseKind::First));
    assert_eq!(
        made.address,
        "https://pool.example/studies/demo-of-the-corpus/releases/1"
    );
    assert_eq!(made.sha256, sha256_of(&bytes(&service, 1)));
    let document = document(&service, 1);
    let public = service.study(STUDY).unwrap();
    let aggregate: Value = serde_json::from_slice(public.aggregate.plain().unwrap()).unwrap();
    // In canonical form, in which 5 and 5.0 are one number.
    let canonical = tautpool::wire::canonical;
    assert!(canonical(&document["findings"]) == canonical(&aggregate));
    assert_eq!(document["note"], "The first one.");
    assert_eq!(document["reason"], Value::Null);
    assert_eq!(document["published_at"], "2027-01-16T08:00:00Z");
    assert_eq!(document["publisher"], "An invented host");
    assert_eq!(document["licence"]["name"], "CC0-1.0");
    assert_eq!(document["study"]["notice"], aggregate["study"]["notice"]);
    assert_eq!(document["supersedes"], Value::Null);
    assert_eq!(document["changes"], Value::Null);
    let protocol = &document["protocol"];
    assert_eq!(protocol["plan_held"], true);
    assert_eq!(protocol["plan_hash_now"], protocol["plan_hash_at_opening"]);
    assert_eq!(protocol["history"][0]["version"], 1);
    assert_eq!(protocol["document"]["contact"], document["contact"]);
    assert_eq!(document["stated"]["because"], "no_rule");
    // Ten players are counted, in a step that is as wide as the minimum of players.
    let ten = json!({"at_least": 10, "at_most": 14});
    assert_eq!(document["flow"]["pooled"], ten);
    assert_eq!(document["software"]["name"], "tautpool");
    for (verdict, outcome) in document["verdicts"]
        .as_array()
        .unwrap()
        .iter()
        .zip(["speed", "deep_share"])
    {
        assert_eq!(verdict["outcome"], outcome);
        assert_eq!(verdict["gaps"].as_array().unwrap().len(), 5);
    }
}

#[test]
fn the_schema_refuses_a_release_that_says_less_or_other() {
    let service = service();
    players(&service, 0, 10);
    release(&service, &NEXT).unwrap();
    let good = document(&service, 1);
    let spoil: [fn(&mut Value); 10] = [
        |d| d["number"] = json!(2),
        |d| d["kind"] = json!("update"),
        |d| d["reason"] = json!("nothing was wrong"),
        |d| d["supersedes"] = json!(0),
        |d| d["sha256"] = json!("0".repeat(64)),
        |d| d["address"] = json!("releases/1"),
        |d| d["published_at"] = json!("2027-01-16"),
        |d| d["findings"]["rows"][0]["variance"] = json!(0),
        |d| d["protocol"]["document"]["protocol"]["minimum_players"] = json!(2),
        |d| drop(d["metadata"].as_object_mut().unwrap().remove("creators")),
    ];
    for (place, spoil) in spoil.iter().enumerate() {
        let mut spoiled = good.clone();
        spoil(&mut spoiled);
        assert!(!Schema::Release.faults(&spoiled).is_empty(), "{place}");
        let refused = tautpool::intake::release(spoiled.to_string().as_bytes());
        assert!(refused.is_err(), "{place}");
    }
    // Each field is needed.
    for name in good.as_object().unwrap().keys() {
        let mut less = good.clone();
        less.as_object_mut().unwrap().remove(name);
        assert!(!Schema::Release.faults(&less).is_empty(), "{name}");
    }
}

#[test]
fn nothing_is_released_without_something_to_say_and_terms_to_say_it_on() {
    let service = service();
    let refused = |wanted: &Wanted<'_>| release(&service, wanted).unwrap_err();
    assert!(matches!(refused(&NEXT), NotReleased::NothingPublic));
    players(&service, 0, 10);
    let correction = |reason| Wanted {
        correction: Some(reason),
        ..NEXT
    };
    assert!(matches!(
        refused(&correction("a slip")),
        NotReleased::NothingToCorrect
    ));
    let unknown = service.release("no-such-study", &NEXT, NOW_MS);
    assert!(matches!(unknown, Err(NotReleased::StudyUnknown)));
    release(&service, &NEXT).unwrap();
    assert!(matches!(refused(&NEXT), NotReleased::NothingNew(1)));
    assert!(matches!(refused(&correction(" ")), NotReleased::NoReason));
    let long = "x".repeat(1001);
    assert!(matches!(refused(&correction(&long)), NotReleased::Words));
    assert!(matches!(
        refused(&correction("a\u{7}b")),
        NotReleased::Words
    ));
    let third = Wanted {
        number: Some(3),
        ..correction("a slip")
    };
    assert!(matches!(refused(&third), NotReleased::Overtaken(1)));
    // A player more is no batch, and hence nothing new.
    players(&service, 10, 1);
    assert!(matches!(refused(&NEXT), NotReleased::NothingNew(1)));
    players(&service, 11, 4);
    assert_eq!(release(&service, &NEXT).unwrap().number, 2);
}

#[test]
fn a_release_needs_an_address_and_a_name_to_publish_under() {
    let nowhere = Service::in_memory().unwrap();
    recruit(&nowhere, study().to_string().as_bytes(), NOW_MS);
    players(&nowhere, 0, 10);
    let refused = release(&nowhere, &NEXT).unwrap_err();
    assert!(refused.to_string().contains("--public-url"), "{refused}");
    let mut nameless = study();
    nameless.as_object_mut().unwrap().remove("host_name");
    let service = service_with(&nameless);
    players(&service, 0, 10);
    let refused = release(&service, &NEXT).unwrap_err();
    assert!(refused.to_string().contains("the host's name"), "{refused}");
}

#[test]
fn hidden_figures_are_not_released() {
    let service = service();
    let sent = players(&service, 0, 10);
    let receipt = sent[0].receipt.reveal();
    service
        .withdraw(STUDY, &receipt, sent[0].contribution, NOW_MS)
        .unwrap();
    service.keep_promises(NOW_MS + 31 * DAY_MS).unwrap();
    let refused = release(&service, &NEXT);
    assert!(matches!(refused, Err(NotReleased::Hidden)), "{refused:?}");
}

#[test]
fn a_second_release_supersedes_the_first_and_a_third_corrects_it() {
    let service = service();
    players(&service, 0, 10);
    release(&service, &NEXT).unwrap();
    let first = bytes(&service, 1);
    players(&service, 10, 5);
    release(&service, &NEXT).unwrap();
    let second = document(&service, 2);
    assert_eq!(second["kind"], "update");
    assert_eq!(second["supersedes"], 1);
    let changes = &second["changes"];
    assert_eq!(changes["since"], 1);
    assert_eq!(changes["batch"], json!({"before": 2, "now": 3}));
    assert_eq!(changes["players"], json!({"before": 10, "now": 15}));
    assert_eq!(changes["protocol_version"], json!({"before": 1, "now": 1}));
    let speed = &changes["analyses"][0];
    assert_eq!(
        (speed["outcome"].as_str(), speed["band"].as_str()),
        (Some("speed"), Some("band_1"))
    );
    for (part, number) in [("before", 1), ("now", 2)] {
        let findings = &document(&service, number)["findings"];
        let shown = &crate::harness::analysis(findings, "speed", "band_1")["shown"];
        for name in ["estimate", "low", "high"] {
            assert_eq!(speed[part][name], shown[name], "{part} {name}");
        }
    }
    assert_eq!(speed["before"]["players"], 10);
    let said = speed["sentence"].as_str().unwrap();
    assert!(
        said.starts_with("Mean ball speed, forehand, gap 5 to under 8 lb: +"),
        "{said}"
    );
    let correction = Wanted {
        correction: Some("The contact was another one."),
        ..NEXT
    };
    release(&service, &correction).unwrap();
    let third = document(&service, 3);
    assert_eq!(third["kind"], "correction");
    assert_eq!(third["reason"], "The contact was another one.");
    assert_eq!(third["supersedes"], 2);
    // Nothing that came later changed a byte of it.
    assert_eq!(bytes(&service, 1), first);
}

#[test]
fn releases_made_at_once_get_numbers_of_their_own() {
    let service = Arc::new(service());
    players(&service, 0, 10);
    release(&service, &NEXT).unwrap();
    let correct = |service: Arc<Service>| {
        move || {
            let wanted = Wanted {
                correction: Some("a slip"),
                ..NEXT
            };
            release(&service, &wanted).unwrap().number
        }
    };
    let threads: Vec<_> = (0..6)
        .map(|_| thread::spawn(correct(Arc::clone(&service))))
        .collect();
    let mut numbers: Vec<i64> = threads
        .into_iter()
        .map(|thread| thread.join().unwrap())
        .collect();
    numbers.sort_unstable();
    assert_eq!(numbers, [2, 3, 4, 5, 6, 7]);
    for number in numbers {
        assert_eq!(document(&service, number)["number"], number);
    }
    // Whoever expected a number gets that one or none.
    let made_by = |slips: [&'static str; 4]| -> Vec<i64> {
        let threads = slips.map(|slip| {
            let service = Arc::clone(&service);
            let wanted = Wanted {
                correction: Some(slip),
                note: None,
                number: Some(8),
            };
            thread::spawn(move || release(&service, &wanted).ok())
        });
        let made = threads.into_iter().map(|thread| thread.join().unwrap());
        made.flatten().map(|made| made.number).collect()
    };
    assert_eq!(made_by(["slip 1", "slip 2", "slip 3", "slip 4"]), [8]);
    // Who asks once more in the same words has missed the answer, and gets it.
    let reason = document(&service, 8)["reason"].clone();
    let mut slips = ["slip 1", "slip 2", "slip 3", "slip 4"].into_iter();
    let slip = slips.find(|slip| reason == *slip).unwrap();
    assert_eq!(made_by([slip; 4]), [8; 4]);
}

#[test]
fn what_is_withdrawn_after_a_release_stays_in_it() {
    let service = service();
    let sent = players(&service, 0, 10);
    release(&service, &NEXT).unwrap();
    let before = bytes(&service, 1);
    for gone in &sent[..5] {
        let receipt = gone.receipt.reveal();
        service
            .withdraw(STUDY, &receipt, gone.contribution, NOW_MS)
            .unwrap();
    }
    assert_eq!(service.study(STUDY).unwrap().publication.rows.len(), 15);
    assert_eq!(bytes(&service, 1), before);
    release(&service, &NEXT).unwrap();
    let changes = &document(&service, 2)["changes"]["players"];
    assert_eq!(*changes, json!({"before": 10, "now": 5}));
}

#[test]
fn verdicts_state_the_ordinary_range_once_when_the_plan_fixed_the_moment() {
    let mut study = study();
    study["protocol"]["release_rule"] = json!({"kind": "players", "at_least": 10});
    let service = service_with(&study);
    let stated = |number| document(&service, number)["stated"].clone();
    players(&service, 0, 5);
    release(&service, &NEXT).unwrap();
    assert_eq!(stated(1)["because"], "not_yet");
    players(&service, 5, 5);
    release(&service, &NEXT).unwrap();
    assert_eq!(stated(2)["because"], "rule_met");
    assert_eq!(stated(2)["ordinary_first_in"], 2);
    let second = document(&service, 2);
    let speed = crate::harness::analysis(&second["findings"], "speed", "band_1");
    let (any_time, shown) = (&speed["any_time"], &speed["shown"]);
    // The one meant for one look is the narrower one.
    assert!(any_time["low"].as_f64() < shown["low"].as_f64());
    let said = second["verdicts"][0]["gaps"][0]["sentence"]
        .as_str()
        .unwrap();
    let low = format!("{:.1}", shown["low"].as_f64().unwrap());
    assert!(said.contains(&format!("range {low} to")), "{said}: {low}");
    assert!(said.contains("10 pairs, 10 players"), "{said}");
    players(&service, 10, 5);
    release(&service, &NEXT).unwrap();
    assert_eq!(stated(3)["because"], "stated_before");
    let third = document(&service, 3);
    let speed = crate::harness::analysis(&third["findings"], "speed", "band_1");
    let low = format!("{:.1}", speed["any_time"]["low"].as_f64().unwrap());
    let said = third["verdicts"][0]["gaps"][0]["sentence"]
        .as_str()
        .unwrap();
    let low = low.replace('-', "\u{2212}");
    assert!(said.contains(&format!("range {low} to")), "{said}: {low}");
}

#[test]
fn a_changed_protocol_is_told_with_its_reason() {
    let service = service();
    players(&service, 0, 10);
    release(&service, &NEXT).unwrap();
    let mut changed = study();
    changed["protocol"]["minimum_shots"] = json!(25);
    service
        .amend(
            STUDY,
            changed.to_string().as_bytes(),
            Some("Twenty shots were too few to tell."),
            NOW_MS + DAY_MS,
        )
        .unwrap();
    players(&service, 10, 5);
    release(&service, &NEXT).unwrap();
    let second = document(&service, 2);
    let protocol = &second["protocol"];
    assert_eq!(protocol["version"], 2);
    assert_eq!(protocol["plan_held"], false);
    assert_eq!(protocol["document"]["protocol"]["minimum_shots"], 25);
    let history = json!([
        {"version": 1, "date": "2027-01-15", "reason": null},
        {"version": 2, "date": "2027-01-16", "reason": "Twenty shots were too few to tell."},
    ]);
    assert_eq!(protocol["history"], history);
    assert_eq!(
        second["changes"]["protocol_version"],
        json!({"before": 1, "now": 2})
    );
}

#[test]
fn what_is_made_again_from_the_bytes_is_what_was_made() {
    let service = service();
    players(&service, 0, 13);
    release(&service, &NEXT).unwrap();
    let frozen = service.frozen(STUDY, 1).unwrap().unwrap();
    let again = tautpool::wire::release::document(&frozen.release, &frozen.findings);
    let again = tautpool::wire::canonical(&again);
    assert_eq!(again.into_bytes(), bytes(&service, 1));
    let public = service.study(STUDY).unwrap();
    assert_eq!(frozen.findings, public.findings);
    assert_eq!(frozen.release.publication, public.publication);
    assert!(service.frozen(STUDY, 2).unwrap().is_none());
    // It is kept ready: the second reader gets the very same.
    let kept = service.frozen(STUDY, 1).unwrap().unwrap();
    assert!(Arc::ptr_eq(&frozen, &kept));
}
