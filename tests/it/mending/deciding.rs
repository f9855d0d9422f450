//! What the host decides, and what public figures then count.

use super::{NOW_MS, batch, mend, n_pairs, players, public, service, withdraw};
use crate::harness::{STUDY, varied};
use tautpool::findings::flow::Count;
use tautpool::service::{Accepted, Decision, Service, Undecided};
use tautpool::vocabulary::{Ground, State, Verdict};

fn decide(service: &Service, sent: &Accepted, verdict: Verdict) -> Result<(), Undecided> {
    service.decide(&decision(sent, verdict))
}

fn decision(sent: &Accepted, verdict: Verdict) -> Decision<'static> {
    Decision {
        study: STUDY,
        contribution: sent.contribution,
        version: 1,
        verdict,
        ground: verdict.grounds()[0],
        note: "Looked at both sheets again.",
        now_ms: NOW_MS,
    }
}

fn state(service: &Service, sent: &Accepted) -> State {
    let own = service.own(STUDY, &sent.receipt.reveal()).unwrap();
    own.contributions[0].stored.state
}

#[test]
fn what_is_declined_counts_until_enough_players_come_or_go() {
    let service = service();
    let sent = players(&service, 0, 10);
    assert_eq!((batch(&service), n_pairs(&service)), (Some(2), 10));
    for declined in &sent[..3] {
        decide(&service, declined, Verdict::Decline).unwrap();
        assert_eq!(state(&service, declined), State::Declined);
    }
    assert_eq!((batch(&service), n_pairs(&service)), (Some(2), 10));
    players(&service, 20, 2);
    // Three went and two came.
    assert_eq!((batch(&service), n_pairs(&service)), (Some(3), 9));
    let flow = public(&service).flow.clone().unwrap();
    let some = Count {
        at_least: 1,
        at_most: 4,
    };
    assert_eq!(flow.declined, [(Ground::ImpossibleFigures, some)]);
    assert_eq!(
        flow.sent,
        Count {
            at_least: 10,
            at_most: 14
        }
    );
    assert_eq!(
        flow.pooled,
        Count {
            at_least: 5,
            at_most: 9
        }
    );
    assert_eq!(flow.held, Count::default());
    // Taken back, they come like newcomers.
    for accepted in &sent[..3] {
        decide(&service, accepted, Verdict::Accept).unwrap();
    }
    assert_eq!((batch(&service), n_pairs(&service)), (Some(3), 9));
    players(&service, 30, 2);
    assert_eq!((batch(&service), n_pairs(&service)), (Some(4), 14));
    assert_eq!(public(&service).flow.clone().unwrap().declined, []);
}

#[test]
fn what_was_declined_before_it_counted_closes_no_batch() {
    let service = service();
    let sent = players(&service, 0, 4);
    decide(&service, &sent[0], Verdict::Decline).unwrap();
    players(&service, 10, 1);
    assert_eq!(batch(&service), None);
    players(&service, 20, 1);
    assert_eq!((batch(&service), n_pairs(&service)), (Some(1), 5));
    // Declined and taken back between two batches is no coming and going.
    decide(&service, &sent[1], Verdict::Decline).unwrap();
    decide(&service, &sent[1], Verdict::Accept).unwrap();
    players(&service, 30, 4);
    assert_eq!(batch(&service), Some(1));
}

#[test]
fn every_decision_is_kept_with_its_reason_and_needs_one() {
    let service = service();
    let sent = players(&service, 0, 5);
    let refused = |change: &dyn Fn(&mut Decision<'static>)| {
        let mut decision = decision(&sent[0], Verdict::Decline);
        change(&mut decision);
        service.decide(&decision).unwrap_err()
    };
    assert!(matches!(
        refused(&|decision| decision.note = " too short "),
        Undecided::NoteLength
    ));
    assert!(matches!(
        refused(&|decision| decision.ground = Ground::Plausible),
        Undecided::GroundOfOther
    ));
    assert!(matches!(
        refused(&|decision| decision.version = 2),
        Undecided::NewerVersion
    ));
    assert!(matches!(
        refused(&|decision| decision.verdict = Verdict::Accept),
        Undecided::GroundOfOther
    ));
    decide(&service, &sent[0], Verdict::Decline).unwrap();
    // The very same once more is that decision; in other words it would be another.
    decide(&service, &sent[0], Verdict::Decline).unwrap();
    assert!(matches!(
        refused(&|decision| decision.note = "Looked at both sheets anew."),
        Undecided::AlreadySo
    ));
    decide(&service, &sent[0], Verdict::Accept).unwrap();
    let cases = service.cases(STUDY, NOW_MS).unwrap().unwrap();
    let [case] = cases.decided.as_slice() else {
        panic!("{cases:?}")
    };
    let verdicts: Vec<Verdict> = case
        .stored
        .decisions
        .iter()
        .map(|kept| kept.verdict)
        .collect();
    assert_eq!(verdicts, [Verdict::Decline, Verdict::Accept]);
    assert_eq!(
        case.stored.decisions[0].note,
        "Looked at both sheets again."
    );
    assert!(cases.waiting.is_empty());
    decide(&service, &sent[0], Verdict::Decline).unwrap();
    let own = service.own(STUDY, &sent[0].receipt.reveal()).unwrap();
    let standing = own.contributions[0].standing();
    assert!(
        standing.contains("figures that no session gives"),
        "{standing}"
    );
}

#[test]
fn what_was_withdrawn_or_mended_meanwhile_is_not_decided() {
    let service = service();
    let sent = players(&service, 0, 5);
    withdraw(&service, &sent[0], NOW_MS);
    assert!(matches!(
        decide(&service, &sent[0], Verdict::Decline),
        Err(Undecided::Withdrawn)
    ));
    mend(&service, &sent[1], varied(77)).unwrap();
    assert!(matches!(
        decide(&service, &sent[1], Verdict::Decline),
        Err(Undecided::NewerVersion)
    ));
    // A declined one can be withdrawn, and leaves with the next batch.
    decide(&service, &sent[2], Verdict::Decline).unwrap();
    withdraw(&service, &sent[2], NOW_MS);
    assert_eq!(state(&service, &sent[2]), State::Withdrawn);
    players(&service, 10, 3);
    assert_eq!((batch(&service), n_pairs(&service)), (Some(2), 6));
    let flow = public(&service).flow.clone().unwrap();
    assert_eq!(flow.declined, []);
    assert_eq!(
        flow.withdrawn,
        Count {
            at_least: 1,
            at_most: 4
        }
    );
}
