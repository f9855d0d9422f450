//! What must not change, or change in step, when the data are moved, scaled or reordered.

use super::{ESTIMATORS, Table, assert_all_close, example, figures, sequence};
use crate::pooling::regression::fit::Fit;
use crate::pooling::regression::rows::Rows;
use crate::pooling::tests::assert_close;
use crate::pooling::{Level, Model, Pooled, pool};

fn pooled_model(pooled: &Pooled, idx: usize) -> &Model {
    [
        &pooled.fixed,
        &pooled.dersimonian_laird,
        &pooled.paule_mandel,
        &pooled.reml,
    ][idx]
        .as_ref()
        .unwrap()
}

#[test]
fn without_moderators_the_mean_is_the_pooled_one() {
    let mut table = example();
    table.columns.clear();
    let pooled = pool(table.design().effects(), Level::NINETY_FIVE);
    for (idx, estimator) in ESTIMATORS.into_iter().enumerate() {
        let found = table.regress(estimator).model.unwrap();
        let expected = pooled_model(&pooled, idx);
        assert_close(found.tau_squared, expected.tau_squared, 1e-13, 0.0);
        let mean = &found.coefficients[0];
        assert_close(mean.estimate, expected.estimate, 1e-13, 0.0);
        assert_close(mean.se, expected.se, 1e-13, 0.0);
        assert_close(mean.wald.p, expected.wald.p, 1e-11, 0.0);
        for (a, b) in [
            (mean.knapp_hartung, expected.hartung_knapp),
            (mean.knapp_hartung_safe, expected.hartung_knapp_safe),
            (mean.cluster_robust.unwrap(), expected.cluster_robust),
        ] {
            let b = b.unwrap();
            assert_all_close(&[a.se, a.df, a.high], &[b.se, b.df, b.high], 1e-13, 0.0);
        }
        let prediction = found.predict(&[]).unwrap();
        assert_close(prediction.se, expected.se, 1e-13, 0.0);
        if let Ok(interval) = expected.prediction {
            assert_close(prediction.prediction.unwrap().low, interval.low, 1e-13, 0.0);
        }
    }
    let heterogeneity = pooled.heterogeneity.unwrap();
    let found = table.reml().residual_heterogeneity;
    assert_close(found.value, heterogeneity.q, 1e-13, 0.0);
    assert_close(found.p, heterogeneity.p, 1e-11, 0.0);
}

#[test]
fn any_permutation_with_relabelled_clusters_gives_identical_bits() {
    let mut table = example();
    // Ties in estimate and variance with other moderators, and in everything, are the hard part.
    table.estimates.extend([1.0; 6]);
    table.variances.extend([0.5; 6]);
    table.columns[0].extend([6.0, 6.0, 7.0, 6.0, 6.0, -0.0]);
    table.columns[1].extend([0.0, 0.0, 0.25, 0.25, 0.0, 0.0]);
    let clusters = table.clusters.as_mut().unwrap();
    clusters.extend([20, 21, 21, 20, 22, 22]);
    let reference = format!("{:?}", table.reml());
    for seed in 0..30_u32 {
        let keys = sequence(table.estimates.len(), f64::from(seed) * 0.137);
        let mut order: Vec<usize> = (0..table.estimates.len()).collect();
        let step = 1 + seed as usize % 5;
        order.sort_by(|&a, &b| keys[a * step % keys.len()].total_cmp(&keys[b * step % keys.len()]));
        let pick = |column: &[f64]| order.iter().map(|&row| column[row]).collect::<Vec<_>>();
        let labels = table.clusters.as_ref().unwrap();
        let permuted = Table {
            estimates: pick(&table.estimates),
            variances: pick(&table.variances),
            clusters: Some(
                order
                    .iter()
                    .map(|&row| labels[row] * 7919 % 10_007)
                    .collect(),
            ),
            columns: table.columns.iter().map(|column| pick(column)).collect(),
            has_intercept: true,
        };
        // The debug form prints every bit that matters and tells 0 from -0.
        assert_eq!(format!("{:?}", permuted.reml()), reference);
    }
}

#[test]
fn scaling_the_effects_by_a_power_of_two_scales_every_bit() {
    let table = example();
    let before = table.reml();
    for power in [-80, -3, 5, 90] {
        let scale = 2.0_f64.powi(power);
        let mut scaled = table.clone();
        scaled.estimates.iter_mut().for_each(|y| *y *= scale);
        scaled
            .variances
            .iter_mut()
            .for_each(|v| *v *= scale * scale);
        let after = scaled.reml();
        assert_close(
            after.tau_squared,
            before.tau_squared * scale * scale,
            1e-14,
            0.0,
        );
        for (a, b) in after.coefficients.iter().zip(&before.coefficients) {
            let ((a, a_bare), (b, b_bare)) = (figures(a), figures(b));
            let b: Vec<f64> = b.iter().map(|figure| figure * scale).collect();
            assert_all_close(&a, &b, 1e-13, 0.0);
            assert_all_close(&a_bare, &b_bare, 1e-12, 0.0);
        }
        let (a, b) = (after.f_test.unwrap(), before.f_test.unwrap());
        assert_all_close(&[a.value, a.p], &[b.value, b.p], 1e-12, 0.0);
        assert_close(
            after.r_squared.unwrap(),
            before.r_squared.unwrap(),
            1e-12,
            0.0,
        );
    }
}

#[test]
fn shifting_the_effects_shifts_the_intercept_and_nothing_else() {
    let table = example();
    let before = table.reml();
    let mut shifted = table.clone();
    shifted.estimates.iter_mut().for_each(|y| *y += 4096.0);
    let after = shifted.reml();
    assert_close(after.tau_squared, before.tau_squared, 1e-13, 0.0);
    let (a, b) = (&after.coefficients[0], &before.coefficients[0]);
    assert_close(a.estimate, b.estimate + 4096.0, 1e-14, 0.0);
    assert_close(a.se, b.se, 1e-13, 0.0);
    for (a, b) in after.coefficients.iter().zip(&before.coefficients).skip(1) {
        let ((a, a_bare), (b, b_bare)) = (figures(a), figures(b));
        assert_all_close(&a, &b, 1e-11, 0.0);
        assert_all_close(&a_bare, &b_bare, 1e-10, 0.0);
    }
}

#[test]
fn the_unit_and_the_origin_of_a_moderator_do_not_matter() {
    let table = example();
    let before = table.reml();
    for (factor, shift) in [
        (0.453_592_37, 0.0),
        (1e-100, 0.0),
        (3e120, 0.0),
        (1.0, -64.0),
        (2.5, 1e4),
    ] {
        let mut moved = table.clone();
        moved.columns[0]
            .iter_mut()
            .for_each(|x| *x = *x * factor + shift);
        let after = moved.reml();
        assert_close(after.tau_squared, before.tau_squared, 1e-10, 0.0);
        assert_close(after.condition, before.condition, 1e-10, 0.0);
        assert_close(
            after.f_test.unwrap().value,
            before.f_test.unwrap().value,
            1e-10,
            0.0,
        );
        let (a, b) = (
            figures(&after.coefficients[1]),
            figures(&before.coefficients[1]),
        );
        let b_scaled: Vec<f64> = b.0.iter().map(|figure| figure / factor).collect();
        assert_all_close(&a.0, &b_scaled, 1e-9, 0.0);
        assert_all_close(&a.1, &b.1, 1e-9, 0.0);
        let (a, b) = (
            figures(&after.coefficients[2]),
            figures(&before.coefficients[2]),
        );
        assert_all_close(&a.0, &b.0, 1e-9, 0.0);
        // The effect at one place is the same in any unit.
        let a = after.predict(&[9.0 * factor + shift, 0.1]).unwrap();
        let b = before.predict(&[9.0, 0.1]).unwrap();
        assert_close(a.estimate, b.estimate, 1e-10, 0.0);
        assert_close(a.knapp_hartung.low, b.knapp_hartung.low, 1e-10, 0.0);
        assert_close(
            a.prediction.unwrap().high,
            b.prediction.unwrap().high,
            1e-10,
            0.0,
        );
    }
}

#[test]
fn the_order_of_moderators_does_not_matter() {
    let table = example();
    let before = table.reml();
    let mut swapped = table.clone();
    swapped.columns.swap(0, 1);
    let after = swapped.reml();
    for (a, b) in [(0, 0), (1, 2), (2, 1)] {
        let (a, b) = (
            figures(&after.coefficients[a]),
            figures(&before.coefficients[b]),
        );
        assert_all_close(&a.0, &b.0, 1e-12, 0.0);
    }
}

#[test]
fn coefficients_are_predictions_at_corners() {
    let model = example().reml();
    let at = |x1: f64, x2: f64| model.predict(&[x1, x2]).unwrap();
    let intercept = &model.coefficients[0];
    let corner = at(0.0, 0.0);
    assert_close(corner.estimate, intercept.estimate, 1e-13, 0.0);
    assert_close(corner.se, intercept.se, 1e-13, 0.0);
    assert_close(
        corner.knapp_hartung.high,
        intercept.knapp_hartung.high,
        1e-13,
        0.0,
    );
    assert_close(
        corner.knapp_hartung_safe.se,
        intercept.knapp_hartung_safe.se,
        1e-13,
        0.0,
    );
    let slope = at(7.0, 0.0).estimate - at(6.0, 0.0).estimate;
    assert_close(slope, model.coefficients[1].estimate, 1e-12, 0.0);
    let covariance = &model.covariance;
    for idx in 0..3 {
        let se = covariance[(idx, idx)].sqrt();
        assert_close(se, model.coefficients[idx].se, 1e-14, 0.0);
    }
    let variance = covariance[(0, 0)] + 2.0 * 6.0 * covariance[(0, 1)] + 36.0 * covariance[(1, 1)];
    assert_close(at(6.0, 0.0).se, variance.sqrt(), 1e-11, 0.0);
    // Beyond the data one knows less.
    assert!(at(10.0, 0.0).se < at(40.0, 0.0).se);
    assert!(model.predict(&[1.0]).is_err());
    assert!(model.predict(&[1.0, f64::NAN]).is_err());
}

#[test]
fn paule_mandel_makes_the_residual_scale_one() {
    let model = example().regress(ESTIMATORS[2]).model.unwrap();
    assert!(0.0 < model.tau_squared);
    assert_close(model.residual_scale, 1.0, 1e-14, 0.0);
    let (f, safe) = (model.f_test.unwrap(), model.f_test_safe.unwrap());
    assert_close(f.value, safe.value, 1e-13, 0.0);
}

#[test]
fn one_moderator_has_an_f_that_is_its_t_squared() {
    let mut table = example();
    table.columns.truncate(1);
    let model = table.reml();
    let slope = &model.coefficients[1];
    let t = slope.estimate / slope.knapp_hartung.se;
    let f = model.f_test.unwrap();
    assert_close(f.value, t * t, 1e-13, 0.0);
    assert_close(f.p, slope.knapp_hartung.p.unwrap(), 1e-12, 0.0);
    let q = model.wald_test.unwrap();
    assert_close(q.p, slope.wald.p, 1e-12, 0.0);
    assert_close(model.condition, 1.0, 1e-14, 0.0);
}

#[test]
fn a_group_gives_two_means_and_their_difference() {
    // Equal variances within a group: closed forms of two weighted means.
    let estimates = [0.0, 2.0, 4.0, 2.0, 2.0, 5.0, 7.0, 6.0, 4.0, 8.0];
    let table = Table {
        estimates: estimates.to_vec(),
        variances: vec![0.5; 10],
        clusters: None,
        columns: vec![[0.0; 5].into_iter().chain([1.0; 5]).collect()],
        has_intercept: true,
    };
    let model = table.regress(ESTIMATORS[0]).model.unwrap();
    assert_close(model.coefficients[0].estimate, 2.0, 1e-14, 0.0);
    assert_close(model.coefficients[1].estimate, 4.0, 1e-14, 0.0);
    assert_close(model.coefficients[1].se, 0.2_f64.sqrt(), 1e-14, 0.0);
    // Sums of squares 8 and 10 within the groups.
    assert_close(model.residual_heterogeneity.value, 36.0, 1e-14, 0.0);
    for estimator in &ESTIMATORS[1..] {
        let model = table.regress(*estimator).model.unwrap();
        assert_close(model.tau_squared, 18.0 / 8.0 - 0.5, 1e-13, 0.0);
    }
}

#[test]
fn the_square_of_a_moderator_tests_curvature() {
    let mut table = example();
    table.clusters = None;
    let bent = table.columns[0]
        .iter()
        .map(|x| 0.2 * (x - 10.0) * (x - 10.0));
    for (y, bend) in table.estimates.iter_mut().zip(bent) {
        *y += bend;
    }
    let curved = table.design().with_square(0).unwrap().unwrap();
    assert_eq!(curved.names(), ["x1", "x2", "x1 squared"]);
    let fit = |design| {
        super::regress(design, ESTIMATORS[3], Level::NINETY_FIVE)
            .model
            .unwrap()
    };
    let square = fit(&curved).coefficients.pop().unwrap();
    assert!(square.knapp_hartung.low < 0.2 && 0.2 < square.knapp_hartung.high);
    assert!(0.0 < square.knapp_hartung.low);
    // The test of curvature does not depend on where the moderator is counted from.
    table.columns[0].iter_mut().for_each(|x| *x -= 10.0);
    let moved = fit(&table.design().with_square(0).unwrap().unwrap());
    let moved = moved.coefficients.last().unwrap();
    assert_close(moved.estimate, square.estimate, 1e-10, 0.0);
    assert_close(
        moved.knapp_hartung.p.unwrap(),
        square.knapp_hartung.p.unwrap(),
        1e-9,
        0.0,
    );
    assert_eq!(curved.with_square(3), Ok(None));
}

#[test]
fn reml_takes_the_highest_of_several_hills() {
    let mut seen_many = 0;
    for spread in [4.0, 5.0, 5.5, 6.0, 7.0, 8.0] {
        let line = |x: f64| 0.5 * x;
        let precise = [0.0, 0.05, -0.06, 0.02, -0.01];
        let vague = [spread, 1.0 - spread, spread + 1.0, -spread, spread - 0.5];
        let columns: Vec<f64> = (0..10).map(|idx| f64::from(idx * 3 % 10)).collect();
        let noise = precise.iter().chain(&vague);
        let table = Table {
            estimates: noise.zip(&columns).map(|(e, &x)| e + line(x)).collect(),
            variances: [
                0.0005, 0.001, 0.001, 0.0007, 0.0008, 0.9, 0.8, 1.0, 0.9, 0.7,
            ]
            .to_vec(),
            clusters: None,
            columns: vec![columns],
            has_intercept: true,
        };
        let rows = Rows::new(&table.design()).unwrap();
        let likelihood = |t: f64| Fit::new(&rows, t).unwrap().log_likelihood(2.0);
        let scan: Vec<f64> = std::iter::once(0.0)
            .chain((0..1_500).map(|step| 1e-8 * 1.02_f64.powi(step)))
            .take_while(|&t| t < 1e4)
            .collect();
        let heights: Vec<f64> = scan.iter().map(|&t| likelihood(t)).collect();
        let n_hills = heights
            .windows(3)
            .filter(|w| w[0] < w[1] && w[2] < w[1])
            .count();
        seen_many += usize::from(2 <= n_hills);
        let best = heights
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, |best, h| if best < h { h } else { best });
        let found = likelihood(table.reml().tau_squared);
        assert!(
            best <= found + 1e-11 && found - best < 4e-3,
            "spread {spread}"
        );
    }
    assert!(0 < seen_many);
}

#[test]
fn the_score_is_the_slope_of_the_likelihood() {
    let rows = Rows::new(&example().design()).unwrap();
    let projected = |t: f64| {
        let score = Fit::new(&rows, t).unwrap();
        // Twice d log L / d tau_squared is y'PPy - tr P = score y'PPy.
        let weighted = score.projection.weights.component_mul(&score.residuals) / score.base;
        (score.score(), weighted.norm_squared())
    };
    for t in [0.1, 1.0, 10.0] {
        let step = 1e-5 * t;
        let height = |t: f64| Fit::new(&rows, t).unwrap().log_likelihood(3.0);
        let slope = (height(t + step) - height(t - step)) / (2.0 * step);
        let (score, squares) = projected(t);
        assert_close(score.value * squares, slope, 1e-7, 1e-8);
        let (before, after) = (projected(t - step).0, projected(t + step).0);
        assert_close(
            score.slope,
            (after.value - before.value) / (2.0 * step),
            1e-6,
            0.0,
        );
        let q = |t: f64| Fit::new(&rows, t).unwrap().q_excess(5.0);
        let slope = (q(t + step).value - q(t - step).value) / (2.0 * step);
        assert_close(q(t).slope, slope, 1e-6, 0.0);
    }
}
