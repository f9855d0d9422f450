//! Crowds of simulated shots: what each way of guessing a standard deviation is worth.
//!
//! Players differ in ln CV by a standard deviation of 0.25 about ln 0.15 and hit 20 to 150 timed
//! shots in each of two sessions; shots are normal, or lognormal with shape 0.2 (skewness 0.61) for
//! mild right skew. A crowd of reporters is collected, and further players lack the standard
//! deviation. Figures of this kind stand in the module's description.

use super::{CrowdSpread, FOREHAND, PairReport, reports};
use crate::contribution::{Conditions, Contribution};
use crate::effects::tests::{contribution, session, timed, timed_line};
use crate::vocabulary::{Arm, VarianceSource};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

const REPORTERS: usize = 100;
const OTHERS: usize = 100;

/// Mean, standard deviation and maximum of one session in hundredths of 1 km/h, and its shots.
type Summary = (i64, i64, i64, i64);

#[expect(
    clippy::cast_possible_truncation,
    reason = "speeds of some hundred km/h"
)]
fn play(cv: f64, shape: f64, draw: &mut ChaCha8Rng) -> Summary {
    let n: i32 = draw.random_range(20..=150);
    let (centre, scale) = ((shape * shape / 2.0).exp(), {
        let square = shape * shape;
        ((square.exp() - 1.0) * square.exp()).sqrt()
    });
    let shots: Vec<f64> = (0..n)
        .map(|_| {
            let z: f64 = draw.sample(StandardNormal);
            // A lognormal number, standardised; without a shape a normal one.
            let standard = if 0.0 < shape {
                ((shape * z).exp() - centre) / scale
            } else {
                z
            };
            100.0 * (1.0 + cv * standard)
        })
        .collect();
    let mean = shots.iter().sum::<f64>() / f64::from(n);
    let squares: f64 = shots.iter().map(|shot| (shot - mean).powi(2)).sum();
    let largest = shots
        .iter()
        .copied()
        .fold(0.0, |a, b| if a < b { b } else { a });
    let hundredths = |value: f64| (value * 100.0).round() as i64;
    let sd = (squares / (f64::from(n) - 1.0)).sqrt();
    (
        hundredths(mean),
        hundredths(sd),
        hundredths(largest),
        i64::from(n),
    )
}

fn pair(sessions: &[Summary; 2], has_sd: bool, has_max: bool) -> Contribution {
    let arms = Arm::ALL.iter().zip(sessions);
    let sessions = arms.map(|(arm, (mean, sd, max, n))| {
        let speeds = timed(*mean, has_sd.then_some(*sd), has_max.then_some(*max), *n);
        session(
            *arm,
            Conditions::default(),
            vec![timed_line(FOREHAND, speeds)],
        )
    });
    contribution(sessions.collect())
}

/// Errors of ln SD.
#[derive(Default, Debug)]
struct Errors {
    sum: f64,
    squares: f64,
    n: f64,
}

impl Errors {
    fn add(&mut self, error: f64) {
        self.sum += error;
        self.squares += error * error;
        self.n += 1.0;
    }

    fn bias(&self) -> f64 {
        self.sum / self.n
    }

    fn rmse(&self) -> f64 {
        (self.squares / self.n).sqrt()
    }
}

#[derive(Default, Debug)]
struct Outcome {
    borrowed: Errors,
    maximum: Errors,
    combined: Errors,
    /// What the imputation says of its own error.
    claimed: Errors,
}

fn simulate(shape: f64, n_crowds: u64) -> Outcome {
    let mut outcome = Outcome::default();
    for number in 0..n_crowds {
        let mut draw = ChaCha8Rng::seed_from_u64(number);
        let mut players = (0..REPORTERS + OTHERS).map(|_| {
            let z: f64 = draw.sample(StandardNormal);
            let cv = 0.15 * (0.25 * z).exp();
            [play(cv, shape, &mut draw), play(cv, shape, &mut draw)]
        });
        let reporting: Vec<[Summary; 2]> = players.by_ref().take(REPORTERS).collect();
        let crowd = |has_max| {
            let pairs: Vec<Contribution> = reporting
                .iter()
                .map(|one| pair(one, true, has_max))
                .collect();
            CrowdSpread::of(pairs.iter().enumerate(), 5)
        };
        let (alone, both) = (crowd(false), crowd(true));
        for sessions in players {
            let (lacking, reported) = (pair(&sessions, false, true), pair(&sessions, true, true));
            // What would have been reported, and the maximum taken as it is.
            let report = PairReport::of(&reported);
            let [told] = reports::collect([(0, report)]).try_into().unwrap();
            let truth = reports::mean(told.lines().map(|line| line.log_cv)).unwrap();
            outcome.maximum.add(told.log_ratio().unwrap());
            let borrowed = alone.cv(&lacking, FOREHAND);
            outcome.borrowed.add(borrowed.value.ln() - truth);
            let combined = both.cv(&lacking, FOREHAND);
            assert_eq!(combined.source, VarianceSource::Combined);
            outcome.combined.add(combined.value.ln() - truth);
            outcome.claimed.add(combined.log_sd_error.unwrap());
        }
    }
    outcome
}

#[test]
fn for_normal_shots_the_two_together_are_better_than_either() {
    let outcome = simulate(0.0, 4);
    assert!(outcome.borrowed.bias().abs() < 0.04, "{outcome:?}");
    assert!(
        outcome.combined.rmse() < 0.9 * outcome.borrowed.rmse(),
        "{outcome:?}"
    );
    assert!(
        outcome.combined.rmse() < outcome.maximum.rmse(),
        "{outcome:?}"
    );
    let claimed = outcome.claimed.bias();
    assert!(
        (claimed / outcome.combined.rmse() - 1.0).abs() < 0.15,
        "{outcome:?}"
    );
}

#[test]
fn under_mild_right_skew_the_two_together_are_no_worse_than_the_cv() {
    let outcome = simulate(0.2, 4);
    assert!(outcome.borrowed.bias().abs() < 0.04, "{outcome:?}");
    // The maximum as it is: 12 to 38 % too large.
    assert!(0.1 < outcome.maximum.bias(), "{outcome:?}");
    assert!(outcome.combined.bias().abs() < 0.04, "{outcome:?}");
    assert!(
        outcome.combined.rmse() < outcome.borrowed.rmse(),
        "{outcome:?}"
    );
    assert!(
        outcome.combined.rmse() < outcome.maximum.rmse(),
        "{outcome:?}"
    );
}
