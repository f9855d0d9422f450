//! Too little data, data that cannot be, and extremes.

use super::{Table, example, share};
use crate::pooling::gains::{Measurement, TrueEffects};
use crate::pooling::tests::{clustered, effects};
use crate::pooling::{Level, NumericError, Reason};
use ndarray::ArrayView1;

#[test]
fn too_little_data_is_told_with_the_reason() {
    let reason = |effects| TrueEffects::as_measured(&effects).spread().unwrap_err();
    assert_eq!(reason(effects(&[], &[])), Reason::NoEffects);
    assert_eq!(
        reason(effects(&[1.0], &[1.0])),
        Reason::FewerThanTenClusters
    );
    let y: Vec<f64> = (0..18).map(|idx| f64::from(idx * idx)).collect();
    let nine: Vec<usize> = (0..18).map(|idx| idx % 9).collect();
    assert_eq!(
        reason(clustered(&y, &[1.0; 18], &nine)),
        Reason::FewerThanTenClusters
    );
    assert_eq!(
        reason(effects(&[2.0; 12], &[1.0; 12])),
        Reason::NoHeterogeneity
    );
    // All differences are the replicates': nothing lasting is left to measure.
    let mut table = example();
    table.replicate.value = 100.0;
    assert_eq!(
        table.lasting().spread().unwrap_err(),
        Reason::NoHeterogeneity
    );
}

#[test]
fn a_best_guess_needs_the_replicate_variance() {
    let measured = TrueEffects::as_measured(&example().effects());
    let measurement = Measurement::new(1.0, 1.0, [1, 1]).unwrap();
    assert_eq!(
        measured
            .spread()
            .unwrap()
            .shrink(&measurement, Level::NINETY_FIVE),
        Err(Reason::NoReplicateVariance)
    );
}

#[test]
fn rows_that_cannot_be_are_refused_by_number() {
    let refused = |change: fn(&mut Table)| {
        let mut table = example();
        change(&mut table);
        let [first, second] = &table.counts;
        TrueEffects::without_replicate_part(
            ArrayView1::from(&table.estimates),
            ArrayView1::from(&table.variances),
            Some(ArrayView1::from(&table.clusters)),
            [ArrayView1::from(first), ArrayView1::from(second)],
            table.replicate,
        )
        .unwrap_err()
    };
    assert_eq!(
        refused(|t| t.counts[1][6] = 0),
        NumericError::CountIsZero { row: 7 }
    );
    assert_eq!(
        refused(|t| t.variances[3] = -1.0),
        NumericError::VarianceNotPositive { row: 4 }
    );
    assert_eq!(
        refused(|t| t.counts[0].truncate(3)),
        NumericError::LengthsDiffer {
            n_estimates: 24,
            n_others: 3,
            column: "counts"
        }
    );
    assert_eq!(
        Measurement::new(1.0, 1.0, [2, 0]),
        Err(NumericError::CountIsZero { row: 1 })
    );
    assert_eq!(
        Measurement::new(f64::NAN, 1.0, [1, 1]),
        Err(NumericError::EstimateNotFinite { row: 1 })
    );
    for variance in [0.0, -1.0] {
        let refused = Measurement::new(1.0, variance, [1, 1]);
        assert_eq!(refused, Err(NumericError::VarianceNotPositive { row: 1 }));
    }
}

#[test]
fn extremes_end_in_a_number_or_a_reason() {
    let lasting = example().lasting();
    let spread = lasting.spread().unwrap();
    for threshold in [f64::NAN, f64::INFINITY] {
        assert_eq!(
            spread.share_above(threshold, Level::NINETY_FIVE),
            Err(Reason::OutOfRange)
        );
    }
    // Beyond the arithmetic of the tail the share is 0 or 1.
    assert!(1.0 <= share(&spread, -1e100).estimate);
    for (far, variance) in [(1e12, 1e-12), (1.0, 1e12), (1e150, 1.0), (1e200, 1e-200)] {
        let mut table = example();
        for (idx, (y, v)) in table
            .estimates
            .iter_mut()
            .zip(&mut table.variances)
            .enumerate()
        {
            *y *= if idx == 5 { far } else { 1.0 };
            *v *= if idx % 2 == 0 { variance } else { 1.0 };
        }
        match table.lasting().spread() {
            Ok(spread) => {
                assert!(0.0 < spread.tau_squared && spread.tau_squared_se.is_finite());
                assert!(spread.mean.is_finite() && spread.mean_se.is_finite());
            }
            Err(reason) => {
                assert!([Reason::NoHeterogeneity, Reason::OutOfRange].contains(&reason));
            }
        }
    }
}
