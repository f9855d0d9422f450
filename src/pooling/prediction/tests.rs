//! Laws and edges of the prediction interval.

use super::{BootstrapPrediction, SampleQuantile, bootstrap_prediction};
use crate::pooling::tests::{assert_close, effects, sequence};
use crate::pooling::{Estimable, Level, Reason, pool};

fn predict(estimates: &[f64], variances: &[f64]) -> Estimable<BootstrapPrediction> {
    bootstrap_prediction(&effects(estimates, variances), Level::NINETY_FIVE, 400)
}

/// Ten effects on a grid on which shifts are exact.
fn example() -> (Vec<f64>, Vec<f64>) {
    let on_grid = |x: f64| (x * 1024.0).round() / 1024.0;
    (
        sequence(10, 0.3).mapv(|u| on_grid(6.0 * u - 3.0)).to_vec(),
        sequence(10, 0.7).mapv(|u| on_grid(0.25 + u)).to_vec(),
    )
}

#[test]
fn permutations_give_identical_bits() {
    let (estimates, variances) = example();
    let before = predict(&estimates, &variances).unwrap();
    for turn in 1..10 {
        let (mut y, mut v) = (estimates.clone(), variances.clone());
        y.rotate_left(turn);
        v.rotate_left(turn);
        assert_eq!(predict(&y, &v).unwrap(), before);
    }
}

#[test]
fn another_unit_or_origin_changes_no_digit() {
    let (estimates, variances) = example();
    let before = predict(&estimates, &variances).unwrap();
    for power in [-90, -3, 1, 80] {
        let scale = 2.0_f64.powi(power);
        let y: Vec<f64> = estimates.iter().map(|y| y * scale).collect();
        let v: Vec<f64> = variances.iter().map(|v| v * scale * scale).collect();
        let after = predict(&y, &v).unwrap();
        assert_close(after.interval.low, before.interval.low * scale, 0.0, 0.0);
        assert_close(after.interval.high, before.interval.high * scale, 0.0, 0.0);
    }
    let y: Vec<f64> = estimates.iter().map(|y| y + 64.0).collect();
    let moved = predict(&y, &variances).unwrap();
    assert_close(moved.interval.low, before.interval.low + 64.0, 1e-14, 0.0);
    assert_close(moved.interval.high, before.interval.high + 64.0, 1e-14, 0.0);
    assert_eq!(moved.tau_squared, before.tau_squared);
}

#[test]
fn too_little_and_equal_effects_have_their_reasons() {
    assert_eq!(predict(&[], &[]), Err(Reason::NoEffects));
    assert_eq!(predict(&[1.0], &[1.0]), Err(Reason::OneEffect));
    assert_eq!(
        predict(&[1.0, 2.0], &[1.0; 2]),
        Err(Reason::FewerThanThreeEffects)
    );
    assert_eq!(
        predict(&[1.0; 4], &[1.0; 4]),
        Err(Reason::ZeroStandardError)
    );
    let (estimates, variances) = example();
    let data = effects(&estimates, &variances);
    let few = |draws| bootstrap_prediction(&data, Level::NINETY_FIVE, draws);
    assert_eq!(few(0), Err(Reason::TooFewDraws));
    assert_eq!(few(38), Err(Reason::TooFewDraws));
    assert!(few(39).is_ok());
    let level = Level::new(0.9999).unwrap();
    assert_eq!(
        bootstrap_prediction(&data, level, 2_000),
        Err(Reason::TooFewDraws)
    );
}

#[test]
fn extremes_give_numbers() {
    let cases: [(&[f64], &[f64]); 6] = [
        (
            &[0.0, 1e-6, 1.0, -1e6, 1e6],
            &[1e-12, 3e-12, 1.0, 1e12, 1e12],
        ),
        (&[0.5, -4.0, 6.0, 1.0], &[1e-12, 4.0, 9.0, 2.0]),
        (&[1.0, 1.0, 1.0, 1.0 + 1e-9], &[1.0; 4]),
        (&[1e6, -1e6, 0.0], &[1e-12; 3]),
        (&[1e150, -1e150, 0.0], &[1e280, 1e290, 1e285]),
        (&[1e-150, -1e-150, 0.0], &[1e-290, 1e-300, 1e-280]),
    ];
    for (estimates, variances) in cases {
        let found = predict(estimates, variances).unwrap();
        let interval = found.interval;
        assert!(interval.low.is_finite() && interval.high.is_finite());
        assert!(interval.low < interval.high, "{interval:?}");
        assert!(0.0 <= found.tau_squared_median);
    }
    assert_eq!(
        predict(&[1e300, -1e300, 0.0], &[1e-300, 1.0, 1.0]),
        Err(Reason::OutOfRange)
    );
}

#[test]
fn certain_heterogeneity_is_predicted_as_widely_as_by_formula() {
    // With much more heterogeneity than sampling error and many effects, both intervals
    // approach mean +- z tau.
    let estimates = sequence(300, 0.1).mapv(|u| 100.0 * u).to_vec();
    let variances = vec![0.01; 300];
    let found =
        bootstrap_prediction(&effects(&estimates, &variances), Level::NINETY_FIVE, 4_000).unwrap();
    let by_formula = pool(&effects(&estimates, &variances), Level::NINETY_FIVE)
        .reml
        .unwrap()
        .prediction
        .unwrap();
    let width = by_formula.high - by_formula.low;
    assert_close(found.interval.high - found.interval.low, width, 0.05, 0.0);
    assert_close(found.interval.low, by_formula.low, 0.0, 0.04 * width);
}

#[test]
fn sample_quantiles_lie_between_the_ordered_values() {
    let sorted = [1.0, 2.0, 4.0, 8.0, 16.0];
    let ends = |tail| {
        let quantile = SampleQuantile::new(tail, 5).unwrap();
        (
            quantile.lower(&sorted).unwrap(),
            quantile.upper(&sorted).unwrap(),
        )
    };
    // A quarter of six places is the middle of the first and the second.
    assert_eq!(ends(0.25), (1.5, 12.0));
    assert_close(ends(1.0 / 6.0 + 1e-12).0, 1.0, 1e-11, 0.0);
    assert_eq!(
        SampleQuantile::new(0.1, 5).unwrap_err(),
        Reason::TooFewDraws
    );
}
