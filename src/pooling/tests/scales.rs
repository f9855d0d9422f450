//! Pathological scales against 50-digit references.

use super::{assert_close, clustered, effects, finite_or_reason, models, pooled, sequence};
use crate::pooling::{Level, Reason, pool};

#[test]
fn variances_over_twenty_four_orders_of_magnitude() {
    // The two precise effects decide the mean; references in closed form with the imprecise ones
    // left out, which changes nothing above 1e-18.
    let pooled = pooled(&[5.0, 5.000_001, -1e6, 1e6], &[1e-12, 3e-12, 1e12, 1e12]);
    let fixed = pooled.fixed.unwrap();
    assert_close(fixed.estimate, 5.000_000_25, 1e-15, 0.0);
    assert_close(fixed.se, (0.75e-12_f64).sqrt(), 1e-15, 0.0);
    // Q is 1e-12 / 4e-12 of the precise pair and 1 of each of the others.
    assert_close(pooled.heterogeneity.unwrap().q, 2.25, 1e-9, 0.0);
}

#[test]
fn one_overwhelming_effect_keeps_the_digits_of_the_rest() {
    // sum w - sum w^2 / sum w is 2e-12 up to a share of 1e-24, but its two terms are both 1e12.
    let heterogeneity = pooled(&[0.0, 1e6, -1e6], &[1e-12, 1e12, 1e12])
        .heterogeneity
        .unwrap();
    assert_close(heterogeneity.typical_variance, 2.0 / 4e-12, 1e-14, 0.0);
}

#[test]
fn a_large_common_offset_costs_no_digits() {
    let step = 2.0_f64.powi(-20);
    let steps = [0.0, 3.0, -2.0, 7.0, 1.0, 4.0, -5.0];
    let variances = [1.0, 2.0, 0.5, 1.0, 3.0, 1.5, 1.0].map(|v| v * step * step);
    let near = pooled(&steps.map(|s| s * step), &variances);
    let far = pooled(&steps.map(|s| 1e8 + s * step), &variances);
    assert_eq!(far.heterogeneity, near.heterogeneity);
    for (a, b) in models(&far).into_iter().zip(models(&near)) {
        assert_close(a.tau_squared, b.tau_squared, 0.0, 0.0);
        assert_close(
            a.hartung_knapp.unwrap().se,
            b.hartung_knapp.unwrap().se,
            0.0,
            0.0,
        );
        assert_close(a.estimate, 1e8 + b.estimate, 1e-16, 0.0);
    }
}

#[test]
fn numbers_beyond_the_arithmetic_are_reported_and_never_nan() {
    let cases = [
        ([1e300, -1e300, 0.0], [1e-300, 1.0, 1.0]),
        ([1e200, 0.0, 3.0], [1e-200, 1e200, 1.0]),
        ([1e-300, 2e-300, 0.0], [1e-300, 1e-310, 1e300]),
        (
            [f64::MAX, -f64::MAX, 0.0],
            [f64::MAX, f64::MIN_POSITIVE, 1.0],
        ),
    ];
    for (estimates, variances) in cases {
        let effects = clustered(&estimates, &variances, &[1, 2, 3]);
        let pooled = pool(&effects, Level::NINETY_FIVE);
        for model in [
            &pooled.fixed,
            &pooled.dersimonian_laird,
            &pooled.paule_mandel,
            &pooled.reml,
        ] {
            finite_or_reason(model, |m| {
                vec![
                    m.tau_squared,
                    m.estimate,
                    m.se,
                    m.wald.low,
                    m.wald.high,
                    m.wald.p,
                ]
            });
            if let Ok(model) = model {
                finite_or_reason(&model.hartung_knapp, |t| vec![t.se, t.low, t.high, t.df]);
                finite_or_reason(&model.hartung_knapp_safe, |t| {
                    vec![t.se, t.low, t.high, t.df]
                });
                finite_or_reason(&model.prediction, |i| vec![i.low, i.high]);
                assert!(
                    model
                        .weights(&effects)
                        .unwrap()
                        .iter()
                        .all(|w| w.is_finite())
                );
            }
        }
        finite_or_reason(&pooled.heterogeneity, |h| {
            vec![h.q, h.p, h.i_squared, h.h_squared, h.typical_variance]
        });
    }
    let overflow = pooled(&[f64::MAX, -f64::MAX], &[1.0, 1.0]);
    assert_eq!(overflow.reml, Err(Reason::OutOfRange));
}

#[test]
fn a_large_crowd_is_pooled_consistently() {
    // Every effect ten thousand times over: the mean stays and the variance of the mean falls.
    let (estimates, variances, _) = super::example();
    let many = |column: &[f64]| {
        column
            .iter()
            .copied()
            .cycle()
            .take(120_000)
            .collect::<Vec<_>>()
    };
    let few = pooled(&estimates, &variances).fixed.unwrap();
    let crowd = pool(
        &effects(&many(&estimates), &many(&variances)),
        Level::NINETY_FIVE,
    );
    let fixed = crowd.fixed.unwrap();
    assert_close(fixed.estimate, few.estimate, 1e-15, 0.0);
    assert_close(fixed.se, few.se / 100.0, 1e-15, 0.0);
    let interval = crowd.heterogeneity.unwrap().tau_squared.unwrap();
    let root = crowd.paule_mandel.unwrap().tau_squared;
    assert!(interval.low < root && root < interval.high);
}

#[test]
fn a_root_just_above_zero_is_found() {
    // The excess of Q over its degrees of freedom is 1e-9; closed form for two effects.
    let distance = 2.0_f64.sqrt() * (1.0 + 0.5e-9);
    for model in super::random_models(&pooled(&[0.0, distance], &[1.0, 1.0])) {
        // distance^2 - 2 from its 50-digit square, since here it would cancel.
        let (high, error) = (
            distance * distance,
            distance.mul_add(distance, -(distance * distance)),
        );
        assert_close(model.tau_squared, 0.5 * ((high - 2.0) + error), 1e-15, 0.0);
    }
}

#[test]
fn clusters_of_any_size_are_taken() {
    let estimates = sequence(400, 0.1).to_vec();
    let clusters: Vec<usize> = (0..400)
        .map(|idx| if idx < 60 { 0 } else { idx / 3 })
        .collect();
    let pooled = pool(
        &clustered(&estimates, &[0.1; 400], &clusters),
        Level::NINETY_FIVE,
    );
    let robust = pooled.reml.unwrap().cluster_robust.unwrap();
    assert!(4.0 < robust.df && robust.df < 114.0);
}
