//! Laws that hold for any data, and the edges.

mod edges;
mod laws;
mod scales;

use ndarray::{Array1, ArrayView1};

use super::{Effects, Estimable, Level, Model, Pooled, pool};

/// Fails unless `actual` is within `relative` of `expected` as a share, or within `absolute`.
#[track_caller]
pub(super) fn assert_close(actual: f64, expected: f64, relative: f64, absolute: f64) {
    let error = (actual - expected).abs();
    assert!(
        error <= relative * expected.abs() || error <= absolute,
        "{actual:e} is not {expected:e}"
    );
}

pub(super) fn effects(estimates: &[f64], variances: &[f64]) -> Effects {
    Effects::new(
        ArrayView1::from(estimates),
        ArrayView1::from(variances),
        None,
    )
    .unwrap()
}

pub(super) fn clustered(estimates: &[f64], variances: &[f64], clusters: &[usize]) -> Effects {
    let clusters = Some(ArrayView1::from(clusters));
    Effects::new(
        ArrayView1::from(estimates),
        ArrayView1::from(variances),
        clusters,
    )
    .unwrap()
}

fn pooled(estimates: &[f64], variances: &[f64]) -> Pooled {
    pool(&effects(estimates, variances), Level::NINETY_FIVE)
}

fn random_models(pooled: &Pooled) -> [&Model; 3] {
    [
        &pooled.dersimonian_laird,
        &pooled.paule_mandel,
        &pooled.reml,
    ]
    .map(|model| model.as_ref().unwrap())
}

fn models(pooled: &Pooled) -> Vec<&Model> {
    std::iter::once(pooled.fixed.as_ref().unwrap())
        .chain(random_models(pooled))
        .collect()
}

/// A fixed sequence in `[0, 1)`: the additive recurrence of the golden section.
pub(super) fn sequence(n: usize, offset: f64) -> Array1<f64> {
    Array1::from_shape_fn(n, |idx| {
        (offset + 0.618_033_988_749_894_9 * f64::from(u32::try_from(idx).unwrap())).fract()
    })
}

/// Twelve effects with real heterogeneity, on a grid on which shifts and scalings are exact.
pub(super) fn example() -> (Vec<f64>, Vec<f64>, Vec<usize>) {
    let on_grid = |x: f64| (x * 1024.0).round() / 1024.0;
    let estimates = sequence(12, 0.3).mapv(|u| on_grid(4.0 * u - 1.0)).to_vec();
    let variances = sequence(12, 0.7).mapv(|u| on_grid(0.05 + u * u)).to_vec();
    (
        estimates,
        variances,
        vec![7, 7, 3, 3, 9, 1, 2, 4, 4, 5, 6, 8],
    )
}

/// Every finite figure of a model, with the power of the effects' unit it carries and whether it
/// moves with the mean.
fn figures(model: &Model) -> Vec<(f64, i32, bool)> {
    let mut list = vec![
        (model.tau_squared, 2, false),
        (model.estimate, 1, true),
        (model.se, 1, false),
        (model.wald.low, 1, true),
        (model.wald.high, 1, true),
    ];
    let intervals = [
        model.hartung_knapp,
        model.hartung_knapp_safe,
        model.cluster_robust,
    ];
    for interval in intervals.iter().flatten() {
        list.extend([
            (interval.se, 1, false),
            (interval.low, 1, true),
            (interval.high, 1, true),
            (interval.df, 0, false),
        ]);
    }
    for interval in model.prediction.iter() {
        list.extend([(interval.low, 1, true), (interval.high, 1, true)]);
    }
    list
}

fn finite_or_reason<T>(value: &Estimable<T>, ends: impl Fn(&T) -> Vec<f64>) {
    if let Ok(value) = value {
        assert!(ends(value).into_iter().all(f64::is_finite));
    }
}
