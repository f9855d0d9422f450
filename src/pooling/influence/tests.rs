//! Laws of deletions, and the edges.

use super::{Deletion, Influence, MOST_ANEW, Unit, Whole, groups, influence, one_step};
use crate::pooling::tests::{assert_close, clustered, effects, example, sequence};
use crate::pooling::{Effects, Level, RandomMean, Reason, model};

fn by_effect(effects: &Effects) -> Influence {
    influence(effects, Unit::Effect, Level::NINETY_FIVE)
}

/// One-step updates of every deletion that is not worked out anew, at any size.
fn one_steps(effects: &Effects, unit: Unit) -> Vec<Deletion> {
    let mean = RandomMean::new(effects, Level::NINETY_FIVE).unwrap();
    let whole = Whole {
        effects,
        mean,
        weights: model::weights(effects, mean.tau_squared).unwrap(),
        level: Level::NINETY_FIVE,
        is_robust: true,
    };
    let list = one_step::deletions(&whole, &groups(effects, unit).unwrap()).unwrap();
    list.into_iter().filter(|found| found.one_step).collect()
}

#[test]
fn too_little_data_has_a_reason() {
    for (k, reason) in [
        (0, Reason::NoEffects),
        (1, Reason::OneEffect),
        (2, Reason::FewerThanThreeEffects),
    ] {
        let found = by_effect(&effects(&[1.0, 2.0][..k], &[1.0, 1.0][..k]));
        assert_eq!(found.deletions, Err(reason));
        assert_eq!(
            (found.range, found.crosses_zero),
            (Err(reason), Err(reason))
        );
        assert!(!found.one_step);
    }
    let plain = effects(&[1.0, 2.0, 4.0], &[1.0; 3]);
    let by_cluster =
        |effects: &Effects| influence(effects, Unit::Cluster, Level::NINETY_FIVE).deletions;
    assert_eq!(by_cluster(&plain), Err(Reason::NoClusters));
    let one = clustered(&[1.0, 2.0, 4.0], &[1.0; 3], &[5, 5, 5]);
    assert_eq!(by_cluster(&one), Err(Reason::OneCluster));
    // Without the cluster of two one effect is left.
    let two = by_cluster(&clustered(&[1.0, 2.0, 4.0], &[1.0; 3], &[5, 5, 6])).unwrap();
    assert_eq!(two[0].mean, Err(Reason::OneEffect));
    assert_eq!(two[0].residual, Err(Reason::OneEffect));
    assert!(two[1].mean.is_ok());
    let found = influence(
        &clustered(&[1.0, 2.0, 4.0], &[1.0; 3], &[5, 5, 6]),
        Unit::Cluster,
        Level::NINETY_FIVE,
    );
    assert_eq!(found.range, Err(Reason::OneEffect));
}

#[test]
fn identical_effects_do_nothing() {
    let found = by_effect(&effects(&[0.5; 5], &[1.0, 2.0, 3.0, 0.1, 7.0]));
    for deletion in found.deletions.unwrap() {
        assert_close(deletion.residual.unwrap(), 0.0, 0.0, 0.0);
        assert_close(deletion.cook.unwrap(), 0.0, 0.0, 0.0);
        assert_close(deletion.mean.unwrap().estimate, 0.5, 0.0, 0.0);
        assert_eq!(
            deletion
                .mean
                .unwrap()
                .hartung_knapp_safe
                .unwrap()
                .df
                .to_bits(),
            3.0_f64.to_bits()
        );
    }
    let range = found.range.unwrap();
    assert_eq!(range.low.to_bits(), range.high.to_bits());
}

#[test]
fn without_heterogeneity_the_residual_is_that_of_least_squares() {
    // With tau_squared 0 throughout, r / sqrt(v (1 - h)) with leverage h = w / sum w.
    let (estimates, variances) = ([0.1, 0.4, -0.2, 0.3], [1.0, 2.0, 4.0, 0.5]);
    let all = effects(&estimates, &variances);
    let found = by_effect(&all);
    let whole = found.whole.unwrap();
    assert_close(whole.tau_squared, 0.0, 0.0, 0.0);
    let total: f64 = variances.iter().map(|v| 1.0 / v).sum();
    let rows = all.estimates().into_iter().zip(all.variances());
    for (deletion, (y, v)) in found.deletions.unwrap().iter().zip(rows) {
        let leverage = 1.0 / v / total;
        assert_close(deletion.weight, leverage, 1e-14, 0.0);
        let residual = (y - whole.estimate) / (v * (1.0 - leverage)).sqrt();
        assert_close(deletion.residual.unwrap(), residual, 1e-13, 0.0);
        let moved = leverage / (1.0 - leverage) * (y - whole.estimate);
        assert_close(deletion.cook.unwrap(), moved * moved * total, 1e-12, 0.0);
    }
}

#[test]
fn an_effect_on_which_all_rests_is_found() {
    let found = by_effect(&effects(&[0.1, 0.0, 0.2, 3.0], &[0.01; 4]));
    let alone = found.deletions.as_ref().unwrap().last().unwrap();
    assert_eq!(alone.crosses_zero, Ok(false));
    let found = by_effect(&effects(&[0.9, 1.0, 1.1, -4.0], &[0.01; 4]));
    let deletions = found.deletions.unwrap();
    // Without -4 the interval is above 0, with it around 0.
    assert_eq!(deletions[0].crosses_zero, Ok(true));
    assert!(deletions[0].residual.unwrap() < -20.0);
    assert_eq!(found.crosses_zero, Ok(true));
    let range = found.range.unwrap();
    assert_close(range.high, 1.0, 1e-15, 0.0);
}

#[test]
fn permutations_and_powers_of_two_change_no_bit() {
    let (estimates, variances, clusters) = example();
    let original = clustered(&estimates, &variances, &clusters);
    let reversed = |column: &[f64]| column.iter().rev().copied().collect::<Vec<f64>>();
    let labels: Vec<usize> = clusters.iter().rev().map(|label| label + 40).collect();
    let permuted = clustered(&reversed(&estimates), &reversed(&variances), &labels);
    let scale = 2.0_f64.powi(-30);
    let scaled = clustered(
        &estimates.iter().map(|y| y * scale).collect::<Vec<f64>>(),
        &variances
            .iter()
            .map(|v| v * scale * scale)
            .collect::<Vec<f64>>(),
        &clusters,
    );
    for unit in [Unit::Effect, Unit::Cluster] {
        let found = influence(&original, unit, Level::NINETY_FIVE);
        assert_eq!(found, influence(&permuted, unit, Level::NINETY_FIVE));
        let small = influence(&scaled, unit, Level::NINETY_FIVE);
        let rows = found.deletions.unwrap().into_iter();
        for (a, b) in rows.zip(small.deletions.unwrap()) {
            assert_eq!(a.weight.to_bits(), b.weight.to_bits());
            assert_eq!((a.residual, a.cook), (b.residual, b.cook));
            assert_eq!(a.crosses_zero, b.crosses_zero);
            let (a, b) = (a.mean.unwrap(), b.mean.unwrap());
            assert_close(b.estimate, a.estimate * scale, 0.0, 0.0);
            assert_close(b.tau_squared, a.tau_squared * scale * scale, 0.0, 0.0);
        }
    }
}

#[test]
fn every_cluster_by_itself_is_every_effect_by_itself() {
    let (estimates, variances, _) = example();
    let labels: Vec<usize> = (0..estimates.len()).collect();
    let all = clustered(&estimates, &variances, &labels);
    let by_effect = by_effect(&all).deletions.unwrap();
    let by_cluster = influence(&all, Unit::Cluster, Level::NINETY_FIVE);
    assert_eq!(by_effect, by_cluster.deletions.unwrap());
}

#[test]
fn extremes_have_figures_or_reasons_and_never_nan() {
    let cases = [
        ([0.0, 1e6, -1e6, 5.0], [1e-12, 1e12, 1e12, 1e-12]),
        ([1e300, -1e300, 0.0, 1.0], [1e-300, 1.0, 1.0, 1.0]),
        ([f64::MAX, -f64::MAX, 0.0, 1.0], [1.0, 1.0, 1e300, 1e-300]),
        ([3.0, 3.0, 3.0, 1e9], [1e-12, 1e-12, 1e12, 1e-9]),
    ];
    for (estimates, variances) in cases {
        let found = by_effect(&effects(&estimates, &variances));
        for deletion in found.deletions.iter().flatten() {
            assert!(deletion.weight.is_finite());
            for figure in [deletion.residual, deletion.cook].into_iter().flatten() {
                assert!(figure.is_finite());
            }
        }
    }
}

#[test]
fn with_equal_variances_one_step_is_exact() {
    let estimates = sequence(60, 0.2).mapv(|u| 3.0 * u).to_vec();
    let labels: Vec<usize> = (0..60).map(|n| n / 2).collect();
    let all = clustered(&estimates, &[0.3; 60], &labels);
    for unit in [Unit::Effect, Unit::Cluster] {
        let anew = influence(&all, unit, Level::NINETY_FIVE).deletions.unwrap();
        let steps = one_steps(&all, unit);
        assert!(8 < steps.len(), "{}", steps.len());
        for step in steps {
            // The two are known for the same by their residual.
            let is_same =
                |other: &&Deletion| (other.residual.unwrap() - step.residual.unwrap()).abs() < 1e-9;
            let same = anew.iter().find(is_same).unwrap().mean.unwrap();
            let step = step.mean.unwrap();
            assert_close(step.tau_squared, same.tau_squared, 1e-11, 0.0);
            assert_close(step.estimate, same.estimate, 1e-13, 0.0);
            assert_close(
                step.hartung_knapp_safe.unwrap().se,
                same.hartung_knapp_safe.unwrap().se,
                1e-11,
                0.0,
            );
            assert_eq!(step.cluster_robust, Err(Reason::TooManyDeletions));
        }
    }
}

#[test]
fn a_crowd_is_updated_in_one_step_within_its_stated_error() {
    let n = 2_100;
    let estimates: Vec<f64> = sequence(n, 0.37).mapv(|u| (6.0 * u - 3.0).sinh()).to_vec();
    let variances: Vec<f64> = sequence(n, 0.81).mapv(|u| 0.05 + 4.0 * u * u * u).to_vec();
    let all = effects(&estimates, &variances);
    assert!(MOST_ANEW < n * n);
    let found = by_effect(&all);
    assert!(found.one_step);
    let deletions = found.deletions.unwrap();
    let anew = deletions.iter().filter(|deletion| !deletion.one_step);
    assert_eq!(anew.count(), 20);
    let se = found.whole.unwrap().se;
    let mean = RandomMean::new(&all, Level::NINETY_FIVE).unwrap();
    let whole = Whole {
        effects: &all,
        mean,
        weights: model::weights(&all, mean.tau_squared).unwrap(),
        level: Level::NINETY_FIVE,
        is_robust: true,
    };
    let mut worst = [0.0_f64; 4];
    for place in (0..n).step_by(211) {
        let exact = whole.anew(&[place]);
        let step = deletions[place];
        let (a, b) = (step.mean.unwrap(), exact.mean.unwrap());
        let errors = [
            a.tau_squared / b.tau_squared - 1.0,
            (a.estimate - b.estimate) / se,
            step.residual.unwrap() - exact.residual.unwrap(),
            a.hartung_knapp_safe.unwrap().se / b.hartung_knapp_safe.unwrap().se - 1.0,
        ];
        for (worst, error) in worst.iter_mut().zip(errors) {
            if *worst < error.abs() {
                *worst = error.abs();
            }
        }
        assert_eq!(step.crosses_zero, exact.crosses_zero);
    }
    assert!(worst.iter().all(|&error| error < 2e-4), "{worst:?}");
}
