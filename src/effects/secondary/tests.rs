//! Secondary outcomes worked by hand.

use super::*;
use crate::contribution::{Conditions, Contribution, PartnerSpeed, Rallies, ShotLine};
use crate::effects::tests::{contribution, effects_of, line, session, speed};
use crate::effects::{Effect, LeftOutReason};
use crate::vocabulary::{Arm, Outcome, VarianceSource};
use Direction::{All, Crosscourt, DownTheLine, Middle};
use Stroke::{Backhand, Forehand, Serve};

/// One session an arm.
fn pair(looser: (Conditions, Vec<ShotLine>), tighter: (Conditions, Vec<ShotLine>)) -> Contribution {
    contribution(vec![
        session(Arm::Looser, looser.0, looser.1),
        session(Arm::Tighter, tighter.0, tighter.1),
    ])
}

fn found(pair: &Contribution, outcome: Outcome, class: ShotClass) -> Result<Effect, LeftOutReason> {
    let effects = effects_of(pair, 20);
    let is_it = |of: Outcome, in_class: ShotClass| (of, in_class) == (outcome, class);
    if let Some(left) = effects
        .secondary_left_out
        .iter()
        .find(|left| is_it(left.outcome, left.class))
    {
        return Err(left.reason);
    }
    let effect = effects
        .secondary
        .iter()
        .find(|effect| is_it(effect.outcome, effect.class));
    Ok(*effect.unwrap())
}

fn assert_effect(effect: Effect, estimate: f64, variance: f64, source: VarianceSource) {
    let is_close =
        |actual: f64, expected: f64| (actual - expected).abs() <= 1e-12 * (1.0 + expected.abs());
    assert!(
        is_close(effect.estimate, estimate),
        "{effect:?}, not {estimate}"
    );
    assert!(
        is_close(effect.variance, variance),
        "{effect:?}, not {variance}"
    );
    assert_eq!(effect.source, source);
    assert_eq!(effect.imputed_variance.to_bits(), 0.0_f64.to_bits());
}

fn with_spin(spin: Spin) -> Conditions {
    Conditions {
        spin: Some(spin),
        ..Conditions::default()
    }
}

fn counts(topspin: i64, flat: i64, slice: i64) -> Conditions {
    with_spin(Spin::Counts {
        topspin,
        flat,
        slice,
    })
}

fn percents(topspin: i64, flat: i64) -> Conditions {
    let percent = |whole: i64| Hundredths::from_count(whole * 100);
    with_spin(Spin::Percents {
        topspin: percent(topspin),
        flat: percent(flat),
    })
}

#[test]
fn spin_as_counts_is_taken_of_the_three_together() {
    let shots = || vec![line(Forehand, All, 90)];
    // 60 of 100 against 40 of 80: 10 points; 60*40/100^3 + 40*40/80^3.
    let pair = pair((counts(60, 30, 10), shots()), (counts(40, 32, 8), shots()));
    assert_effect(
        found(&pair, Outcome::TopspinShare, ShotClass::ALL).unwrap(),
        10.0,
        1e4 * (0.24 / 100.0 + 0.25 / 80.0),
        VarianceSource::Counts,
    );
    // 30 of 100 against 32 of 80.
    assert_effect(
        found(&pair, Outcome::FlatShare, ShotClass::ALL).unwrap(),
        -10.0,
        1e4 * (0.21 / 100.0 + 0.24 / 80.0),
        VarianceSource::Counts,
    );
}

#[test]
fn spin_as_percent_is_taken_of_the_sessions_shots() {
    // All strokes in all directions: 60 % of 50 is 30. Strokes summed, one by its three
    // directions: 20 + (10 + 6 + 4) = 40, of which 50 % is 20.
    let looser = vec![line(Stroke::All, All, 50), line(Forehand, All, 44)];
    let tighter = vec![
        line(Forehand, All, 20),
        line(Forehand, Crosscourt, 12),
        line(Backhand, Crosscourt, 10),
        line(Backhand, DownTheLine, 6),
        line(Backhand, Middle, 4),
    ];
    let both = pair(
        (percents(60, 30), looser.clone()),
        (percents(50, 25), tighter.clone()),
    );
    assert_effect(
        found(&both, Outcome::TopspinShare, ShotClass::ALL).unwrap(),
        10.0,
        1e4 * (0.24 / 50.0 + 0.25 / 40.0),
        VarianceSource::Counts,
    );
    // 31 % of 50 is 15.5, and neither 15 nor 16 makes it: 15, marked.
    let nearest = pair(
        (percents(31, 30), looser.clone()),
        (percents(50, 25), tighter),
    );
    assert_effect(
        found(&nearest, Outcome::TopspinShare, ShotClass::ALL).unwrap(),
        30.0 - 50.0,
        1e4 * (0.21 / 50.0 + 0.25 / 40.0),
        VarianceSource::NearestCounts,
    );
    // A stroke with two of its directions leaves its shots open.
    let open = vec![line(Forehand, Crosscourt, 30), line(Forehand, Middle, 30)];
    let open = pair((percents(60, 30), looser), (percents(50, 25), open));
    let left_out = found(&open, Outcome::TopspinShare, ShotClass::ALL);
    assert_eq!(left_out, Err(LeftOutReason::NotGiven));
}

#[test]
fn an_empty_share_is_adjusted_and_no_spin_at_all_counts_nothing() {
    let shots = || vec![line(Forehand, All, 90)];
    // 0 of 40 against 10 of 40 flat: (1/42)(41/42)/42 + (11/42)(31/42)/42.
    let empty = pair((counts(40, 0, 0), shots()), (counts(30, 10, 0), shots()));
    let variance = 1e4 * (41.0 + 11.0 * 31.0) / 42.0_f64.powi(3);
    assert_effect(
        found(&empty, Outcome::FlatShare, ShotClass::ALL).unwrap(),
        -25.0,
        variance,
        VarianceSource::AdjustedCounts,
    );
    let nothing = pair((counts(0, 0, 0), shots()), (counts(30, 10, 0), shots()));
    let left_out = found(&nothing, Outcome::FlatShare, ShotClass::ALL);
    assert_eq!(left_out, Err(LeftOutReason::NothingCounted));
    let few = pair((counts(10, 5, 4), shots()), (counts(30, 10, 0), shots()));
    let left_out = found(&few, Outcome::FlatShare, ShotClass::ALL);
    assert_eq!(left_out, Err(LeftOutReason::TooFewShots));
}

#[test]
fn crosscourt_shots_are_counted_once() {
    let of = |looser: Vec<ShotLine>, tighter: Vec<ShotLine>, stroke| {
        let none = Conditions::default();
        found(
            &pair((none, looser), (none, tighter)),
            Outcome::CrosscourtShare,
            ShotClass::of(stroke),
        )
    };
    let by_direction = vec![
        line(Forehand, Crosscourt, 20),
        line(Forehand, DownTheLine, 12),
        line(Forehand, Middle, 8),
    ];
    // 30 of the line of all 50, the 15 down the line in it; 20 of 20 + 12 + 8.
    let by_all = vec![
        line(Forehand, All, 50),
        line(Forehand, Crosscourt, 30),
        line(Forehand, DownTheLine, 15),
    ];
    assert_effect(
        of(by_all.clone(), by_direction.clone(), Forehand).unwrap(),
        10.0,
        1e4 * (0.24 / 50.0 + 0.25 / 40.0),
        VarianceSource::Counts,
    );
    // 20 + 12 + 8 are more than 39, and two directions of three are not all.
    let mut contradicting = by_direction.clone();
    contradicting.push(line(Forehand, All, 39));
    let open = by_direction[..2].to_vec();
    for silent in [contradicting, open, vec![line(Forehand, All, 50)]] {
        let left_out = of(by_all.clone(), silent, Forehand);
        assert_eq!(left_out, Err(LeftOutReason::NotGiven));
    }
    // A stroke that one arm has no line of is not spoken of.
    let effects = effects_of(
        &pair(
            (Conditions::default(), vec![line(Serve, All, 30)]),
            (Conditions::default(), by_direction),
        ),
        20,
    );
    let mut outcomes = effects.secondary_left_out.iter().map(|left| left.outcome);
    assert!(effects.secondary.is_empty());
    assert!(outcomes.all(|outcome| outcome != Outcome::CrosscourtShare));
}

#[test]
fn long_rallies_are_taken_of_the_rallies_played() {
    let rallies = |above_length, played| Conditions {
        rallies: Some(Rallies {
            played,
            above_length,
        }),
        ..Conditions::default()
    };
    let shots = |hit| vec![line(Forehand, All, hit)];
    // 12 of 30 against 6 of 20; fewer rallies than the 20 shots asked would do.
    let both = pair(
        (rallies(Some(12), 30), shots(90)),
        (rallies(Some(6), 20), shots(80)),
    );
    assert_effect(
        found(&both, Outcome::LongRallyShare, ShotClass::ALL).unwrap(),
        10.0,
        1e4 * (0.24 / 30.0 + 0.21 / 20.0),
        VarianceSource::Counts,
    );
    let broken_off = pair(
        (rallies(Some(3), 5), shots(19)),
        (rallies(Some(6), 20), shots(80)),
    );
    let left_out = found(&broken_off, Outcome::LongRallyShare, ShotClass::ALL);
    assert_eq!(left_out, Err(LeftOutReason::TooFewShots));
    let untold = pair(
        (rallies(None, 30), shots(90)),
        (rallies(Some(6), 20), shots(80)),
    );
    let left_out = found(&untold, Outcome::LongRallyShare, ShotClass::ALL);
    assert_eq!(left_out, Err(LeftOutReason::NotGiven));
}

#[test]
fn a_partners_spread_is_never_imputed() {
    let partner = |mean, sd: Option<i64>, n| Conditions {
        partner: Some(PartnerSpeed {
            mean: speed(mean),
            sd: sd.map(speed),
            n,
        }),
        ..Conditions::default()
    };
    let shots = || vec![line(Forehand, All, 90)];
    let of = |looser, tighter| {
        found(
            &pair((looser, shots()), (tighter, shots())),
            Outcome::PartnerSpeed,
            ShotClass::ALL,
        )
    };
    // 92.5 - 90; 10^2/50 + 8^2/40.
    let (known, other) = (
        partner(9_250, Some(1_000), Some(50)),
        partner(9_000, Some(800), Some(40)),
    );
    assert_effect(
        of(known, other).unwrap(),
        2.5,
        3.6,
        VarianceSource::Reported,
    );
    for lacking in [
        partner(9_000, None, Some(40)),
        partner(9_000, Some(800), None),
        Conditions::default(),
    ] {
        assert_eq!(of(known, lacking), Err(LeftOutReason::NotGiven));
    }
    assert_eq!(
        of(known, partner(9_000, Some(800), Some(1))),
        Err(LeftOutReason::NothingCounted)
    );
}
