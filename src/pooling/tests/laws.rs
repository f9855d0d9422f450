//! What must not change, or change in step, when the data are moved, scaled or reordered.

use super::{assert_close, clustered, example, figures, models, pooled, sequence};
use crate::pooling::profile::Profile;
use crate::pooling::{Effects, Level, pool};

#[test]
fn shifting_all_effects_shifts_locations_and_nothing_else() {
    let (estimates, variances, clusters) = example();
    let shifted: Vec<f64> = estimates.iter().map(|y| y + 64.0).collect();
    let before = pool(
        &clustered(&estimates, &variances, &clusters),
        Level::NINETY_FIVE,
    );
    let after = pool(
        &clustered(&shifted, &variances, &clusters),
        Level::NINETY_FIVE,
    );
    for (a, b) in models(&after).into_iter().zip(models(&before)) {
        for ((a, _, moves), (b, _, _)) in figures(a).into_iter().zip(figures(b)) {
            assert_close(a, if moves { b + 64.0 } else { b }, 1e-14, 0.0);
        }
    }
    assert_eq!(after.heterogeneity, before.heterogeneity);
}

#[test]
fn scaling_by_a_power_of_two_scales_every_bit() {
    let (estimates, variances, clusters) = example();
    let before = pool(
        &clustered(&estimates, &variances, &clusters),
        Level::NINETY_FIVE,
    );
    for power in [-80, -3, 5, 90] {
        let scale = 2.0_f64.powi(power);
        let y: Vec<f64> = estimates.iter().map(|y| y * scale).collect();
        let v: Vec<f64> = variances.iter().map(|v| v * scale * scale).collect();
        let after = pool(&clustered(&y, &v, &clusters), Level::NINETY_FIVE);
        for (a, b) in models(&after).into_iter().zip(models(&before)) {
            for ((a, unit, _), (b, _, _)) in figures(a).into_iter().zip(figures(b)) {
                assert_close(a, b * scale.powi(unit), 1e-15, 0.0);
            }
        }
    }
}

#[test]
fn mirroring_the_effects_mirrors_the_means() {
    let (estimates, variances, _) = example();
    let mirrored: Vec<f64> = estimates.iter().map(|y| -y).collect();
    for (a, b) in models(&pooled(&mirrored, &variances))
        .into_iter()
        .zip(models(&pooled(&estimates, &variances)))
    {
        assert_close(a.estimate, -b.estimate, 1e-14, 0.0);
        assert_close(a.wald.low, -b.wald.high, 1e-14, 0.0);
        assert_close(a.wald.p, b.wald.p, 1e-12, 0.0);
    }
}

#[test]
fn any_permutation_with_relabelled_clusters_gives_identical_bits() {
    let (mut estimates, mut variances, mut clusters) = example();
    // Ties in estimate and variance, within and across clusters, are the hard part.
    estimates.extend([1.0, 1.0, 1.0, 5.0, 7.0, 1.0, 1.0]);
    variances.extend([0.5; 7]);
    clusters.extend([20, 21, 21, 21, 20, 22, 23]);
    let reference = pool(
        &clustered(&estimates, &variances, &clusters),
        Level::NINETY_FIVE,
    );
    for seed in 0..40_u32 {
        let mut order: Vec<usize> = (0..estimates.len()).collect();
        let keys = sequence(order.len(), f64::from(seed) * 0.137);
        let step = 1 + seed as usize % 5;
        order.sort_by(|&a, &b| keys[a * step % keys.len()].total_cmp(&keys[b * step % keys.len()]));
        let pick = |column: &[f64]| order.iter().map(|&idx| column[idx]).collect::<Vec<_>>();
        let labels: Vec<usize> = order
            .iter()
            .map(|&idx| (clusters[idx] * 7919 + seed as usize) % 10_007)
            .collect();
        let permuted = clustered(&pick(&estimates), &pick(&variances), &labels);
        let found = pool(&permuted, Level::NINETY_FIVE);
        // The debug form prints every bit that matters and tells 0 from -0.
        assert_eq!(format!("{found:?}"), format!("{reference:?}"));
    }
}

#[test]
fn weights_add_up_to_one_and_follow_the_canonical_order() {
    let (estimates, variances, _) = example();
    let effects = super::effects(&estimates, &variances);
    assert!(effects.estimates().iter().is_sorted());
    for model in models(&pool(&effects, Level::NINETY_FIVE)) {
        let weights = model.weights(&effects).unwrap();
        assert_close(weights.sum(), 1.0, 1e-15, 0.0);
        let mean: f64 = weights
            .iter()
            .zip(effects.estimates())
            .map(|(w, y)| w * y)
            .sum();
        assert_close(mean, model.estimate, 1e-14, 0.0);
    }
}

#[test]
fn paule_mandel_makes_the_hartung_knapp_factor_one() {
    let (estimates, variances, _) = example();
    let model = pooled(&estimates, &variances).paule_mandel.unwrap();
    assert!(0.0 < model.tau_squared);
    assert_close(model.hartung_knapp.unwrap().se, model.se, 1e-15, 0.0);
}

#[test]
fn equal_variances_have_closed_forms() {
    // With equal variances all three estimators are the sample variance minus the variance.
    let estimates = [0.0, 1.0, 3.0, 8.0, -2.0];
    let pooled = pooled(&estimates, &[0.75; 5]);
    for model in super::random_models(&pooled) {
        assert_close(model.tau_squared, 14.5 - 0.75, 2e-16, 0.0);
        assert_close(model.estimate, 2.0, 2e-16, 0.0);
    }
    // tr PP = (k - 1) / (v + tau_squared)^2.
    let variance = pooled
        .heterogeneity
        .unwrap()
        .reml_tau_squared_variance
        .unwrap();
    assert_close(variance, 2.0 * 14.5 * 14.5 / 4.0, 1e-15, 0.0);
}

#[test]
fn singleton_clusters_give_hc2() {
    // HC2 of a weighted mean: sum w^2 r^2 / (1 - w / sum w) / (sum w)^2 (MacKinnon & White 1985).
    let (estimates, variances, _) = example();
    let clusters: Vec<usize> = (0..12).collect();
    let effects: Effects = clustered(&estimates, &variances, &clusters);
    let model = pool(&effects, Level::NINETY_FIVE).reml.unwrap();
    let sum: f64 = effects
        .variances()
        .iter()
        .map(|v| 1.0 / (v + model.tau_squared))
        .sum();
    let meat: f64 = effects
        .variances()
        .iter()
        .zip(effects.estimates())
        .map(|(v, y)| {
            let w = 1.0 / (v + model.tau_squared);
            (w * (y - model.estimate)).powi(2) / (1.0 - w / sum)
        })
        .sum();
    assert_close(
        model.cluster_robust.unwrap().se,
        meat.sqrt() / sum,
        1e-14,
        0.0,
    );
}

#[test]
fn balanced_equal_clusters_have_one_fewer_degrees_of_freedom_than_clusters() {
    // With equal variances and sizes CR2 is the standard error of the mean of the cluster means.
    let estimates = [1.0, 3.0, 2.0, 6.0, -1.0, 0.0, 4.0, 4.5, 0.5, 2.5, 7.0, 1.0];
    let clusters = [0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5];
    let model = pool(
        &clustered(&estimates, &[2.0; 12], &clusters),
        Level::NINETY_FIVE,
    )
    .fixed
    .unwrap();
    let means: Vec<f64> = estimates
        .chunks(2)
        .map(|pair| pair.iter().sum::<f64>() / 2.0)
        .collect();
    let centre = means.iter().sum::<f64>() / 6.0;
    let variance = means
        .iter()
        .map(|mean| (mean - centre).powi(2))
        .sum::<f64>()
        / 5.0
        / 6.0;
    let robust = model.cluster_robust.unwrap();
    assert_close(robust.se, variance.sqrt(), 1e-14, 0.0);
    assert_close(robust.df, 5.0, 1e-14, 0.0);
}

#[test]
fn reml_takes_the_highest_of_several_hills() {
    // Two precise effects close together and imprecise ones far off: one hill at 0 or near it and
    // another where the imprecise effects are taken at their word.
    let mut seen_many = 0;
    for spread in [4.0, 5.0, 5.5, 6.0, 7.0, 8.0] {
        let estimates = [0.0, 0.05, -0.06, spread, 1.0 - spread, spread + 1.0];
        let effects = super::effects(&estimates, &[0.0005, 0.001, 0.001, 0.9, 0.8, 1.0]);
        let profile = Profile::new(&effects).unwrap();
        let found = pool(&effects, Level::NINETY_FIVE).reml.unwrap().tau_squared;
        let likelihood = |t: f64| profile.restricted_log_likelihood(t);
        let scan: Vec<f64> = std::iter::once(0.0)
            .chain((0..40_000).map(|step| 1e-8 * 1.001_f64.powi(step)))
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
        assert!(
            best <= likelihood(found) + 1e-12,
            "spread {spread}: {found}"
        );
        assert!(likelihood(found) - best < 1e-5, "spread {spread}: {found}");
    }
    assert!(0 < seen_many);
}
