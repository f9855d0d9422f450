use ndarray::Array1;

use super::{Columns, example, figures, model, paired, pooled, sequence};
use crate::pooling::Reason;
use crate::pooling::bivariate::Likelihood;
use crate::pooling::tests::assert_close;

#[test]
fn fewer_than_ten_clusters_are_not_pooled() {
    for k in [0, 1, 2, 9] {
        let reason = if k == 0 {
            Reason::NoEffects
        } else {
            Reason::FewerThanTenClusters
        };
        let found = pooled(&example(k), 0.0, Likelihood::Restricted);
        assert_eq!((found.k, found.model), (k, Err(reason)));
    }
    assert!(model(&example(10), 0.0).is_ok());
    let clusters: Vec<usize> = (0..20).map(|idx| idx / 3).collect();
    assert_eq!(paired(&example(20), Some(&clusters)).n_clusters(), 7);
}

#[test]
fn identical_effects_leave_no_between_units_variance() {
    let [_, _, v_a, v_b] = example(12);
    let columns = [
        Array1::from_elem(12, 2.5),
        Array1::from_elem(12, -7.0),
        v_a,
        v_b,
    ];
    for correlation in [-0.5, 0.0, 0.5] {
        let found = model(&columns, correlation).unwrap();
        assert_eq!(found.mean.map(f64::to_bits), [2.5, -7.0].map(f64::to_bits));
        for entry in [found.between.a, found.between.ab, found.between.b] {
            assert_eq!(entry.to_bits(), 0.0_f64.to_bits());
        }
        assert_eq!(found.correlation, Err(Reason::BetweenVarianceZero));
        assert!(figures(&found).into_iter().all(f64::is_finite));
    }
}

#[test]
fn one_outcome_without_spread_has_variance_zero() {
    let [_, y_b, v_a, v_b] = example(12);
    let columns = [Array1::from_elem(12, 2.5), y_b, v_a, v_b];
    let found = model(&columns, 0.0).unwrap();
    assert_eq!(found.between.a.to_bits(), 0.0_f64.to_bits());
    assert_eq!(found.between.ab.to_bits(), 0.0_f64.to_bits());
    assert!(0.0 < found.between.b);
    assert_eq!(found.correlation, Err(Reason::BetweenVarianceZero));
    let [y_a, y_b, v_a, v_b] = columns;
    let swapped = model(&[y_b, y_a, v_b, v_a], 0.0).unwrap();
    assert_eq!(swapped.correlation, Err(Reason::BetweenVarianceZero));
    assert_close(swapped.between.a, found.between.b, 1e-12, 0.0);
}

#[test]
fn proportional_outcomes_are_correlated_to_the_limit() {
    for sign in [-1.0, 1.0] {
        let [y_a, _, v_a, _] = example(14);
        let columns = [y_a.clone(), &y_a * (8.0 * sign), v_a.clone(), v_a * 64.0];
        let found = model(&columns, 0.0).unwrap();
        assert_eq!(found.correlation, Err(Reason::BetweenCorrelationAtLimit));
        let between = found.between;
        assert_close(between.b, 64.0 * between.a, 1e-11, 0.0);
        assert_close(between.ab, 8.0 * sign * between.a, 1e-11, 0.0);
        assert!(figures(&found).into_iter().all(f64::is_finite));
    }
}

/// Sets of columns at the ends of what may come.
fn extremes() -> Vec<(&'static str, Columns)> {
    let k = 16;
    let spread = |power: f64, offset| {
        sequence(k, offset, 0.618_033_988_749_894_9)
            .mapv(|u| 10.0_f64.powf(power * (2.0 * u - 1.0)))
    };
    let [y_a, y_b, v_a, v_b] = example(k);
    let dominated = |v: &Array1<f64>, idx: usize, by: f64| {
        let mut v = v.clone();
        v[idx] *= by;
        v
    };
    let equal = |x| Array1::from_elem(k, x);
    vec![
        (
            "variances over 24 orders of magnitude",
            [
                y_a.clone(),
                y_b.clone(),
                spread(12.0, 0.3),
                spread(12.0, 0.4),
            ],
        ),
        (
            "the same variances on both",
            [
                y_a.clone(),
                y_b.clone(),
                spread(12.0, 0.3),
                spread(12.0, 0.3),
            ],
        ),
        (
            "one unit dominates both",
            [
                y_a.clone(),
                y_b.clone(),
                dominated(&v_a, 3, 1e-12),
                dominated(&v_b, 3, 1e-12),
            ],
        ),
        (
            "each outcome is dominated by another unit",
            [
                y_a.clone(),
                y_b.clone(),
                dominated(&v_a, 3, 1e-12),
                dominated(&v_b, 8, 1e-12),
            ],
        ),
        (
            "equal variances",
            [y_a.clone(), y_b.clone(), equal(0.25), equal(900.0)],
        ),
        (
            "variances far above the spread",
            [y_a.clone(), y_b.clone(), equal(1e12), equal(1e12)],
        ),
        (
            "variances far below the spread",
            [y_a.clone(), y_b.clone(), equal(1e-12), equal(1e-12)],
        ),
        (
            "one outcome exact and the other hopeless",
            [y_a.clone(), y_b.clone(), equal(1e-12), equal(1e12)],
        ),
        (
            "two values only",
            [
                y_a.mapv(|x| if x < 1.0 { 0.0 } else { 1.0 }),
                y_b.mapv(|x| if x < 150.0 { 0.0 } else { 1.0 }),
                equal(0.01),
                equal(0.01),
            ],
        ),
        (
            "exactly proportional and exact",
            [y_a.clone(), &y_a * 3.0, equal(1e-12), equal(1e-12)],
        ),
        ("far apart", [&y_a * 1e9, &y_b * 1e-9, v_a, v_b]),
    ]
}

#[test]
fn extremes_are_pooled_and_agree_when_swapped() {
    for (name, columns) in extremes() {
        let [y_a, y_b, v_a, v_b] = columns.clone();
        let swapped = [y_b, y_a, v_b, v_a];
        for correlation in [-0.95, -0.5, 0.0, 0.5, 0.95] {
            let what = format!("{name}, {correlation}");
            let one = model(&columns, correlation).unwrap_or_else(|why| panic!("{what}: {why}"));
            let other = model(&swapped, correlation).unwrap_or_else(|why| panic!("{what}: {why}"));
            assert!(figures(&one).into_iter().all(f64::is_finite), "{what}");
            assert_eq!(one.correlation.is_ok(), other.correlation.is_ok(), "{what}");
            for (x, y, scale) in [
                (one.mean[0], other.mean[1], one.covariance.a.sqrt()),
                (one.mean[1], other.mean[0], one.covariance.b.sqrt()),
                (one.between.a, other.between.b, 0.0),
                (one.between.b, other.between.a, 0.0),
                (one.covariance.a, other.covariance.b, 0.0),
                (one.covariance.b, other.covariance.a, 0.0),
                (one.log_likelihood, other.log_likelihood, 1.0),
            ] {
                let close = (x - y).abs() <= 1e-9 * x.abs() + 1e-12 * scale;
                assert!(close, "{what}: {x:e} against {y:e}");
            }
        }
    }
}

#[test]
fn numbers_beyond_the_arithmetic_are_refused_with_a_reason() {
    let k = 12;
    let [y_a, y_b, v_a, v_b] = example(k);
    let mut wide = v_a.clone();
    wide[0] = 1e-300;
    wide[1] = 1e300;
    for columns in [
        [&y_a * 1e300, y_b.clone(), v_a.clone(), v_b.clone()],
        [y_a.clone(), y_b.clone(), wide, v_b.clone()],
        [y_a, y_b, v_a * 1e-320, v_b],
    ] {
        match model(&columns, 0.5) {
            Ok(found) => assert!(figures(&found).into_iter().all(f64::is_finite)),
            Err(reason) => {
                assert!([Reason::OutOfRange, Reason::NotConverged].contains(&reason));
            }
        }
    }
}

#[test]
fn the_correlation_follows_the_data_from_one_limit_to_the_other() {
    let k = 20;
    let [y_a, y_b, v_a, v_b] = example(k);
    let mut last = -2.0;
    for share in [-1.0, -0.6, -0.2, 0.2, 0.6, 1.0] {
        let mixed = &y_a * (60.0 * share) + &y_b * (1.0 - f64::abs(share));
        let columns = [y_a.clone(), mixed, &v_a * 1e-3, &v_b * 1e-3];
        let rho = model(&columns, 0.0).unwrap().correlation.unwrap_or(share);
        assert!(last < rho, "{share}: {rho} after {last}");
        last = rho;
    }
}
