//! Laws that hold for any data, and the edges.

mod edges;
mod laws;
mod summits;

use ndarray::{Array1, ArrayView1};

use super::{Bivariate, BivariateModel, Likelihood, WithinCorrelation, pool_pairs};
use crate::pooling::tests::assert_close;
use crate::pooling::{Estimable, Level, PairedEffects};

/// Columns of units: estimates of both outcomes, then their variances.
type Columns = [Array1<f64>; 4];

fn paired([y_a, y_b, v_a, v_b]: &Columns, clusters: Option<&[usize]>) -> PairedEffects {
    PairedEffects::new(
        [y_a.view(), y_b.view()],
        [v_a.view(), v_b.view()],
        clusters.map(ArrayView1::from),
    )
    .unwrap()
}

fn pooled(columns: &Columns, correlation: f64, likelihood: Likelihood) -> Bivariate {
    pool_pairs(
        &paired(columns, None),
        WithinCorrelation::new(correlation).unwrap(),
        likelihood,
        Level::NINETY_FIVE,
    )
}

fn model(columns: &Columns, correlation: f64) -> Estimable<BivariateModel> {
    pooled(columns, correlation, Likelihood::Restricted).model
}

/// A fixed sequence in `[0, 1)`: the additive recurrence of `step`.
fn sequence(n: usize, offset: f64, step: f64) -> Array1<f64> {
    Array1::from_shape_fn(n, |idx| {
        (offset + step * f64::from(u32::try_from(idx).unwrap())).fract()
    })
}

/// Units with real heterogeneity on both outcomes, on a grid on which shifts and scalings are
/// exact; the outcomes differ in size by about a hundred.
fn example(k: usize) -> Columns {
    let on_grid = |x: f64| (x * 1024.0).round() / 1024.0;
    let (u, w) = (
        sequence(k, 0.3, 0.618_033_988_749_894_9),
        sequence(k, 0.1, 0.754_877_666_246_692_8),
    );
    let y_a = u.mapv(|u| on_grid(4.0 * u - 1.0));
    let y_b = (&u * 180.0 + &w * 150.0).mapv(on_grid);
    let v_a = sequence(k, 0.7, 0.618_033_988_749_894_9).mapv(|u| on_grid(0.05 + u * u));
    let v_b = sequence(k, 0.2, 0.569_840_290_998_053_3).mapv(|u| on_grid(200.0 + 4_000.0 * u));
    [y_a, y_b, v_a, v_b]
}

/// Fails unless both are close, or undefined for the same reason.
#[track_caller]
fn assert_alike(actual: Estimable<f64>, expected: Estimable<f64>, relative: f64) {
    match (actual, expected) {
        (Ok(actual), Ok(expected)) => assert_close(actual, expected, relative, 0.0),
        _ => assert_eq!(actual, expected),
    }
}

/// Every number of a model.
fn figures(model: &BivariateModel) -> Vec<f64> {
    let mut list = vec![model.log_likelihood];
    list.extend(model.mean);
    for matrix in [model.covariance, model.between] {
        list.extend([matrix.a, matrix.ab, matrix.b]);
    }
    list.extend(model.correlation);
    for ellipse in [model.confidence_ellipse, model.prediction_ellipse] {
        let ellipse = ellipse.unwrap();
        list.push(ellipse.radius);
        list.extend(ellipse.outline(8).into_iter().flatten());
    }
    list
}
