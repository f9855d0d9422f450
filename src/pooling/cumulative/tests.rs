//! Laws of accumulation, and the edges.

use ndarray::arr1;

use super::{MOST_STEPS, cumulate};
use crate::pooling::tests::{assert_close, example, sequence};
use crate::pooling::{Level, NumericError, Reason, pool};

#[test]
fn nothing_and_one_effect_have_a_reason() {
    let (none, no_labels) = (arr1(&[]), arr1(&[]));
    let found = cumulate(
        none.view(),
        none.view(),
        None,
        no_labels.view(),
        Level::NINETY_FIVE,
    );
    let found = found.unwrap();
    assert_eq!((found.n_batches, found.steps.len()), (0, 0));
    let found = cumulate(
        arr1(&[1.0, 2.0]).view(),
        arr1(&[1.0, 1.0]).view(),
        None,
        arr1(&[9, 4]).view(),
        Level::NINETY_FIVE,
    );
    let steps = found.unwrap().steps;
    assert_eq!((steps[0].batch, steps[0].k), (4, 1));
    assert_eq!(steps[0].mean, Err(Reason::OneEffect));
    assert_eq!((steps[1].batch, steps[1].k), (9, 2));
    assert_close(steps[1].mean.unwrap().estimate, 1.5, 0.0, 0.0);
}

#[test]
fn rows_are_refused_by_their_number_and_columns_must_be_parallel() {
    let (y, v) = (arr1(&[1.0, 2.0]), arr1(&[1.0, -1.0]));
    let refused = |batches: &[usize]| {
        let batches = arr1(batches);
        cumulate(y.view(), v.view(), None, batches.view(), Level::NINETY_FIVE).unwrap_err()
    };
    assert_eq!(
        refused(&[2, 1]),
        NumericError::VarianceNotPositive { row: 2 }
    );
    assert_eq!(
        refused(&[2]),
        NumericError::LengthsDiffer {
            n_estimates: 2,
            n_others: 1,
            column: "batches",
        }
    );
}

#[test]
fn the_last_step_is_the_whole_and_order_within_the_table_is_nothing() {
    let (estimates, variances, clusters) = example();
    let (y, v, c) = (arr1(&estimates), arr1(&variances), arr1(&clusters));
    let batches = arr1(&[3, 1, 2, 3, 1, 2, 3, 1, 2, 3, 1, 2]);
    let found = cumulate(
        y.view(),
        v.view(),
        Some(c.view()),
        batches.view(),
        Level::NINETY_FIVE,
    );
    let found = found.unwrap();
    let all = crate::pooling::tests::clustered(&estimates, &variances, &clusters);
    let whole = pool(&all, Level::NINETY_FIVE).reml.unwrap();
    let last = found.steps.last().unwrap();
    assert_eq!(last.k, 12);
    assert!(last.has_repeats);
    let mean = last.mean.unwrap();
    assert_eq!(mean.hartung_knapp_safe, whole.hartung_knapp_safe);
    assert_eq!(mean.cluster_robust, whole.cluster_robust);
    let turned = |column: &[f64]| column.iter().rev().copied().collect::<Vec<f64>>();
    let reversed = cumulate(
        arr1(&turned(&estimates)).view(),
        arr1(&turned(&variances)).view(),
        Some(arr1(&clusters.iter().rev().copied().collect::<Vec<_>>()).view()),
        arr1(&batches.iter().rev().copied().collect::<Vec<_>>()).view(),
        Level::NINETY_FIVE,
    );
    assert_eq!(reversed.unwrap(), found);
}

#[test]
fn many_batches_are_thinned_and_the_last_one_stays() {
    let n = 2 * MOST_STEPS + 1;
    let (y, v) = (sequence(n, 0.1), sequence(n, 0.4).mapv(|u| u + 0.1));
    let batches = (0..n).map(|idx| 10 * idx).collect::<ndarray::Array1<_>>();
    let found = cumulate(y.view(), v.view(), None, batches.view(), Level::NINETY_FIVE);
    let found = found.unwrap();
    assert_eq!(found.n_batches, n);
    assert!(MOST_STEPS / 2 < found.steps.len() && found.steps.len() <= MOST_STEPS);
    assert!(found.steps.is_sorted_by(|a, b| a.batch < b.batch));
    assert_eq!(found.steps.last().unwrap().k, n);
}
