//! Plans: what counts as planned, and what the public sees of plans. Drawing and opening over HTTP
//! and on the page are in [`doors`].

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod doors;

use crate::harness::{STUDY, STUDY_FILE, contribution, recruit, varied};
use serde_json::{Value, json};
use std::fs;
use tautpool::plan::{Code, Kind};
use tautpool::service::{Accepted, Correction, Incoming, Service};
use tautpool::vocabulary::{CorrectionReason, Sequence};

/// The time at which a test begins, in milliseconds since the Unix epoch.
const NOW_MS: i64 = 1_800_000_000_000;

/// A service with the study, in which five players make a batch.
fn service() -> Service {
    let service = Service::in_memory().unwrap();
    recruit(&service, &fs::read(STUDY_FILE).unwrap(), NOW_MS);
    service
}

fn draw(service: &Service) -> Code {
    let drawn = service.draw_plan(STUDY, Kind::TwoSessions, None, NOW_MS);
    drawn.unwrap().code
}

fn open(service: &Service, code: &Code, now_ms: i64) -> Sequence {
    let opened = service.open_plan(STUDY, code.canonical(), now_ms);
    opened.unwrap().sequence
}

/// The document of a pair that names a plan.
fn document(number: u32, code: Option<&str>) -> String {
    let mut document = contribution(varied(number));
    if let Some(code) = code {
        document["plan_code"] = json!(code);
    }
    document.to_string()
}

fn send(service: &Service, number: u32, code: Option<&str>, now_ms: i64) -> Accepted {
    let document = document(number, code);
    let incoming = Incoming {
        study: STUDY,
        document: document.as_bytes(),
        request_key: None,
        receipt: None,
        now_ms,
    };
    service.submit(&incoming).unwrap()
}

fn flags(accepted: &Accepted) -> Vec<&'static str> {
    accepted.flags.iter().map(|flag| flag.rule.code()).collect()
}

/// Whether each contribution counts as planned, with the order drawn for it.
fn planned(service: &Service) -> Vec<(bool, Option<Sequence>)> {
    let stored = service.store().all_contributions(STUDY).unwrap();
    let planned = stored.iter().map(|one| (one.planned, one.plan_sequence));
    planned.collect()
}

fn public(service: &Service, document: &str) -> Value {
    let public = service.study(STUDY).unwrap();
    let body = match document {
        "pooled" => public.pooled.plain().unwrap().clone(),
        _ => public.aggregate.plain().unwrap().clone(),
    };
    serde_json::from_slice(&body).unwrap()
}

#[test]
fn what_is_sent_under_an_opened_plan_counts_as_planned() {
    let service = service();
    let code = draw(&service);
    let sequence = open(&service, &code, NOW_MS);
    let sent = send(&service, 0, Some(code.canonical()), NOW_MS);
    assert_eq!(flags(&sent), [""; 0]);
    assert_eq!(planned(&service), [(true, Some(sequence))]);
}

#[test]
fn a_plan_counts_once_and_the_first_to_name_it_has_it() {
    let service = service();
    let code = draw(&service);
    let sequence = open(&service, &code, NOW_MS);
    send(&service, 0, Some(code.canonical()), NOW_MS);
    let again = send(&service, 1, Some(code.canonical()), NOW_MS + 1);
    assert_eq!(flags(&again), ["plan_used"]);
    let drawn = Some(sequence);
    assert_eq!(planned(&service), [(true, drawn), (false, drawn)]);
}

#[test]
fn a_plan_that_was_sealed_cannot_have_been_followed_and_opening_it_later_changes_nothing() {
    let service = service();
    let code = draw(&service);
    let sent = send(&service, 0, Some(code.canonical()), NOW_MS);
    assert_eq!(flags(&sent), ["plan_not_opened"]);
    let sequence = open(&service, &code, NOW_MS + 1);
    assert_eq!(planned(&service), [(false, Some(sequence))]);
}

#[test]
fn a_code_that_nobody_drew_is_kept_as_retrospective() {
    let service = service();
    draw(&service);
    let sent = send(&service, 0, Some("000000000000"), NOW_MS);
    assert_eq!(flags(&sent), ["plan_not_found"]);
    send(&service, 1, None, NOW_MS);
    assert_eq!(planned(&service), [(false, None), (false, None)]);
}

#[test]
fn a_retried_request_is_told_the_same_of_its_plan() {
    let service = service();
    let code = draw(&service);
    open(&service, &code, NOW_MS);
    let document = document(0, Some(code.canonical()));
    let send = |key| {
        let incoming = Incoming {
            study: STUDY,
            document: document.as_bytes(),
            request_key: Some(key),
            receipt: None,
            now_ms: NOW_MS,
        };
        service.submit(&incoming).unwrap()
    };
    let copied = vec!["duplicate_of_another", "plan_used"];
    for (key, expected) in [("a", vec![]), ("b", copied)] {
        assert_eq!(flags(&send(key)), expected);
        let again = send(key);
        assert!(again.repeated);
        assert_eq!(flags(&again), expected);
    }
}

/// Mends a contribution so that it names this plan.
fn mend(service: &Service, sent: &Accepted, number: u32, code: &Code) -> Accepted {
    let document = document(number, Some(code.canonical()));
    let correction = Correction {
        study: STUDY,
        receipt: &sent.receipt.reveal(),
        contribution: sent.contribution,
        reason: CorrectionReason::TypingMistake,
        document: document.as_bytes(),
        now_ms: NOW_MS + 10,
    };
    service.mend(&correction).unwrap()
}

#[test]
fn a_correction_neither_makes_nor_unmakes_a_planned_pair() {
    let service = service();
    let (code, spare) = (draw(&service), draw(&service));
    open(&service, &code, NOW_MS - 1);
    open(&service, &spare, NOW_MS - 1);
    let first = send(&service, 0, Some(code.canonical()), NOW_MS);
    let other = send(&service, 1, None, NOW_MS);
    // After their answers, one names a plan that was kept back and the other another one.
    assert_eq!(
        flags(&mend(&service, &other, 1, &spare)),
        ["plan_named_later"]
    );
    let mended = mend(&service, &first, 0, &spare);
    assert_eq!((mended.planned, flags(&mended)), (true, vec![]));
    let all: Vec<bool> = planned(&service).iter().map(|one| one.0).collect();
    assert_eq!(all, [true, false]);
    // A plan that was only named in a correction is still free.
    let late = send(&service, 2, Some(spare.canonical()), NOW_MS + 9);
    assert_eq!(flags(&late), [""; 0]);
}

#[test]
fn rows_say_what_was_planned_and_plans_are_counted_rounded_down() {
    let service = service();
    let codes: Vec<Code> = (0..12).map(|_| draw(&service)).collect();
    for code in &codes {
        open(&service, code, NOW_MS);
    }
    for (number, code) in (0..).zip(&codes[..4]) {
        send(&service, number, Some(code.canonical()), NOW_MS + 1);
    }
    assert_eq!(public(&service, "pooled")["plans"], Value::Null);
    send(&service, 4, None, NOW_MS + 2);
    let aggregate = public(&service, "aggregate");
    let rows = aggregate["rows"].as_array().unwrap();
    // Speed, deep share and in share of five players; that four of them played to a plan would tell
    // who the fifth is.
    assert_eq!(rows.len(), 15);
    assert!(rows.iter().all(|row| row["planned"].is_null()));
    let every = &aggregate["plans"]["every_order"];
    // 12 opened, 4 sent, 8 not.
    assert_eq!(every["drawn_at_least"], 10);
    assert_eq!(every["opened_at_least"], 10);
    assert_eq!(every["sent_at_least"], 0);
    assert_eq!(every["unsent_at_least"], 5);
    assert_eq!(public(&service, "pooled")["plans"], aggregate["plans"]);
    let shown = service.study(STUDY).unwrap();
    let page = shown.page(shown.unchosen_units()).unwrap();
    let page = String::from_utf8_lossy(page.plain().unwrap());
    assert!(page.contains("At least 5 plans were opened and nothing was sent."));
    let download = aggregate.to_string();
    let again = tautpool::intake::aggregate(download.as_bytes()).unwrap();
    assert_eq!(again, service.study(STUDY).unwrap().publication);
}

#[test]
fn plans_opened_after_a_batch_do_not_show_before_the_next_one() {
    let folder = tempfile::tempdir().unwrap();
    let durability = tautpool::store::Durability::Full;
    let open_service = || Service::open_or_make(folder.path(), durability).unwrap();
    let service = open_service();
    recruit(&service, &fs::read(STUDY_FILE).unwrap(), NOW_MS);
    let draw_and_open = |service: &Service, n, now_ms| {
        for _ in 0..n {
            let drawn = service.draw_plan(STUDY, Kind::FourSessions, None, now_ms);
            open(service, &drawn.unwrap().code, now_ms);
        }
    };
    draw_and_open(&service, 6, NOW_MS);
    for number in 0..5 {
        send(&service, number, None, NOW_MS + 1);
    }
    let before = public(&service, "pooled");
    assert_eq!(before["plans"]["balanced"]["opened_at_least"], 5);
    draw_and_open(&service, 20, NOW_MS + 2);
    drop(service);
    let service = open_service();
    assert_eq!(public(&service, "pooled"), before);
}

#[test]
fn the_flow_is_counted_by_order() {
    let service = service();
    let mut expected = Vec::new();
    for _ in 0..8 {
        let code = draw(&service);
        expected.push((open(&service, &code, NOW_MS), code));
    }
    let sealed = draw(&service);
    let sent: Vec<Accepted> = (0..)
        .zip(&expected[..3])
        .map(|(number, (_, code))| send(&service, number, Some(code.canonical()), NOW_MS + 1))
        .collect();
    send(&service, 3, Some(sealed.canonical()), NOW_MS + 1);
    let receipt = sent[0].receipt.reveal();
    let gone = service.withdraw(STUDY, &receipt, sent[0].contribution, NOW_MS + 2);
    gone.unwrap();
    let flows = service.store().plan_flow(STUDY, None).unwrap();
    for (sequence, flow) in &flows {
        let count =
            |some: &[(Sequence, Code)]| some.iter().filter(|one| one.0 == *sequence).count();
        assert_eq!(flow.opened, count(&expected));
        assert_eq!(flow.sent, count(&expected[..3]));
        assert_eq!(flow.withdrawn, count(&expected[..1]));
    }
    let drawn: usize = flows.iter().map(|(_, flow)| flow.drawn).sum();
    assert_eq!(drawn, 9);
    let earlier = service.store().plan_flow(STUDY, Some(NOW_MS + 1)).unwrap();
    let withdrawn: usize = earlier.iter().map(|(_, flow)| flow.withdrawn).sum();
    assert_eq!(withdrawn, 0);
}
