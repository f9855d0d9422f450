//! Laws of the comparison, and the edges.

use ndarray::{ArrayView1, arr1};

use super::{Subgroups, compare};
use crate::pooling::tests::{assert_close, example};
use crate::pooling::{Level, NumericError, Reason};

fn compared(estimates: &[f64], variances: &[f64], labels: &[usize]) -> Subgroups {
    compare(
        ArrayView1::from(estimates),
        ArrayView1::from(variances),
        None,
        ArrayView1::from(labels),
        Level::NINETY_FIVE,
    )
    .unwrap()
}

#[test]
fn too_little_data_has_a_reason() {
    let none = compared(&[], &[], &[]);
    assert_eq!(
        (none.subgroups.len(), none.between),
        (0, Err(Reason::NoEffects))
    );
    assert_eq!(none.common, Err(Reason::NoEffects));
    let one = compared(&[1.0, 2.0], &[1.0, 1.0], &[7, 7]);
    assert_eq!(one.between, Err(Reason::OneSubgroup));
    assert_eq!(one.common, Err(Reason::OneSubgroup));
    let singles = compared(&[1.0, 2.0], &[1.0, 1.0], &[7, 8]);
    assert_eq!(singles.between, Err(Reason::OneEffect));
    assert_eq!(singles.common, Err(Reason::OneEffect));
    assert_eq!(singles.subgroups[0].mean, Err(Reason::OneEffect));
    // A subgroup of one takes the spread from the others when it is in common.
    let mixed = compared(&[1.0, 2.0, 5.0], &[1.0, 1.0, 2.0], &[7, 8, 8]);
    assert_eq!(mixed.between, Err(Reason::OneEffect));
    let common = mixed.common.unwrap();
    assert_close(common.df, 1.0, 0.0, 0.0);
    // ((2 - 5)^2 - 1 - 2) / 2 from the pair alone, as for any two effects.
    assert_close(common.tau_squared, 3.0, 1e-14, 0.0);
    assert_close(common.means[0].estimate, 1.0, 0.0, 0.0);
}

#[test]
fn columns_must_be_parallel() {
    let (y, v) = (arr1(&[1.0, 2.0]), arr1(&[1.0, 1.0]));
    let error = compare(
        y.view(),
        v.view(),
        None,
        arr1(&[1]).view(),
        Level::NINETY_FIVE,
    );
    assert_eq!(
        error.unwrap_err(),
        NumericError::LengthsDiffer {
            n_estimates: 2,
            n_others: 1,
            column: "groups",
        }
    );
}

#[test]
fn dependent_effects_are_not_tested_as_independent() {
    let (estimates, variances, clusters) = example();
    let labels: Vec<usize> = (0..12).map(|n| n % 2).collect();
    let found = compare(
        arr1(&estimates).view(),
        arr1(&variances).view(),
        Some(arr1(&clusters).view()),
        arr1(&labels).view(),
        Level::NINETY_FIVE,
    )
    .unwrap();
    assert_eq!(found.between, Err(Reason::DependentEffects));
    let common = found.common.unwrap();
    assert_eq!(common.between, Err(Reason::DependentEffects));
    assert_eq!(common.between_safe, Err(Reason::DependentEffects));
    // No cluster has two effects in one of these subgroups, though some span both.
    assert!(found.subgroups.iter().any(|subgroup| !subgroup.has_repeats));
}

#[test]
fn two_pairs_in_closed_form() {
    // Means 1 and 4 with tau_squared 1: (distance^2 - 2 v) / 2 = ((2 sqrt 2)^2 - 6) / 2.
    let half = 2.0_f64.sqrt();
    let estimates = [1.0 - half, 1.0 + half, 4.0 - half, 4.0 + half];
    let found = compared(&estimates, &[3.0; 4], &[2, 2, 1, 1]);
    assert_eq!(
        found.subgroups.iter().map(|s| s.label).collect::<Vec<_>>(),
        [1, 2]
    );
    let common = found.common.unwrap();
    assert_close(common.tau_squared, 1.0, 1e-14, 0.0);
    assert_close(common.means[0].estimate, 4.0, 1e-15, 0.0);
    assert_close(common.means[0].se, 2.0_f64.sqrt(), 1e-14, 0.0);
    // (4 - 1)^2 over the sum of both variances, 2 + 2.
    for test in [found.between.unwrap(), common.between.unwrap()] {
        assert_close(test.value, 2.25, 1e-14, 0.0);
        assert_close(test.df, 1.0, 0.0, 0.0);
    }
}

#[test]
fn identical_effects_have_no_spread_and_equal_means_no_distance() {
    let found = compared(
        &[0.3; 6],
        &[1.0, 2.0, 0.5, 1.0, 4.0, 9.0],
        &[1, 1, 1, 2, 2, 2],
    );
    let common = found.common.unwrap();
    assert_close(common.tau_squared, 0.0, 0.0, 0.0);
    assert_close(common.residual_scale, 0.0, 0.0, 0.0);
    assert_close(common.between.unwrap().value, 0.0, 0.0, 0.0);
    assert_close(common.between.unwrap().p, 1.0, 0.0, 0.0);
    assert_close(found.between.unwrap().value, 0.0, 0.0, 0.0);
}

#[test]
fn permutations_powers_of_two_and_offsets_change_no_bit() {
    let (estimates, variances, _) = example();
    let labels: Vec<usize> = (0..12).map(|n| n % 3).collect();
    let found = compared(&estimates, &variances, &labels);
    let turned = |column: &[f64]| column.iter().rev().copied().collect::<Vec<f64>>();
    let backwards: Vec<usize> = labels.iter().rev().copied().collect();
    let permuted = compared(&turned(&estimates), &turned(&variances), &backwards);
    assert_eq!(permuted, found);
    let scaled = compared(
        &estimates.iter().map(|y| y * 64.0).collect::<Vec<f64>>(),
        &variances.iter().map(|v| v * 4096.0).collect::<Vec<f64>>(),
        &labels,
    );
    assert_eq!(scaled.between, found.between);
    let (a, b) = (found.common.unwrap(), scaled.common.unwrap());
    assert_eq!((a.between, a.between_safe), (b.between, b.between_safe));
    assert_close(b.tau_squared, a.tau_squared * 4096.0, 0.0, 0.0);
    let far = compared(
        &estimates
            .iter()
            .map(|y| y + 1048576.0)
            .collect::<Vec<f64>>(),
        &variances,
        &labels,
    );
    assert_eq!(far.between, found.between);
    assert_eq!(far.common.unwrap().between, a.between);
}

#[test]
fn extremes_have_figures_or_reasons_and_never_nan() {
    let labels = [1, 1, 2, 2, 3, 3];
    let cases = [
        (
            [0.0, 1e6, -1e6, 5.0, 5.0, 5.0],
            [1e-12, 1e12, 1e12, 1e-12, 1.0, 1.0],
        ),
        (
            [1e300, -1e300, 0.0, 1.0, 2.0, 3.0],
            [1e-300, 1.0, 1.0, 1.0, 1.0, 1e300],
        ),
        (
            [0.0, 1.0, 0.0, 1.0, 0.0, 1e150],
            [1e-150, 1e-150, 1.0, 1.0, 1.0, 1.0],
        ),
    ];
    for (estimates, variances) in cases {
        let found = compared(&estimates, &variances, &labels);
        if let Ok(test) = found.between {
            assert!(test.value.is_finite() && test.p.is_finite());
        }
        if let Ok(common) = found.common {
            assert!(common.tau_squared.is_finite() && common.residual_scale.is_finite());
            for mean in common.means {
                assert!(mean.estimate.is_finite() && mean.se.is_finite());
            }
        }
    }
}
