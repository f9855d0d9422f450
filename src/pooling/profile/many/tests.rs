//! The quick way against the long way, where both can go and where only the long one can.

use super::super::{MANY, Moments, Profile};
use crate::pooling::sums::Double;
use crate::pooling::tests::{assert_close, clustered, effects, sequence};
use crate::pooling::{Level, pool};

const K: usize = 4 * MANY + 5;

/// Effects with variances over two octaves and some spread.
fn crowd(k: usize) -> (Vec<f64>, Vec<f64>) {
    let variances = sequence(k, 0.1).mapv(|u| 0.5 + 1.5 * u);
    let estimates = sequence(k, 0.7).mapv(|u| 3.0 + (u / (1.0 - u)).ln());
    let step = 617;
    let shuffled = (0..k).map(|idx| variances[idx * step % k]).collect();
    (estimates.to_vec(), shuffled)
}

fn figures(moments: &Moments<Double>) -> Vec<f64> {
    [
        moments.weight,
        moments.q(),
        moments.trace(),
        moments.trace_of_square(),
        moments.projected,
        moments.projected_twice,
        moments.score().0,
    ]
    .map(Double::value)
    .to_vec()
}

#[test]
fn both_ways_agree_to_the_last_digits() {
    let (estimates, variances) = crowd(K);
    let effects = effects(&estimates, &variances);
    let profile = Profile::new(&effects).unwrap();
    for tau_squared in [0.0, 1e-6, 0.3, 2.5, 1e6] {
        let quick = profile.of_many(tau_squared).expect("nothing outweighs");
        let long: Moments<Double> = profile.moments(tau_squared);
        for (quick, long) in figures(&quick).into_iter().zip(figures(&long)) {
            assert_close(quick, long, 4e-15, 4e-15);
        }
        let means = [&quick, &long].map(|moments| profile.mean(moments));
        assert_close(means[0], means[1], 1e-15, 0.0);
        let rough = profile.rough(tau_squared);
        assert_close(rough.q(), long.q().value(), 1e-9, 0.0);
        assert_close(rough.score().0, long.score().0.value(), 1e-8, 1e-8);
    }
}

#[test]
fn the_rest_of_eight_and_the_place_of_the_heaviest_make_no_difference() {
    for k in MANY..MANY + 17 {
        let (estimates, mut variances) = crowd(k);
        variances[(k * 31) % k] = 0.4;
        let effects = effects(&estimates, &variances);
        let profile = Profile::new(&effects).unwrap();
        let quick = profile.of_many(0.7).unwrap();
        let long: Moments<Double> = profile.moments(0.7);
        for (quick, long) in figures(&quick).into_iter().zip(figures(&long)) {
            assert_close(quick, long, 1e-14, 1e-14);
        }
    }
}

#[test]
fn an_effect_that_outweighs_thousands_goes_the_long_way() {
    let (estimates, mut variances) = crowd(K);
    variances[7] = 1e-24;
    let effects = effects(&estimates, &variances);
    let profile = Profile::new(&effects).unwrap();
    assert!(profile.of_many(0.0).is_none());
    assert!(profile.of_many(1.0).is_some());
    let pooled = pool(&effects, Level::NINETY_FIVE);
    assert_close(pooled.fixed.unwrap().estimate, estimates[7], 1e-15, 0.0);
    assert!(pooled.reml.unwrap().tau_squared > 1.0);
}

#[test]
fn effects_far_from_the_origin_of_distances_go_the_long_way() {
    // The median is 0, and the mean a thousand spreads away from it.
    let (mut estimates, mut variances) = (vec![0.0; K], vec![1.0; K]);
    for (estimate, variance) in estimates.iter_mut().zip(&mut variances).take(K / 3) {
        (*estimate, *variance) = (1e6, 1e-9);
    }
    let effects = effects(&estimates, &variances);
    let profile = Profile::new(&effects).unwrap();
    assert!(profile.of_many(0.0).is_none());
    assert!(pool(&effects, Level::NINETY_FIVE).fixed.is_ok());
}

#[test]
fn scales_and_sizes_of_any_magnitude_give_what_the_long_way_gives() {
    let (estimates, variances) = crowd(K);
    let before = pool(&effects(&estimates, &variances), Level::NINETY_FIVE);
    for power in [-200, -40, 3, 200] {
        let scale = 2.0_f64.powi(power);
        let y: Vec<f64> = estimates.iter().map(|y| y * scale).collect();
        let v: Vec<f64> = variances.iter().map(|v| v * scale * scale).collect();
        let scaled = effects(&y, &v);
        let after = pool(&scaled, Level::NINETY_FIVE);
        for (after, before) in [
            (after.reml, &before.reml),
            (after.paule_mandel, &before.paule_mandel),
        ] {
            let (after, before) = (after.unwrap(), before.as_ref().unwrap());
            assert_close(
                after.tau_squared,
                before.tau_squared * scale * scale,
                1e-13,
                0.0,
            );
            assert_close(after.estimate, before.estimate * scale, 1e-14, 0.0);
            assert_close(after.weights(&scaled).unwrap().sum(), 1.0, 1e-13, 0.0);
        }
    }
}

#[test]
fn effects_that_are_all_equal_have_no_spread() {
    let (_, variances) = crowd(K);
    let pooled = pool(&effects(&vec![0.1; K], &variances), Level::NINETY_FIVE);
    let reml = pooled.reml.unwrap();
    assert_close(reml.tau_squared, 0.0, 0.0, 0.0);
    assert_close(reml.estimate, 0.1, 0.0, 0.0);
    assert_close(pooled.heterogeneity.unwrap().q, 0.0, 0.0, 0.0);
}

#[test]
fn any_permutation_with_relabelled_clusters_gives_identical_bits() {
    // Coarse figures, so that many effects tie, within clusters and across them.
    let (estimates, variances) = crowd(K);
    let estimates: Vec<f64> = estimates.iter().map(|y| (y * 4.0).round() / 4.0).collect();
    let variances: Vec<f64> = variances.iter().map(|v| (v * 4.0).round() / 4.0).collect();
    let clusters: Vec<usize> = (0..K).map(|idx| idx * 7 % (K / 3)).collect();
    let reference = pool(
        &clustered(&estimates, &variances, &clusters),
        Level::NINETY_FIVE,
    );
    for seed in 1..6_usize {
        let step = [2, 3, 11, 101, 997][seed - 1];
        let order: Vec<usize> = (0..K).map(|idx| (idx * step + seed) % K).collect();
        let pick = |column: &[f64]| order.iter().map(|&idx| column[idx]).collect::<Vec<_>>();
        let labels: Vec<usize> = order
            .iter()
            .map(|&idx| clusters[idx].wrapping_mul(7919) % 1_000_003 * (seed * seed) + seed)
            .collect();
        let permuted = clustered(&pick(&estimates), &pick(&variances), &labels);
        assert_eq!(permuted, clustered(&estimates, &variances, &clusters));
        assert_eq!(pool(&permuted, Level::NINETY_FIVE), reference);
    }
}
