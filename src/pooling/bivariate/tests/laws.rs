use ndarray::Axis;

use super::{Columns, assert_alike, example, figures, model, paired, pooled};
use crate::pooling::bivariate::{BivariateModel, Likelihood, WithinCorrelation, pool_pairs_over};
use crate::pooling::tests::assert_close;
use crate::pooling::{Level, Model, pool};

const CORRELATIONS: [f64; 5] = [-0.9, -0.5, 0.0, 0.5, 0.9];

fn bits(model: &BivariateModel) -> Vec<u64> {
    figures(model).into_iter().map(f64::to_bits).collect()
}

#[test]
fn permuting_units_gives_identical_bits() {
    let columns = example(23);
    let clusters: Vec<usize> = (0..23).map(|idx| idx * 7 % 23 / 2).collect();
    let order: Vec<usize> = (0..23).map(|idx| idx * 9 % 23).collect();
    let permuted: Columns = columns.clone().map(|column| column.select(Axis(0), &order));
    let relabelled: Vec<usize> = order.iter().map(|&idx| 100 - clusters[idx]).collect();
    let list = WithinCorrelation::SENSITIVITY;
    let fit = |paired| pool_pairs_over(&paired, &list, Likelihood::Restricted, Level::NINETY_FIVE);
    let one = fit(paired(&columns, Some(&clusters)));
    let other = fit(paired(&permuted, Some(&relabelled)));
    assert_eq!(one.len(), 3);
    for (one, other) in one.iter().zip(&other) {
        assert_eq!(one, other);
        assert_eq!(one.n_clusters, 12);
        assert_eq!(bits(&one.model.unwrap()), bits(&other.model.unwrap()));
    }
}

#[test]
fn scaling_an_outcome_by_a_power_of_two_changes_no_digit() {
    let columns = example(17);
    for correlation in CORRELATIONS {
        let plain = model(&columns, correlation).unwrap();
        for (power_a, power_b) in [(1, 0), (-3, 40), (200, -250)] {
            let (c, d) = (2.0_f64.powi(power_a), 2.0_f64.powi(power_b));
            let [y_a, y_b, v_a, v_b] = &columns;
            let scaled = [y_a * c, y_b * d, v_a * (c * c), v_b * (d * d)];
            let scaled = model(&scaled, correlation).unwrap();
            let same = |x: f64, y: f64| assert_eq!(x.to_bits(), y.to_bits());
            same(scaled.mean[0], c * plain.mean[0]);
            same(scaled.mean[1], d * plain.mean[1]);
            assert_alike(scaled.correlation, plain.correlation, 0.0);
            for (scaled, plain) in [
                (scaled.covariance, plain.covariance),
                (scaled.between, plain.between),
            ] {
                same(scaled.a, c * c * plain.a);
                same(scaled.ab, c * d * plain.ab);
                same(scaled.b, d * d * plain.b);
            }
            let shrunk = 16.0 * std::f64::consts::LN_2 * f64::from(power_a + power_b);
            let expected = plain.log_likelihood - shrunk;
            assert_close(scaled.log_likelihood, expected, 1e-12, 1e-9);
        }
    }
}

#[test]
fn shifting_an_outcome_shifts_its_mean_alone() {
    let [y_a, y_b, v_a, v_b] = example(17);
    for correlation in CORRELATIONS {
        let plain = [&y_a, &y_b, &v_a, &v_b].map(Clone::clone);
        let plain = model(&plain, correlation).unwrap();
        let shifted = [&y_a + 1_048_576.0, &y_b - 4096.0, v_a.clone(), v_b.clone()];
        let shifted = model(&shifted, correlation).unwrap();
        assert_close(shifted.mean[0], plain.mean[0] + 1_048_576.0, 1e-15, 0.0);
        assert_close(shifted.mean[1], plain.mean[1] - 4096.0, 1e-15, 0.0);
        assert_close(shifted.between.a, plain.between.a, 1e-13, 0.0);
        assert_close(shifted.between.ab, plain.between.ab, 1e-12, 0.0);
        assert_close(shifted.covariance.b, plain.covariance.b, 1e-13, 0.0);
    }
}

#[test]
fn swapping_the_outcomes_swaps_the_figures() {
    for k in [10, 14, 31] {
        let columns = example(k);
        let [y_a, y_b, v_a, v_b] = columns.clone();
        let swapped = [y_b, y_a, v_b, v_a];
        for correlation in CORRELATIONS {
            for likelihood in [Likelihood::Restricted, Likelihood::Full] {
                let one = pooled(&columns, correlation, likelihood).model.unwrap();
                let other = pooled(&swapped, correlation, likelihood).model.unwrap();
                for (x, y) in [
                    (one.mean[0], other.mean[1]),
                    (one.mean[1], other.mean[0]),
                    (one.between.a, other.between.b),
                    (one.between.ab, other.between.ab),
                    (one.between.b, other.between.a),
                    (one.covariance.a, other.covariance.b),
                    (one.covariance.ab, other.covariance.ab),
                    (one.log_likelihood, other.log_likelihood),
                ] {
                    assert_close(x, y, 1e-11, 0.0);
                }
                assert_alike(one.correlation, other.correlation, 1e-11);
            }
        }
    }
}

#[test]
fn turning_one_outcome_round_turns_the_correlations() {
    let [y_a, y_b, v_a, v_b] = example(19);
    let columns = [&y_a, &y_b, &v_a, &v_b].map(Clone::clone);
    let turned = [y_a, -y_b, v_a, v_b];
    for correlation in CORRELATIONS {
        let one = model(&columns, correlation).unwrap();
        let other = model(&turned, -correlation).unwrap();
        assert_close(one.mean[1], -other.mean[1], 1e-12, 0.0);
        assert_close(one.between.a, other.between.a, 1e-12, 0.0);
        assert_close(one.between.ab, -other.between.ab, 1e-11, 0.0);
        assert_alike(one.correlation, other.correlation.map(|rho| -rho), 1e-11);
    }
}

/// Where the sampling variances vanish, `T` is the sample covariance, by restricted likelihood with
/// the divisor `k - 1`, and the ellipse that of Hotelling.
#[test]
fn without_sampling_error_the_sample_moments_remain() {
    let [y_a, y_b, v_a, v_b] = example(25);
    let (mean_a, mean_b) = (y_a.mean().unwrap(), y_b.mean().unwrap());
    let products = |x: &ndarray::Array1<f64>, y: &ndarray::Array1<f64>| (x * y).sum();
    let (d_a, d_b) = (&y_a - mean_a, &y_b - mean_b);
    let columns = [y_a, y_b, v_a * 1e-14, v_b * 1e-14];
    for (likelihood, divisor) in [(Likelihood::Restricted, 24.0), (Likelihood::Full, 25.0)] {
        let found = pooled(&columns, 0.5, likelihood).model.unwrap();
        assert_close(found.mean[0], mean_a, 1e-10, 0.0);
        assert_close(found.mean[1], mean_b, 1e-10, 0.0);
        assert_close(found.between.a, products(&d_a, &d_a) / divisor, 1e-10, 0.0);
        assert_close(found.between.ab, products(&d_a, &d_b) / divisor, 1e-10, 0.0);
        assert_close(found.between.b, products(&d_b, &d_b) / divisor, 1e-10, 0.0);
        assert_close(found.covariance.a, found.between.a / 25.0, 1e-10, 0.0);
    }
}

/// With the correlations of both levels 0 the likelihood is a product, so outcomes whose deviations
/// are orthogonal at equal variances are pooled as if each were alone.
#[test]
fn unrelated_outcomes_are_pooled_as_each_alone() {
    let signs = [
        1.0, 1.0, 1.0, 1.0, -1.0, -1.0, -1.0, -1.0, 1.0, 1.0, -1.0, -1.0,
    ];
    let others = [
        1.0, 1.0, -1.0, -1.0, 1.0, 1.0, -1.0, -1.0, 1.0, -1.0, 1.0, -1.0,
    ];
    let y_a = ndarray::Array1::from_iter(signs.map(|x| 3.0 + 2.0 * x));
    let y_b = ndarray::Array1::from_iter(others.map(|x| 5.0 * x));
    let v = ndarray::Array1::from_elem(12, 0.5);
    let columns = [y_a, y_b, v.clone(), v];
    let found = model(&columns, 0.0).unwrap();
    let paired = paired(&columns, None);
    let [alone_a, alone_b]: [Model; 2] = paired
        .outcomes()
        .map(|effects| pool(effects, Level::NINETY_FIVE).reml.unwrap());
    assert_close(found.between.a, alone_a.tau_squared, 1e-12, 0.0);
    assert_close(found.between.b, alone_b.tau_squared, 1e-12, 0.0);
    assert_close(found.mean[0], alone_a.estimate, 1e-12, 0.0);
    assert_close(found.covariance.b.sqrt(), alone_b.se, 1e-12, 0.0);
    assert_close(found.correlation.unwrap(), 0.0, 0.0, 1e-15);
}

#[test]
fn the_prediction_ellipse_reaches_beyond_that_of_the_mean() {
    for correlation in CORRELATIONS {
        let found = model(&example(15), correlation).unwrap();
        let mean = found.confidence_ellipse.unwrap().half_widths();
        let prediction = found.prediction_ellipse.unwrap().half_widths();
        assert!(mean[0] < prediction[0] && mean[1] < prediction[1]);
    }
}
