//! The life of a study: a draft that nobody sees, recruiting with a frozen plan, changes that
//! everybody sees, and closing.

#![expect(
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod doors;
mod pages;

use crate::harness::{Pair, STUDY, STUDY_FILE, contribution, recruit, varied};
use serde_json::{Value, json};
use std::fs;
use std::sync::Arc;
use tautpool::findings::progress::{Progress, Watched, progress};
use tautpool::plan::Kind;
use tautpool::service::{Incoming, NotChanged, Public, Refused, Service};
use tautpool::vocabulary::StudyState;

/// The time at which a test begins, in milliseconds since the Unix epoch.
const NOW_MS: i64 = 1_800_000_000_000;

/// A reason that says something.
const REASON: &str = "Small gaps turned out to be rare, so the first two bands are one.";

fn study() -> Value {
    serde_json::from_slice(&fs::read(STUDY_FILE).unwrap()).unwrap()
}

/// The study with the bands from 5 and 12 lb on.
fn with_wider_bands() -> Value {
    let mut study = study();
    study["protocol"]["gap_band_edges"] = json!([5, 12]);
    study
}

fn add(service: &Service, study: &Value) {
    let added = service.add_study(study.to_string().as_bytes(), NOW_MS);
    added.unwrap();
}

fn opened() -> Service {
    let service = Service::in_memory().unwrap();
    recruit(&service, study().to_string().as_bytes(), NOW_MS);
    service
}

fn amend(service: &Service, study: &Value, reason: Option<&str>) -> Result<i64, NotChanged> {
    let changed = service.amend(STUDY, study.to_string().as_bytes(), reason, NOW_MS);
    changed.map(|life| life.newest.version)
}

fn send(service: &Service, number: u32) -> Result<Arc<Public>, Refused> {
    let document = contribution(Pair {
        tensions: (44.0, 52.0),
        ..varied(number)
    });
    let accepted = service.submit(&Incoming {
        study: STUDY,
        document: document.to_string().as_bytes(),
        request_key: Some(&format!("key-{number}")),
        receipt: None,
        now_ms: NOW_MS,
    });
    accepted.map(|_| service.study(STUDY).unwrap())
}

fn pointers(refused: NotChanged) -> Vec<String> {
    match refused {
        NotChanged::Document(rejection) => {
            let faults = rejection.faults.into_iter();
            faults.map(|fault| fault.pointer).collect()
        }
        other => panic!("{other}"),
    }
}

#[test]
fn recruiting_opens_only_with_a_contact_a_privacy_notice_and_a_licence() {
    let service = Service::in_memory().unwrap();
    let mut bare = study();
    for name in ["contact", "privacy", "licence", "host_name"] {
        bare.as_object_mut().unwrap().remove(name);
    }
    add(&service, &bare);
    let refused = service.open_recruiting(STUDY, NOW_MS).unwrap_err();
    assert_eq!(pointers(refused), ["/contact", "/privacy", "/licence"]);
    bare["contact"] = json!("The notice board of the club");
    amend(&service, &bare, None).unwrap();
    let refused = service.open_recruiting(STUDY, NOW_MS).unwrap_err();
    assert_eq!(pointers(refused), ["/privacy", "/licence"]);
    amend(&service, &study(), None).unwrap();
    let life = service.open_recruiting(STUDY, NOW_MS).unwrap();
    assert_eq!(life.state, StudyState::Recruiting);
    assert_eq!(
        life.plan_hash_at_opening.as_deref(),
        Some(life.plan_hash_now())
    );
    assert_eq!(life.history.len(), 1);
    assert!(matches!(
        service.open_recruiting(STUDY, NOW_MS),
        Err(NotChanged::OpenedBefore)
    ));
}

#[test]
fn a_draft_is_nobodys_business() {
    let service = Service::in_memory().unwrap();
    add(&service, &study());
    assert!(service.study(STUDY).is_none());
    assert!(service.studies().is_empty());
    assert!(matches!(send(&service, 1), Err(Refused::StudyUnknown)));
    let drawn = service.draw_plan(STUDY, Kind::TwoSessions, None, NOW_MS);
    assert!(matches!(drawn, Err(Refused::StudyUnknown)));
    assert!(matches!(
        service.close_recruiting(STUDY, NOW_MS),
        Err(NotChanged::NotOpen)
    ));
    let desk = service.desk().unwrap();
    assert_eq!(desk[0].state, StudyState::Draft);
    assert_eq!(desk[0].plan_hash_at_opening, None);
}

#[test]
fn a_draft_changes_without_a_reason_and_an_open_study_only_with_one() {
    let service = Service::in_memory().unwrap();
    add(&service, &study());
    assert_eq!(amend(&service, &with_wider_bands(), None).unwrap(), 1);
    assert!(matches!(
        amend(&service, &with_wider_bands(), None),
        Err(NotChanged::Unchanged)
    ));
    service.open_recruiting(STUDY, NOW_MS).unwrap();
    for reason in [
        None,
        Some("   "),
        Some("too short"),
        Some(&*"x".repeat(501)),
    ] {
        assert!(matches!(
            amend(&service, &study(), reason),
            Err(NotChanged::ReasonMissing)
        ));
    }
    assert_eq!(amend(&service, &study(), Some(REASON)).unwrap(), 2);
    let mut other = study();
    other["study"] = json!("another-name");
    other["invented"] = json!(false);
    let refused = amend(&service, &other, Some(REASON)).unwrap_err();
    assert_eq!(pointers(refused), ["/invented", "/study"]);
    let mut reworded = study();
    for place in [
        "/privacy/text",
        "/protocol/consent/text",
        "/protocol/deep/text",
    ] {
        *reworded.pointer_mut(place).unwrap() = json!("Another text.");
    }
    let refused = amend(&service, &reworded, Some(REASON)).unwrap_err();
    assert_eq!(
        pointers(refused),
        [
            "/privacy/version",
            "/protocol/consent/version",
            "/protocol/deep/version"
        ]
    );
}

#[test]
fn the_service_numbers_versions_and_the_plan_is_the_same_in_any_order_of_keys() {
    let service = opened();
    let mut reordered = json!({});
    for (name, value) in study().as_object().unwrap().iter().rev() {
        reordered[name] = value.clone();
    }
    reordered["protocol"]["version"] = json!(77);
    assert!(matches!(
        amend(&service, &reordered, Some(REASON)),
        Err(NotChanged::Unchanged)
    ));
    reordered["protocol"]["caution"] = json!("Stop when it hurts.");
    assert_eq!(amend(&service, &reordered, Some(REASON)).unwrap(), 2);
    // Asked for again by somebody who got no answer; for another reason it would be another change.
    assert_eq!(amend(&service, &reordered, Some(REASON)).unwrap(), 2);
    let otherwise = amend(&service, &reordered, Some("Because of something else."));
    assert!(matches!(otherwise, Err(NotChanged::Unchanged)));
    let life = service.life(STUDY).unwrap().unwrap();
    assert_eq!(life.newest.study.protocol.version, 2);
    assert!(!life.is_plan_changed(&life.newest));
    assert_eq!(life.history[0].plan_hash, life.history[1].plan_hash);
    for (place, value) in [
        ("minimum_shots", json!(30)),
        ("minimum_players", json!(6)),
        ("rally_length", json!(5)),
        ("gap_band_edges", json!([5, 8.5, 12, 16])),
        ("release_rule", json!({"kind": "date", "on": "2030-01-01"})),
        ("deep", json!({"version": "2", "text": "The last metre."})),
    ] {
        let mut changed = study();
        changed["protocol"][place] = value;
        amend(&service, &changed, Some(REASON)).unwrap();
        let life = service.life(STUDY).unwrap().unwrap();
        assert!(life.is_plan_changed(&life.newest), "{place}");
    }
    assert_eq!(amend(&service, &study(), Some(REASON)).unwrap(), 9);
    let life = service.life(STUDY).unwrap().unwrap();
    assert!(!life.is_plan_changed(&life.newest));
}

#[test]
fn a_change_holds_for_contributions_at_once_and_for_figures_from_the_next_batch_on() {
    let service = opened();
    for number in 0..5 {
        send(&service, number).unwrap();
    }
    let before = service.study(STUDY).unwrap();
    let batch = |public: &Public| public.publication.batch.as_ref().map(|batch| batch.number);
    assert_eq!(batch(&before), Some(1));
    let mut changed = with_wider_bands();
    changed["protocol"]["consent"]["version"] = json!("2");
    amend(&service, &changed, Some(REASON)).unwrap();
    let after = service.study(STUDY).unwrap();
    assert_eq!(after.study.protocol.version, 2);
    assert_eq!(after.publication.protocol_version, 1);
    assert_eq!(
        after.aggregate.plain().unwrap(),
        before.aggregate.plain().unwrap()
    );
    assert_eq!(
        after.pooled.plain().unwrap(),
        before.pooled.plain().unwrap()
    );
    // The old wording is not consented to any more.
    assert!(matches!(send(&service, 5), Err(Refused::Document(_))));
    changed["protocol"]["consent"]["version"] = json!("1");
    amend(
        &service,
        &changed,
        Some("The wording of the consent is as it was."),
    )
    .unwrap();
    for number in 5..9 {
        send(&service, number).unwrap();
        let public = service.study(STUDY).unwrap();
        assert_eq!(public.publication.protocol_version, 1);
    }
    let newer = send(&service, 9).unwrap();
    assert_eq!(batch(&newer), Some(2));
    assert_eq!(newer.publication.protocol_version, 3);
    assert_eq!(newer.publication.rules.bands.edges().len(), 2);
}

#[test]
fn figures_of_a_batch_are_the_same_after_a_restart_whatever_was_changed_since() {
    let folder = tempfile::tempdir().unwrap();
    let open = || {
        let durability = tautpool::store::Durability::Full;
        Service::open_or_make(folder.path(), durability).unwrap()
    };
    let service = open();
    recruit(&service, study().to_string().as_bytes(), NOW_MS);
    for number in 0..5 {
        send(&service, number).unwrap();
    }
    amend(&service, &with_wider_bands(), Some(REASON)).unwrap();
    let before = service.study(STUDY).unwrap();
    drop(service);
    let after = open().study(STUDY).unwrap();
    assert_eq!(
        after.aggregate.plain().unwrap(),
        before.aggregate.plain().unwrap()
    );
    assert_eq!(after.life, before.life);
    assert_eq!(after.life.history.len(), 2);
}

#[test]
fn a_closed_study_takes_nothing_more_and_still_answers_a_request_it_took() {
    let service = opened();
    send(&service, 1).unwrap();
    let plan = service.draw_plan(STUDY, Kind::TwoSessions, None, NOW_MS);
    let code = plan.unwrap().code.canonical().to_owned();
    let life = service.close_recruiting(STUDY, NOW_MS + 1).unwrap();
    assert_eq!(life.closed_at_ms, Some(NOW_MS + 1));
    assert!(matches!(send(&service, 2), Err(Refused::NotRecruiting)));
    assert!(send(&service, 1).is_ok());
    let drawn = service.draw_plan(STUDY, Kind::TwoSessions, None, NOW_MS);
    assert!(matches!(drawn, Err(Refused::NotRecruiting)));
    assert!(matches!(
        service.open_plan(STUDY, &code, NOW_MS),
        Err(Refused::NotRecruiting)
    ));
    assert!(matches!(
        service.close_recruiting(STUDY, NOW_MS),
        Err(NotChanged::NotOpen)
    ));
    assert_eq!(
        amend(&service, &with_wider_bands(), Some(REASON)).unwrap(),
        2
    );
}

/// How far a study has come after twelve players, with the figures of the two arms exchanged or not.
fn progress_with(exchanged: bool) -> Vec<Progress> {
    let service = opened();
    for number in 0..12 {
        let mut pair = varied(number);
        if exchanged {
            pair.speeds = (pair.speeds.1, pair.speeds.0);
            pair.deep = (pair.deep.1, pair.deep.0);
        }
        let document = contribution(pair).to_string();
        let sent = service.submit(&Incoming {
            study: STUDY,
            document: document.as_bytes(),
            request_key: None,
            receipt: None,
            now_ms: NOW_MS,
        });
        sent.unwrap();
    }
    let public = service.study(STUDY).unwrap();
    progress(&public.publication, &public.findings)
}

#[test]
fn progress_is_the_same_whichever_way_a_study_points() {
    let (one, other) = (progress_with(false), progress_with(true));
    assert_eq!(one.len(), 8);
    let mut n_watched = 0;
    for (one, other) in one.iter().zip(&other) {
        assert_eq!((one.about, one.band), (other.about, other.band));
        match (&one.watched, &other.watched) {
            (Ok(one), Ok(other)) => {
                assert_eq!(one.players, other.players);
                assert_eq!((one.target, one.further), (other.target, other.further));
                let widths = |watched: &Watched| -> Vec<f64> {
                    let all = watched.reached.iter().chain(&watched.expected);
                    all.map(|width| width.half_width)
                        .chain(watched.half_width.ok())
                        .collect()
                };
                let (one, other) = (widths(one), widths(other));
                assert_eq!(one.len(), other.len());
                assert!(7 < one.len(), "{one:?}");
                for (one, other) in one.iter().zip(&other) {
                    assert!((one - other).abs() < 1e-9 * one, "{one} {other}");
                }
                n_watched += 1;
            }
            (one, other) => assert_eq!(one.is_err(), other.is_err()),
        }
    }
    assert_eq!(n_watched, 2);
}
