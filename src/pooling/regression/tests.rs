//! Laws of regression that hold for any data, and the edges.

mod edges;
mod laws;

use ndarray::{Array1, Array2, ArrayView1};

use super::{Coefficient, Design, Estimator, Regression, RegressionModel, regress};
use crate::pooling::Level;
use crate::pooling::tests::assert_close;

const ESTIMATORS: [Estimator; 4] = [
    Estimator::Fixed,
    Estimator::DersimonianLaird,
    Estimator::PauleMandel,
    Estimator::RestrictedMaximumLikelihood,
];

/// A table whose parts a test can change before it is fitted.
#[derive(Debug, Clone)]
struct Table {
    estimates: Vec<f64>,
    variances: Vec<f64>,
    clusters: Option<Vec<usize>>,
    columns: Vec<Vec<f64>>,
    has_intercept: bool,
}

impl Table {
    fn design(&self) -> Design {
        let names: Vec<String> = (1..=self.columns.len()).map(|n| format!("x{n}")).collect();
        let shape = (self.estimates.len(), self.columns.len());
        Design::new(
            ArrayView1::from(&self.estimates),
            ArrayView1::from(&self.variances),
            self.clusters.as_deref().map(ArrayView1::from),
            Array2::from_shape_fn(shape, |(row, column)| self.columns[column][row]).view(),
            &names,
            self.has_intercept,
        )
        .unwrap()
    }

    fn regress(&self, estimator: Estimator) -> Regression {
        regress(&self.design(), estimator, Level::NINETY_FIVE)
    }

    fn reml(&self) -> RegressionModel {
        self.regress(Estimator::RestrictedMaximumLikelihood)
            .model
            .unwrap()
    }
}

/// A fixed sequence in `[0, 1)`: the additive recurrence of the golden section.
fn sequence(n: usize, offset: f64) -> Array1<f64> {
    Array1::from_shape_fn(n, |idx| {
        (offset + 0.618_033_988_749_894_9 * f64::from(u32::try_from(idx).unwrap())).fract()
    })
}

/// Forty-four effects by twenty-two players on two moderators, with real heterogeneity, on a grid on which
/// shifts and scalings are exact.
fn example() -> Table {
    let on_grid = |x: f64| (x * 1024.0).round() / 1024.0;
    let x1 = sequence(44, 0.2).mapv(|u| on_grid(5.0 + 11.0 * u));
    let x2 = sequence(44, 0.9).mapv(|u| on_grid((97.0 * u).fract() - 0.5));
    let noise = sequence(44, 0.4).mapv(|u| 4.0 * ((31.0 * u).fract() - 0.5));
    let line = &x1 * 0.25 + &x2 + noise;
    Table {
        estimates: line.mapv(on_grid).to_vec(),
        variances: sequence(44, 0.7).mapv(|u| on_grid(0.05 + u * u)).to_vec(),
        clusters: Some((0..44).map(|idx| idx * 7 % 44 / 2).collect()),
        columns: vec![x1.to_vec(), x2.to_vec()],
        has_intercept: true,
    }
}

/// Every figure of a coefficient that carries the unit of the effects, and then those without unit.
fn figures(coefficient: &Coefficient) -> (Vec<f64>, Vec<f64>) {
    let mut with_unit = vec![
        coefficient.estimate,
        coefficient.se,
        coefficient.wald.low,
        coefficient.wald.high,
    ];
    let mut bare = vec![coefficient.wald.p];
    let robust = coefficient.cluster_robust.unwrap();
    for t in [
        coefficient.knapp_hartung,
        coefficient.knapp_hartung_safe,
        robust,
    ] {
        with_unit.extend([t.se, t.low, t.high]);
        bare.extend([t.df, t.p.unwrap()]);
    }
    (with_unit, bare)
}

#[track_caller]
fn assert_all_close(actual: &[f64], expected: &[f64], relative: f64, absolute: f64) {
    for (&actual, &expected) in actual.iter().zip(expected) {
        assert_close(actual, expected, relative, absolute);
    }
}
