//! Laws of the regressions on the standard error, and the edges.

use super::{Asymmetry, small_study_effects};
use crate::pooling::tests::{assert_close, clustered, effects, example, sequence};
use crate::pooling::{Effects, Level, Reason};

fn both(effects: &Effects) -> [crate::pooling::Estimable<Asymmetry>; 2] {
    let found = small_study_effects(effects, Level::NINETY_FIVE);
    [found.egger, found.random_effects]
}

#[test]
fn too_little_and_equal_precision_have_a_reason() {
    let (estimates, variances, clusters) = example();
    for k in [1, 2, 9] {
        for found in both(&effects(&estimates[..k], &variances[..k])) {
            assert_eq!(found, Err(Reason::FewerThanTenClusters));
        }
    }
    for found in both(&effects(&[], &[])) {
        assert_eq!(found, Err(Reason::NoEffects));
    }
    // Twelve effects, but nine clusters.
    for found in both(&clustered(&estimates, &variances, &clusters)) {
        assert_eq!(found, Err(Reason::FewerThanTenClusters));
    }
    for found in both(&effects(&estimates, &[0.3; 12])) {
        assert_eq!(found, Err(Reason::EqualVariances));
    }
}

#[test]
fn effects_made_of_their_standard_errors_are_seen_through() {
    // y = 3 + 2 se, with standard errors that are exact.
    let errors = [0.5, 0.75, 1.0, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5, 3.0];
    let all = effects(&errors.map(|se| 3.0 + 2.0 * se), &errors.map(|se| se * se));
    for found in both(&all) {
        let found = found.unwrap();
        assert_close(found.tau_squared, 0.0, 0.0, 0.0);
        assert_close(found.slope.estimate, 2.0, 1e-13, 0.0);
        assert_close(found.at_zero.estimate, 3.0, 1e-13, 0.0);
    }
}

#[test]
fn permutations_and_powers_of_two_change_no_bit() {
    let (estimates, variances, _) = example();
    let turned = |column: &[f64]| column.iter().rev().copied().collect::<Vec<f64>>();
    let original = effects(&estimates, &variances);
    let permuted = effects(&turned(&estimates), &turned(&variances));
    assert_eq!(both(&original), both(&permuted));
    let scale = 2.0_f64.powi(20);
    let scaled = effects(
        &estimates.iter().map(|y| y * scale).collect::<Vec<f64>>(),
        &variances
            .iter()
            .map(|v| v * scale * scale)
            .collect::<Vec<f64>>(),
    );
    for (a, b) in both(&original).into_iter().zip(both(&scaled)) {
        let (a, b) = (a.unwrap(), b.unwrap());
        assert_eq!(a.slope, b.slope);
        assert_close(b.at_zero.estimate, a.at_zero.estimate * scale, 0.0, 0.0);
    }
}

#[test]
fn variances_over_twenty_four_orders_of_magnitude_have_figures_or_reasons() {
    let estimates = sequence(12, 0.3).to_vec();
    let variances: Vec<f64> = (0..12).map(|n| 10_f64.powi(2 * n - 12)).collect();
    for asymmetry in both(&effects(&estimates, &variances)).into_iter().flatten() {
        assert!(asymmetry.slope.estimate.is_finite() && asymmetry.slope.se.is_finite());
    }
}
