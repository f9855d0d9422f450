use super::*;
use crate::findings::{Choice, Circumstances, Row, SessionSpread};
use crate::pooling::Level;
use crate::protocol::{AnalysisRules, GapBands, StudyLabel};
use crate::units::{Hundredths, TensionUnit};
use crate::vocabulary::{Outcome, Stroke, VarianceSource};

pub(super) const FOREHAND: ShotClass = ShotClass::of(Stroke::Forehand);

pub(super) fn about(outcome: Outcome) -> PrimaryOutcome {
    PrimaryOutcome {
        outcome,
        class: FOREHAND,
        smallest_worthwhile: Some(Hundredths::from_count(100)),
    }
}

/// Speed rows of so many players, one each, 3 km/h above and below 1 in turn, variance 1.
pub(in crate::findings) fn rows(n: usize) -> Vec<Row> {
    let row = |idx: usize| Row {
        group: u32::try_from(idx).unwrap() + 1,
        pair: 1,
        band: GapBand::Numbered(0),
        gap_lb: 6,
        outcome: Outcome::Speed,
        class: FOREHAND,
        estimate: if idx.is_multiple_of(2) { 4.0 } else { -2.0 },
        variance: 1.0,
        imputed_variance: 0.0,
        source: VarianceSource::Reported,
        circumstances: Circumstances::default(),
    };
    (0..n).map(row).collect()
}

pub(super) fn publication(rows: Vec<Row>, spread: Option<f64>) -> Publication {
    let edges = [500, 800].map(Hundredths::from_count).to_vec();
    Publication {
        study: StudyLabel {
            slug: "s".to_owned(),
            question: "Q?".to_owned(),
            invented: false,
        },
        batch: Some(BatchLabel {
            number: 1,
            date: "2026-01-02".to_owned(),
        }),
        protocol_version: 1,
        rules: AnalysisRules {
            bands: GapBands::new(TensionUnit::Pound, edges).unwrap(),
            primary: vec![about(Outcome::Speed), about(Outcome::DeepShare)],
            minimum_players: 5,
        },
        level: Level::NINETY_FIVE,
        rows: rows.into_iter().collect(),
        frames: Vec::new(),
        pairs_left_out: 0,
        first_versions: Vec::new(),
        reached: Vec::new(),
        session_spreads: spread
            .map(|variance| SessionSpread {
                outcome: Outcome::Speed,
                class: FOREHAND,
                variance,
                se: 0.0,
                players_at_least: 10,
            })
            .into_iter()
            .collect(),
        count_models: Vec::new(),
        plans: None,
    }
}

pub(super) fn effect(outcome: Outcome, estimate: f64, variance: f64) -> Effect {
    Effect {
        outcome,
        class: FOREHAND,
        estimate,
        variance,
        imputed_variance: 0.0,
        log_sd_error: None,
        source: VarianceSource::Reported,
    }
}

pub(super) fn pair(effects: Vec<Effect>, gap_lb: i64, publication: &Publication) -> PairEffects {
    let gap = Tension::new(Hundredths::from_count(gap_lb * 100), TensionUnit::Pound);
    PairEffects {
        gap,
        band: publication.rules.bands.band_of(gap),
        effects,
        left_out: Vec::new(),
        secondary: Vec::new(),
        secondary_left_out: Vec::new(),
    }
}

pub(super) fn played(sessions: (u8, u8)) -> Played {
    Played {
        sessions,
        planned: false,
        balanced: Some(false),
        fastest: Vec::new(),
    }
}

pub(super) fn answer(pair: &PairEffects, played: Played, publication: &Publication) -> OwnAnswer {
    let findings = publication.analyse(Choice::default()).unwrap();
    own(pair, played, publication, &findings).unwrap()
}

/// The answer to one speed, beside ten players with a session-to-session variance of 1.
pub(super) fn speed(estimate: f64, variance: f64) -> OwnEffect {
    let publication = publication(rows(10), Some(1.0));
    let pair = pair(
        vec![effect(Outcome::Speed, estimate, variance)],
        6,
        &publication,
    );
    let answer = answer(&pair, played((1, 1)), &publication);
    answer.primary[0].found.clone().unwrap()
}

fn close(actual: f64, expected: f64) {
    assert!((actual - expected).abs() < 1e-4, "{actual} {expected}");
}

#[test]
fn a_best_guess_is_the_one_worked_out_by_hand() {
    // Ten players, half at 4 and half at -2 km/h, each with variance 1 and one session for each
    // string bed; session-to-session variance 1. All total variances are equal, so the restricted
    // likelihood has its maximum where they equal the sample variance, 90 / 9 = 10: with
    // 1 + 1 (1/1 + 1/1) = 3 of each pair's own, tau_p2 = 7. The mean is 1.
    // Own difference 5 with variance 2: its own part is 2 + 2 = 4, B = 7 / (7 + 4), and the guess
    // 1 + B (5 - 1) = 3.545455.
    // Squared error: B 4 = 2.545455; of the mean (1 - B)^2 10 / 10 = 0.132231; of the variances
    // 2 (4/11)^2 Var(tau2) / 11 with Var(tau2) = 2 / tr PP = 2 / (9 / 100) = 22.2222: 0.534269.
    // The root of their sum is 1.792192, and 1.959964 times that 3.512632.
    let guess = speed(5.0, 2.0).best_guess.unwrap();
    close(guess.weight, 7.0 / 11.0);
    close(guess.estimate, 3.545_455);
    close(guess.interval.low, 3.545_455 - 3.512_632);
    close(guess.interval.high, 3.545_455 + 3.512_632);
}

#[test]
fn a_best_guess_needs_a_published_session_spread_and_a_published_pool() {
    let guess = |publication: &Publication, gap| {
        let pair = pair(vec![effect(Outcome::Speed, 5.0, 2.0)], gap, publication);
        let answer = answer(&pair, played((1, 1)), publication);
        let own = answer.primary[0].found.clone().unwrap();
        (own.pool.map(|pool| pool.players), own.best_guess)
    };
    let with = publication(rows(10), Some(1.0));
    assert!(guess(&with, 6).1.is_ok());
    let without = publication(rows(10), None);
    assert_eq!(
        guess(&without, 6),
        (Ok(10), Err(Reason::NoReplicateVariance))
    );
    let few = publication(rows(4), Some(1.0));
    let refused = Err(Reason::FewerClustersThanAsked);
    assert_eq!(guess(&few, 6), (Err(NoPool::TooFewPlayers), refused));
    // Nobody else has such a gap, be it of another band or under the protocol.
    for gap in [9, 3] {
        assert_eq!(guess(&with, gap), (Err(NoPool::TooFewPlayers), refused));
    }
    let mut unpublished = publication(Vec::new(), None);
    unpublished.batch = None;
    assert_eq!(guess(&unpublished, 6), (Err(NoPool::NoBatch), refused));
    let some = publication(rows(9), Some(1.0));
    assert_eq!(guess(&some, 6).1, Err(Reason::FewerThanTenClusters));
}

#[test]
fn a_best_guess_and_the_pool_beside_it_rest_on_the_same_pairs() {
    let mut mixed = rows(30);
    for row in mixed.iter_mut().take(12) {
        row.circumstances.planned = Some(true);
        row.estimate += 1.0;
    }
    let planned = publication(mixed[..12].to_vec(), Some(1.0));
    let all = publication(mixed, Some(1.0));
    let of = |publication: &Publication| {
        let pair = pair(vec![effect(Outcome::Speed, 5.0, 2.0)], 6, publication);
        let answer = answer(&pair, played((1, 1)), publication);
        let own = answer.primary[0].found.clone().unwrap();
        (own.pool.unwrap(), own.best_guess.unwrap())
    };
    assert_eq!(of(&all).0.basis, Basis::Planned);
    assert_eq!(of(&all).0.players, 12);
    assert_eq!(of(&all).1, of(&planned).1);
}

#[test]
fn primary_outcomes_come_first_and_say_why_they_are_missing() {
    let publication = publication(rows(10), None);
    let backhand = Effect {
        class: ShotClass::of(Stroke::Backhand),
        ..effect(Outcome::Speed, 9.0, 4.0)
    };
    let mut pair = pair(
        vec![effect(Outcome::Speed, 2.0, 1.0), backhand],
        6,
        &publication,
    );
    pair.secondary = vec![effect(Outcome::TopspinShare, 2.0, 1.0)];
    let left = |outcome, class, reason| LeftOut {
        outcome,
        class,
        reason,
    };
    let few = LeftOutReason::TooFewShots;
    pair.left_out = vec![
        left(Outcome::DeepShare, FOREHAND, few),
        left(Outcome::DeepShare, backhand.class, few),
    ];
    pair.secondary_left_out = vec![
        left(Outcome::FlatShare, ShotClass::ALL, LeftOutReason::NotGiven),
        left(Outcome::LongRallyShare, ShotClass::ALL, few),
    ];
    let answer = answer(&pair, played((1, 1)), &publication);
    let estimates: Vec<f64> = answer.all().map(|own| own.effect.estimate).collect();
    assert_eq!(estimates, [2.0, 9.0, 2.0]);
    assert_eq!(answer.primary[1].found.as_ref().err(), Some(&few));
    let told: Vec<Outcome> = answer.left_out.iter().map(|left| left.outcome).collect();
    assert_eq!(told, [Outcome::DeepShare, Outcome::LongRallyShare]);

    pair.left_out.clear();
    let silent = own(
        &pair,
        played((1, 1)),
        &publication,
        &publication.analyse(Choice::default()).unwrap(),
    );
    let silent = silent.unwrap().primary[1].found.clone();
    assert_eq!(silent.err(), Some(LeftOutReason::NotGiven));
}

#[test]
fn a_difference_lies_inside_within_reach_or_outside() {
    let range = |low, high| Interval { low, high };
    let prediction = range(-3.0, 5.0);
    assert_eq!(place(5.0, range(4.0, 6.0), prediction), Place::Inside);
    assert_eq!(place(5.1, range(4.0, 6.2), prediction), Place::WithinReach);
    assert_eq!(place(-9.0, range(-13.0, -5.0), prediction), Place::Outside);
}

#[test]
fn a_range_reaches_as_far_as_its_variances_say() {
    let surer = speed(5.0, 4.0).surer;
    let z = 1.959_964;
    close(surer.shots.now, z * 2.0);
    close(surer.shots.twice_the_shots, z * 2.0_f64.sqrt());
    close(surer.shots.four_sessions.unwrap(), z * 2.0_f64.sqrt());
    // With a session-to-session variance of 1: 4 + 2, 2 + 2 and 2 + 1.
    let days = surer.with_days.unwrap();
    close(days.now, z * 6.0_f64.sqrt());
    close(days.twice_the_shots, z * 2.0);
    close(days.four_sessions.unwrap(), z * 3.0_f64.sqrt());
    // Of several sessions the variance does not tell which brought what.
    let publication = publication(rows(10), Some(1.0));
    let pair = pair(vec![effect(Outcome::Speed, 5.0, 4.0)], 6, &publication);
    let answer = answer(&pair, played((2, 2)), &publication);
    let surer = answer.primary[0].found.as_ref().unwrap().surer;
    assert_eq!(surer.shots.four_sessions, None);
    close(surer.with_days.unwrap().now, z * 5.0_f64.sqrt());
}

#[test]
fn a_difference_too_large_to_compute_with_is_an_error() {
    let publication = publication(rows(10), None);
    let findings = publication.analyse(Choice::default()).unwrap();
    let pair = pair(vec![effect(Outcome::Speed, f64::NAN, 1.0)], 6, &publication);
    let answer = own(&pair, played((1, 1)), &publication, &findings);
    assert_eq!(answer.err(), Some(Reason::OutOfRange));
}
