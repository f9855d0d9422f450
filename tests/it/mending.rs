//! What a receipt opens: seeing, mending, withdrawing; and that public figures change only when
//! enough players come or go.

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod deciding;
mod doors;

use crate::harness::{Pair, STUDY, STUDY_FILE, contribution, recruit, varied};
use serde_json::Value;
use std::fs;
use std::sync::Arc;
use tautpool::service::{Accepted, Correction, Incoming, Own, Public, Refused, Service};
use tautpool::vocabulary::{CorrectionReason, State};

/// The day the first contribution comes.
const NOW_MS: i64 = 1_800_000_000_000;

const DAY_MS: i64 = 86_400_000;

/// A service with the study, in which five players who come or go make a batch.
fn service() -> Service {
    let service = Service::in_memory().unwrap();
    let added = recruit(&service, &fs::read(STUDY_FILE).unwrap(), NOW_MS);
    assert_eq!(added.protocol.batch_players, 5);
    service
}

fn send(service: &Service, pair: Pair, receipt: Option<&str>) -> Accepted {
    let document = contribution(pair).to_string();
    let incoming = Incoming {
        study: STUDY,
        document: document.as_bytes(),
        request_key: None,
        receipt,
        now_ms: NOW_MS,
    };
    service.submit(&incoming).unwrap()
}

/// So many new players, from a first number on.
fn players(service: &Service, first: u32, n: u32) -> Vec<Accepted> {
    (first..first + n)
        .map(|number| send(service, varied(number), None))
        .collect()
}

fn mend(service: &Service, sent: &Accepted, pair: Pair) -> Result<Accepted, Refused> {
    let document = contribution(pair).to_string();
    service.mend(&Correction {
        study: STUDY,
        receipt: &sent.receipt.reveal(),
        contribution: sent.contribution,
        reason: CorrectionReason::TypingMistake,
        document: document.as_bytes(),
        now_ms: NOW_MS + DAY_MS,
    })
}

fn withdraw(service: &Service, sent: &Accepted, now_ms: i64) -> Own {
    service
        .withdraw(STUDY, &sent.receipt.reveal(), sent.contribution, now_ms)
        .unwrap()
}

fn public(service: &Service) -> Arc<Public> {
    service.study(STUDY).unwrap()
}

/// Published pairs of sessions: each has three rows.
fn n_pairs(service: &Service) -> usize {
    public(service).publication.rows.len() / 3
}

fn batch(service: &Service) -> Option<i64> {
    let public = public(service);
    public.publication.batch.as_ref().map(|batch| batch.number)
}

/// A pair like no other, so that it can be found among the rows.
fn far() -> Pair {
    Pair {
        speeds: (131.0, 100.0),
        sd: Some(12.0),
        ..Pair::default()
    }
}

fn shows_far(service: &Service) -> bool {
    let public = public(service);
    let found = public
        .publication
        .rows
        .iter()
        .any(|row| (row.estimate - 31.0).abs() < 1e-9);
    assert_eq!(
        found,
        String::from_utf8_lossy(public.aggregate.plain().unwrap()).contains("31.0")
    );
    found
}

#[test]
fn a_correction_keeps_the_first_version_and_counts_with_the_next_batch() {
    let service = service();
    let sent = players(&service, 0, 5);
    assert_eq!(batch(&service), Some(1));
    let mended = mend(&service, &sent[2], far()).unwrap();
    assert!(!mended.repeated);
    assert!((mended.pair.effects[0].estimate - 31.0).abs() < 1e-9);
    let again = mend(&service, &sent[2], far()).unwrap();
    assert!(again.repeated);
    assert!(!shows_far(&service));
    let own = service.own(STUDY, &sent[2].receipt.reveal()).unwrap();
    let [only] = own.contributions.as_slice() else {
        panic!("{own:?}");
    };
    let numbers: Vec<_> = only.stored.versions.iter().map(|v| v.number).collect();
    assert_eq!(numbers, [1, 2]);
    let reasons: Vec<_> = only.stored.versions.iter().map(|v| v.reason).collect();
    assert_eq!(reasons, [None, Some(CorrectionReason::TypingMistake)]);
    assert!(only.standing().contains("follows with the next batch"));
    // Four more players are too few, and the correction of a counted player is no fifth.
    players(&service, 10, 4);
    assert!(!shows_far(&service));
    assert_eq!(batch(&service), Some(1));
    players(&service, 20, 1);
    assert_eq!(batch(&service), Some(2));
    assert!(shows_far(&service));
    assert_eq!(n_pairs(&service), 10);
    // One who corrected is told of by nothing but the new figure.
    assert_eq!(public(&service).publication.first_versions, []);
}

/// How many players corrected the speed, as far as it is told, after six of them corrected.
fn corrected_at_least(mended: impl Fn(usize) -> Value) -> usize {
    let service = service();
    let sent = players(&service, 0, 10);
    for (place, sent) in sent[..6].iter().enumerate() {
        service
            .mend(&Correction {
                study: STUDY,
                receipt: &sent.receipt.reveal(),
                contribution: sent.contribution,
                reason: CorrectionReason::Other,
                document: mended(place).to_string().as_bytes(),
                now_ms: NOW_MS,
            })
            .unwrap();
    }
    players(&service, 20, 5);
    let public = public(&service);
    let first = public.publication.first_versions.iter();
    first
        .map(|first| first.corrected_at_least)
        .max()
        .unwrap_or(0)
}

#[test]
fn a_correction_that_changes_no_effect_is_none_of_a_figure() {
    let of = |place: usize| contribution(varied(u32::try_from(place).unwrap()));
    let with_note = corrected_at_least(|place| {
        let mut document = of(place);
        document["note"] = "Wind".into();
        document
    });
    assert_eq!(with_note, 0);
    let with_another_speed = corrected_at_least(|place| {
        let mut document = of(place);
        document["sessions"][0]["shots"][0]["speed_mean"] = 104.8.into();
        document
    });
    assert_eq!(with_another_speed, 5);
}

#[test]
fn five_who_withdraw_make_a_batch_and_four_do_not() {
    let service = service();
    let sent = players(&service, 0, 12);
    // Two batches of five; two players wait.
    assert_eq!((batch(&service), n_pairs(&service)), (Some(2), 10));
    for gone in &sent[..2] {
        let own = withdraw(&service, gone, NOW_MS + DAY_MS);
        let standing = own.contributions[0].standing();
        assert!(standing.contains("2027-02-15"), "{standing}");
    }
    // Two go and two come: four.
    assert_eq!((batch(&service), n_pairs(&service)), (Some(2), 10));
    withdraw(&service, &sent[2], NOW_MS + DAY_MS);
    // Three go and two come: five.
    assert_eq!((batch(&service), n_pairs(&service)), (Some(3), 9));
    let own = service.own(STUDY, &sent[0].receipt.reveal()).unwrap();
    let gone = &own.contributions[0];
    assert_eq!(gone.stored.state, State::Withdrawn);
    assert!(gone.stored.removed);
    assert_eq!(gone.stored.versions[0].document, None);
    assert!(gone.standing().contains("erased"), "{}", gone.standing());
    let twice = withdraw(&service, &sent[0], NOW_MS + 9 * DAY_MS);
    assert_eq!(
        twice.contributions[0].stored.withdrawn_at_ms,
        Some(NOW_MS + DAY_MS)
    );
    let refused = mend(&service, &sent[0], far()).unwrap_err();
    assert!(matches!(refused, Refused::AlreadyWithdrawn), "{refused}");
}

#[test]
fn what_never_counted_is_erased_at_once_and_never_counts() {
    let service = service();
    let sent = players(&service, 0, 4);
    let own = withdraw(&service, &sent[0], NOW_MS);
    assert!(own.contributions[0].stored.removed);
    assert_eq!(own.contributions[0].stored.versions[0].document, None);
    players(&service, 10, 1);
    assert_eq!(batch(&service), None);
    players(&service, 20, 1);
    assert_eq!((batch(&service), n_pairs(&service)), (Some(1), 5));
}

#[test]
fn after_thirty_days_a_withdrawal_acts_and_figures_are_hidden_until_enough_have_changed() {
    let service = service();
    let mut sent = players(&service, 0, 9);
    sent.push(send(&service, far(), None));
    assert_eq!((batch(&service), n_pairs(&service)), (Some(2), 10));
    assert!(shows_far(&service));
    withdraw(&service, &sent[9], NOW_MS);
    service.keep_promises(NOW_MS + 30 * DAY_MS - 1).unwrap();
    assert!(shows_far(&service));
    service.keep_promises(NOW_MS + 30 * DAY_MS).unwrap();
    assert!(!shows_far(&service));
    assert!(public(&service).hidden.is_some());
    assert_eq!((batch(&service), n_pairs(&service)), (None, 0));
    let hidden = public(&service);
    let page = hidden.page(hidden.unchosen_units()).unwrap();
    let page = String::from_utf8_lossy(page.plain().unwrap());
    assert!(page.contains("hidden for now"), "{page}");
    // One went; three who come make four.
    players(&service, 30, 3);
    assert!(public(&service).hidden.is_some());
    players(&service, 40, 1);
    assert!(public(&service).hidden.is_none());
    assert_eq!((batch(&service), n_pairs(&service)), (Some(4), 13));
    assert!(!shows_far(&service));
    // Nothing is overdue any more.
    service.keep_promises(NOW_MS + 90 * DAY_MS).unwrap();
    assert_eq!(batch(&service), Some(4));
}

#[test]
fn a_consent_to_rows_that_is_taken_back_acts_after_thirty_days_too() {
    let service = service();
    let sent = players(&service, 0, 10);
    assert_eq!(n_pairs(&service), 10);
    let narrower = Pair {
        scope: "pooling",
        ..varied(0)
    };
    mend(&service, &sent[0], narrower).unwrap();
    service.keep_promises(NOW_MS + 31 * DAY_MS - 1).unwrap();
    assert_eq!(n_pairs(&service), 10);
    service.keep_promises(NOW_MS + 31 * DAY_MS).unwrap();
    assert!(public(&service).hidden.is_some());
    players(&service, 20, 5);
    assert_eq!((batch(&service), n_pairs(&service)), (Some(4), 14));
}

#[test]
fn only_a_consent_to_rows_that_still_shows_hides_anything() {
    let narrower = |number: u32| Pair {
        scope: "pooling",
        ..varied(number)
    };
    let service = service();
    let sent = players(&service, 0, 10);
    // Taken back, acted on with a batch, and then a slip is mended.
    mend(&service, &sent[0], narrower(0)).unwrap();
    players(&service, 20, 5);
    assert_eq!((batch(&service), n_pairs(&service)), (Some(3), 14));
    mend(&service, &sent[0], narrower(3)).unwrap();
    // Taken back and given again before any batch.
    mend(&service, &sent[1], narrower(1)).unwrap();
    mend(&service, &sent[1], varied(1)).unwrap();
    service.keep_promises(NOW_MS + 99 * DAY_MS).unwrap();
    assert!(public(&service).hidden.is_none());
}

#[test]
fn one_player_sends_only_so_much() {
    let service = service();
    let sent = players(&service, 0, 1);
    let padded = |number: usize| {
        let document = contribution(varied(1)).to_string();
        format!("{document}{}", " ".repeat(250_000 + number))
    };
    let mend = |number| {
        service.mend(&Correction {
            study: STUDY,
            receipt: &sent[0].receipt.reveal(),
            contribution: sent[0].contribution,
            reason: CorrectionReason::Other,
            document: padded(number).as_bytes(),
            now_ms: NOW_MS,
        })
    };
    let taken = (0..23).take_while(|number| mend(*number).is_ok()).count();
    assert_eq!(taken, 4 * 1024 * 1024 / 250_000);
    assert!(matches!(mend(99), Err(Refused::TooManyVersions)));
}

#[test]
fn a_further_pair_joins_its_player_and_withdrawing_one_leaves_the_other() {
    let service = service();
    let sent = players(&service, 0, 5);
    let receipt = sent[0].receipt.reveal();
    let further = send(&service, far(), Some(&receipt));
    assert_eq!(further.receipt, sent[0].receipt);
    let own = service.own(STUDY, &receipt).unwrap();
    assert_eq!(own.contributions.len(), 2);
    withdraw(&service, &sent[0], NOW_MS);
    players(&service, 10, 5);
    // The player stays with the further pair.
    assert_eq!((batch(&service), n_pairs(&service)), (Some(2), 10));
    assert!(shows_far(&service));
}

#[test]
fn a_receipt_opens_its_own_contributions_only() {
    let service = service();
    let sent = players(&service, 0, 2);
    let stranger = sent[1].receipt.reveal();
    let refused = service.withdraw(STUDY, &stranger, sent[0].contribution, NOW_MS);
    assert!(matches!(refused, Err(Refused::ContributionUnknown)));
    let refused = service.withdraw(STUDY, "nobody", sent[0].contribution, NOW_MS);
    assert!(matches!(refused, Err(Refused::ReceiptUnknown)));
    let nobody = "AAAA-AAAA-AAAA-AAAA-AAAA-AAAA-AAAA-AAAA";
    let refused = service.withdraw(STUDY, nobody, sent[0].contribution, NOW_MS);
    assert!(matches!(refused, Err(Refused::ReceiptUnknown)));
    assert!(matches!(
        service.own(STUDY, nobody),
        Err(Refused::ReceiptUnknown)
    ));
    let own = service.own(STUDY, &sent[0].receipt.reveal()).unwrap();
    assert_eq!(own.contributions[0].stored.state, State::Accepted);
}

#[test]
fn a_contribution_is_mended_only_so_often() {
    let service = service();
    let sent = players(&service, 0, 1);
    let other = |number: u32| Pair {
        speeds: (101.0 + f64::from(number), 100.0),
        ..Pair::default()
    };
    for number in 0..23 {
        assert!(!mend(&service, &sent[0], other(number)).unwrap().repeated);
    }
    let refused = mend(&service, &sent[0], other(24)).unwrap_err();
    assert!(matches!(refused, Refused::TooManyVersions), "{refused}");
    // What was sent last is still answered.
    assert!(mend(&service, &sent[0], other(22)).unwrap().repeated);
}

/// The document that was sent last.
fn newest(own: &Own) -> Value {
    let last = own.contributions[0].stored.versions.last().unwrap();
    serde_json::from_slice(last.document.as_ref().unwrap()).unwrap()
}

#[test]
fn a_faulty_correction_changes_nothing() {
    let service = service();
    let sent = players(&service, 0, 1);
    let faulty = Pair {
        tensions: (52.0, 46.0),
        ..varied(0)
    };
    let refused = mend(&service, &sent[0], faulty).unwrap_err();
    assert!(matches!(refused, Refused::Document(_)), "{refused}");
    let own = service.own(STUDY, &sent[0].receipt.reveal()).unwrap();
    assert_eq!(newest(&own), contribution(varied(0)));
}
