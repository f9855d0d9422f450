//! Repeated arms worked by hand.

use super::*;
use crate::contribution::Conditions;
use crate::contribution::{Rallies, ShotLine};
use crate::effects::tests::{FOREHAND, contribution, counted, session, timed};

fn with_speed(line: ShotLine, mean: i64, sd: Option<i64>) -> ShotLine {
    ShotLine {
        speed: Some(timed(mean, sd, None, line.hit)),
        ..line
    }
}

fn is_close(actual: f64, expected: f64) -> bool {
    (actual - expected).abs() <= 1e-12 * expected.abs()
}

#[test]
fn every_arm_with_two_sessions_is_listed_with_its_units() {
    let rallies = Conditions {
        rallies: Some(Rallies {
            played: 40,
            above_length: Some(10),
        }),
        ..Conditions::default()
    };
    let pair = contribution(vec![
        session(
            Arm::Looser,
            rallies,
            vec![with_speed(counted(50, 40, 10), 10_000, Some(900))],
        ),
        session(
            Arm::Tighter,
            rallies,
            vec![with_speed(counted(60, 60, 12), 9_800, Some(800))],
        ),
        session(
            Arm::Looser,
            rallies,
            vec![with_speed(counted(40, 30, 0), 10_200, None)],
        ),
    ]);
    let repeated = of_pair(&pair, &CrowdSpread::default());
    let outcomes: Vec<(Outcome, Arm)> = repeated.iter().map(|one| (one.outcome, one.arm)).collect();
    let expected = [
        Outcome::Speed,
        Outcome::DeepShare,
        Outcome::InShare,
        Outcome::LongRallyShare,
    ]
    .map(|outcome| (outcome, Arm::Looser));
    assert_eq!(outcomes, expected);
    let sessions = |place: usize| repeated[place].sessions.as_slice();

    // 9^2/50 reported; (0.2 * 102)^2/40 imputed.
    let [first, second] = sessions(0) else {
        panic!("{repeated:?}")
    };
    assert!(is_close(first.mean, 100.0) && is_close(first.variance, 1.62));
    assert!(is_close(second.mean, 102.0) && is_close(second.variance, 10.404));
    assert_eq!((first.n, second.n), (50, 40));
    assert_eq!(first.imputed_variance.to_bits(), 0.0_f64.to_bits());
    assert_eq!(second.imputed_variance.to_bits(), second.variance.to_bits());

    // Deep: 10 of 40 and 0 of 30, so one is added to each kind of both: 11/42 and 1/32.
    let [first, second] = sessions(1) else {
        panic!("{repeated:?}")
    };
    assert!(is_close(first.mean, 25.0) && second.mean.abs() <= 0.0);
    assert!(is_close(
        first.variance,
        1e4 * 11.0 * 31.0 / 42.0_f64.powi(3)
    ));
    assert!(is_close(second.variance, 1e4 * 31.0 / 32.0_f64.powi(3)));

    // In: 40 of 50 and 30 of 40; the full tighter session changes nothing here.
    let [first, second] = sessions(2) else {
        panic!("{repeated:?}")
    };
    assert!(is_close(first.variance, 1e4 * 0.16 / 50.0));
    assert!(is_close(second.variance, 1e4 * 0.1875 / 40.0));
    assert_eq!(repeated[2].class, FOREHAND);
    assert_eq!(repeated[3].class, ShotClass::ALL);
}

#[test]
fn one_session_is_no_repetition() {
    let one = |arm| session(arm, Conditions::default(), vec![counted(50, 40, 10)]);
    let silent = |arm| session(arm, Conditions::default(), Vec::new());
    let pair = contribution(vec![
        one(Arm::Looser),
        silent(Arm::Looser),
        one(Arm::Tighter),
        silent(Arm::Tighter),
    ]);
    assert_eq!(of_pair(&pair, &CrowdSpread::default()), Vec::new());
}
