//! Laws of planning, and the edges.

use super::power::{Scale, rejection};
use super::{expected_safe_root, outlook};
use crate::pooling::quantiles::StudentT;
use crate::pooling::tests::{assert_close, clustered, effects, example};
use crate::pooling::{Level, Reason, pool};

#[test]
fn too_little_data_has_a_reason() {
    let found = |y: &[f64], v: &[f64]| outlook(&effects(y, v), Level::NINETY_FIVE);
    assert_eq!(found(&[], &[]), Err(Reason::NoEffects));
    assert_eq!(found(&[1.0], &[1.0]), Err(Reason::OneEffect));
    let one_cluster = clustered(&[1.0, 2.0, 3.0], &[1.0; 3], &[4, 4, 4]);
    assert_eq!(
        outlook(&one_cluster, Level::NINETY_FIVE),
        Err(Reason::OneEffect)
    );
    assert_eq!(found(&[1.0, 2.0], &[1.0, 1.0]).unwrap().k, 2);
}

#[test]
fn clusters_are_counted_and_not_effects() {
    let (estimates, variances, clusters) = example();
    let all = clustered(&estimates, &variances, &clusters);
    let found = outlook(&all, Level::NINETY_FIVE).unwrap();
    assert_eq!(found.k, all.n_clusters());
    let one_each = all.most_precise_per_cluster();
    assert_eq!(found, outlook(&one_each, Level::NINETY_FIVE).unwrap());
}

#[test]
fn without_further_effects_it_is_the_interval_of_now() {
    let (estimates, variances, _) = example();
    let all = effects(&estimates, &variances);
    let now = outlook(&all, Level::NINETY_FIVE).unwrap();
    let model = pool(&all, Level::NINETY_FIVE).reml.unwrap();
    let precision = now.precision(0).unwrap();
    assert_close(precision.se, model.se, 0.0, 0.0);
    let quantile = StudentT::new(11.0).unwrap().upper_quantile(0.025).unwrap();
    assert_close(precision.half_width, quantile * model.se, 1e-15, 0.0);
    // Weights add up: the standard error with many more is that of their number.
    let typical = now.typical_variance + now.tau_squared;
    let many = now.precision(100_000).unwrap();
    assert_close(
        many.se,
        (1.0 / (1.0 / (model.se * model.se) + 1e5 / typical)).sqrt(),
        1e-14,
        0.0,
    );
}

#[test]
fn the_expected_safe_root_falls_to_one() {
    // df = 1: P(|Z| < 1) + 2 phi(1), from tables.
    assert_close(
        expected_safe_root(1.0).unwrap(),
        0.682_689_492_137_085_9 + 2.0 * 0.241_970_724_519_143_37,
        1e-14,
        0.0,
    );
    let mut previous = f64::INFINITY;
    for df in (1..3_000).chain([10_000, 100_000, 1_000_000]) {
        let root = expected_safe_root(f64::from(df)).unwrap();
        assert!(1.0 < root && root < previous, "{df}: {root}");
        previous = root;
    }
}

#[test]
fn without_a_difference_the_power_is_the_level() {
    for df in [1.0, 2.0, 7.0, 60.0, 5_000.0, 100_000.0] {
        for level in [0.5, 0.9, 0.95, 0.999] {
            let tail = 0.5 * (1.0 - level);
            let critical = StudentT::new(df).unwrap().upper_quantile(tail).unwrap();
            let power = rejection(df, critical, 0.0, Scale::AsEstimated).unwrap();
            assert_close(power, 1.0 - level, 0.0, 1e-12);
            let safe = rejection(df, critical, 0.0, Scale::AtLeastOne).unwrap();
            assert!(0.0 <= safe && safe < power);
        }
    }
}

/// Both powers by integration over the scale in 22 digits, `power` of
/// `fixtures/reference/robustness_reference.py`; the first also by scipy 1.17, `nct(df, delta)` with
/// both tails, which agrees to 5e-16 where it has an answer.
#[test]
fn powers_agree_with_another_integral() {
    let table = [
        (1.0, 0.5, 0.056_096_256_831_644_35, 9.875e-35),
        (1.0, 6.0, 0.362_183_992_965_058_8, 6.872_250_742_905_654e-12),
        (1.0, 40.0, 0.998_301_061_466_993_4, 0.998_301_061_466_993_4),
        (4.0, 2.8, 0.563_566_044_861_465_8, 0.412_203_856_265_676_5),
        (4.0, 6.0, 0.990_958_428_069_983_4, 0.990_650_754_620_121_1),
        (1e3, 2.8, 0.798_801_931_281_285_1, 0.793_931_220_460_002_9),
        (1e5, 0.5, 0.079_096_967_234_340_59, 0.078_821_275_077_958_51),
        (1e5, 2.8, 0.799_549_333_175_667_9, 0.799_059_614_245_309_9),
        (1e5, 40.0, 1.0, 1.0),
    ];
    for (df, noncentrality, plain, safe) in table {
        let critical = StudentT::new(df).unwrap().upper_quantile(0.025).unwrap();
        let power = |scale| rejection(df, critical, noncentrality, scale).unwrap();
        assert_close(power(Scale::AsEstimated), plain, 0.0, 1e-12);
        assert_close(power(Scale::AtLeastOne), safe, 0.0, 1e-12);
    }
}

#[test]
fn power_rises_with_difference_and_number() {
    let (estimates, variances, _) = example();
    let now = outlook(&effects(&estimates, &variances), Level::NINETY_FIVE).unwrap();
    let mut previous = 0.0;
    for difference in [0.0, 0.2, 0.5, 1.0, 2.0, 5.0] {
        let power = now.power(3, difference).unwrap();
        assert!(previous < power.hartung_knapp_safe);
        assert!(power.hartung_knapp_safe <= power.hartung_knapp && power.hartung_knapp <= 1.0);
        assert_eq!(power, now.power(3, -difference).unwrap());
        previous = power.hartung_knapp_safe;
    }
    let fewer = now.power(3, 0.4).unwrap().hartung_knapp;
    assert!(fewer < now.power(30, 0.4).unwrap().hartung_knapp);
    assert_close(
        now.power(0, 1e6).unwrap().hartung_knapp_safe,
        1.0,
        1e-12,
        0.0,
    );
    for difference in [f64::NAN, f64::INFINITY] {
        assert_eq!(now.power(0, difference), Err(Reason::OutOfRange));
    }
}

#[test]
fn the_number_for_a_width_is_the_smallest() {
    let (estimates, variances, _) = example();
    let now = outlook(&effects(&estimates, &variances), Level::NINETY_FIVE).unwrap();
    let width = |n| now.precision(n).unwrap().half_width_safe;
    assert_eq!(now.further_for(width(0)), Ok(0));
    assert_eq!(now.further_for(width(17)), Ok(17));
    for target in [0.5, 0.2, 0.03] {
        let needed = now.further_for(target).unwrap();
        assert!(width(needed) <= target && target < width(needed - 1));
    }
    assert_eq!(now.further_for(1e-4), Err(Reason::TooManyFurtherEffects));
    for target in [0.0, -1.0, f64::NAN] {
        assert_eq!(now.further_for(target), Err(Reason::OutOfRange));
    }
}

#[test]
fn units_are_nothing_and_order_is_nothing() {
    let (estimates, variances, _) = example();
    let turned = |column: &[f64]| column.iter().rev().copied().collect::<Vec<f64>>();
    let now = outlook(&effects(&estimates, &variances), Level::NINETY_FIVE).unwrap();
    let permuted = effects(&turned(&estimates), &turned(&variances));
    assert_eq!(outlook(&permuted, Level::NINETY_FIVE).unwrap(), now);
    let scaled = effects(
        &estimates.iter().map(|y| y * 0.25).collect::<Vec<f64>>(),
        &variances.iter().map(|v| v * 0.0625).collect::<Vec<f64>>(),
    );
    let scaled = outlook(&scaled, Level::NINETY_FIVE).unwrap();
    assert_eq!(scaled.power(5, 0.25).unwrap(), now.power(5, 1.0).unwrap());
    assert_eq!(scaled.further_for(0.05), now.further_for(0.2));
}

#[test]
fn extremes_have_figures_or_reasons() {
    for (estimates, variances) in [
        ([0.0, 1e6, -1e6], [1e-12, 1e12, 1e12]),
        ([3.0, 3.0, 3.0], [1e-12, 1e-12, 1e-12]),
        ([0.0, 1.0, 2.0], [1e300, 1e-300, 1.0]),
    ] {
        let Ok(now) = outlook(&effects(&estimates, &variances), Level::NINETY_FIVE) else {
            continue;
        };
        for n in [0, 1, 1_000] {
            assert!(
                now.precision(n)
                    .is_ok_and(|found| found.half_width_safe.is_finite())
            );
        }
        for difference in [0.0, 1e-9, 1.0, 1e9] {
            let power = now.power(4, difference);
            assert!(power.is_ok_and(|found| (0.0..=1.0).contains(&found.hartung_knapp)));
        }
    }
}
