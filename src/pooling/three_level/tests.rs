//! Laws of the three-level model that hold for any data, and the edges.

use super::{ThreeLevel, ThreeLevelModel, nested::Nested, three_level};
use crate::pooling::tests::{assert_close, clustered, effects, example, sequence};
use crate::pooling::{Effects, Level, Reason, pool};

fn fitted(effects: &Effects) -> ThreeLevelModel {
    three_level(effects, Level::NINETY_FIVE).model.unwrap()
}

/// Every figure with the power of the effects' unit that it carries and whether it moves with them.
fn figures(model: &ThreeLevelModel) -> Vec<(f64, i32, bool)> {
    let mut list = vec![
        (model.estimate, 1, true),
        (model.se, 1, false),
        (model.wald.low, 1, true),
        (model.t.low, 1, true),
        (model.t.high, 1, true),
        (model.tau_between_squared, 2, false),
        (model.tau_within_squared, 2, false),
        (model.total_heterogeneity, 2, false),
        (model.no_between.statistic, 0, false),
        (model.no_within.statistic, 0, false),
    ];
    list.extend(model.share_between.iter().map(|&share| (share, 0, false)));
    let p_values = [model.no_between.p, model.no_within.p];
    list.extend(p_values.iter().flatten().map(|&p| (p, 0, false)));
    list
}

/// Twelve clusters of one to four effects with both spreads, on a grid.
fn crowd() -> (Vec<f64>, Vec<f64>, Vec<usize>) {
    let on_grid = |x: f64| (x * 1024.0).round() / 1024.0;
    let shifts = sequence(12, 0.2);
    let noise = sequence(48, 0.61);
    let variances = sequence(48, 0.35);
    let mut table = (vec![], vec![], vec![]);
    for (cluster, shift) in shifts.iter().enumerate() {
        for effect in 0..=cluster % 4 {
            let place = 4 * cluster + effect;
            table.0.push(on_grid(3.0 * shift + 3.0 * noise[place]));
            table.1.push(on_grid(0.05 + 0.5 * variances[place]));
            table.2.push(cluster);
        }
    }
    table
}

#[test]
fn too_little_data_is_told_with_the_reason() {
    let reason = |effects: &Effects| {
        let ThreeLevel { model, .. } = three_level(effects, Level::NINETY_FIVE);
        model.unwrap_err()
    };
    assert_eq!(reason(&effects(&[], &[])), Reason::NoEffects);
    assert_eq!(reason(&clustered(&[1.0], &[1.0], &[4])), Reason::OneEffect);
    assert_eq!(
        reason(&effects(&[1.0, 2.0], &[1.0, 1.0])),
        Reason::NoClusters
    );
    let two = |clusters: &[usize]| clustered(&[1.0, 2.0], &[1.0, 1.0], clusters);
    assert_eq!(reason(&two(&[3, 3])), Reason::OneCluster);
    assert_eq!(reason(&two(&[3, 4])), Reason::NoRepeatedCluster);
    // The least that can be told apart: a mean, one contrast between and one within.
    let model = fitted(&clustered(&[0.0, 5.0, 9.0], &[0.5; 3], &[1, 1, 2]));
    assert_eq!(model.no_within.p, Err(Reason::FewerThanTenClusters));
    assert_close(model.t.df, 1.0, 0.0, 0.0);
}

#[test]
fn balanced_data_have_closed_forms() {
    // With equal variances and sizes REML is the analysis of variance (Searle et al. 1992, section
    // 3.8; from memory): within = MSW - v, between = (MSB - MSW) / n.
    let estimates = [1.0, 3.0, 2.5, 7.0, -1.0, 0.5, 4.0, 4.5, 0.5, 2.5, 7.0, 1.0];
    let clusters = [0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5];
    let model = fitted(&clustered(&estimates, &[0.25; 12], &clusters));
    let means: Vec<f64> = estimates
        .chunks(2)
        .map(|pair| f64::midpoint(pair[0], pair[1]))
        .collect();
    let centre = means.iter().sum::<f64>() / 6.0;
    let between = 2.0 * means.iter().map(|m| (m - centre).powi(2)).sum::<f64>() / 5.0;
    let within = estimates
        .chunks(2)
        .map(|pair| (pair[0] - pair[1]).powi(2) / 2.0)
        .sum::<f64>()
        / 6.0;
    assert!(within < between);
    assert_close(model.tau_within_squared, within - 0.25, 1e-14, 0.0);
    assert_close(
        model.tau_between_squared,
        (between - within) / 2.0,
        1e-13,
        0.0,
    );
    assert_close(model.estimate, centre, 1e-15, 0.0);
    // The plain t interval of the six cluster means.
    assert_close(model.se, (between / 12.0).sqrt(), 1e-14, 0.0);
    assert_close(model.t.df, 5.0, 0.0, 0.0);
}

#[test]
fn clusters_that_do_not_differ_leave_the_two_level_model() {
    // Every cluster has the same two effects, so clusters are more alike than chance.
    let estimates: Vec<f64> = (0..24)
        .map(|idx| if idx % 2 == 0 { 5.0 } else { -3.0 })
        .collect();
    let clusters: Vec<usize> = (0..24).map(|idx| idx / 2).collect();
    let variances: Vec<f64> = sequence(24, 0.4).mapv(|u| 0.5 + u).to_vec();
    let effects = clustered(&estimates, &variances, &clusters);
    let model = fitted(&effects);
    let two_level = pool(&effects, Level::NINETY_FIVE).reml.unwrap();
    assert_close(model.tau_between_squared, 0.0, 0.0, 0.0);
    assert_close(model.tau_within_squared, two_level.tau_squared, 1e-14, 0.0);
    assert_close(model.estimate, two_level.estimate, 1e-14, 0.0);
    assert_close(model.se, two_level.se, 1e-14, 0.0);
    assert_close(model.share_between.unwrap(), 0.0, 0.0, 0.0);
    assert_close(model.no_between.statistic, 0.0, 0.0, 0.0);
    assert_close(model.no_between.p.unwrap(), 1.0, 0.0, 0.0);
    // Without differences within clusters those between would have to explain all, and cannot.
    assert!(20.0 < model.no_within.statistic);
}

#[test]
fn equal_effects_show_no_heterogeneity() {
    let clusters: Vec<usize> = (0..20).map(|idx| idx / 2).collect();
    let model = fitted(&clustered(&[2.5; 20], &[0.5; 20], &clusters));
    assert_close(model.total_heterogeneity, 0.0, 0.0, 0.0);
    assert_close(model.estimate, 2.5, 0.0, 0.0);
    assert_close(model.se, (0.5_f64 / 20.0).sqrt(), 1e-15, 0.0);
    assert_eq!(model.share_between, Err(Reason::NoHeterogeneity));
    for test in [model.no_between, model.no_within] {
        assert_close(test.statistic, 0.0, 0.0, 0.0);
        assert_eq!(test.p, Err(Reason::OtherVarianceIsZero));
    }
}

#[test]
fn no_place_of_a_scan_is_higher() {
    // Precise effects close together and imprecise ones far off make several hills.
    let hilly = |spread: f64| {
        let y = [
            0.0,
            0.02,
            0.05,
            -0.06,
            spread,
            spread + 1.0,
            -spread,
            0.5 - spread,
        ];
        let v = [0.0005, 0.0004, 0.001, 0.001, 0.9, 0.8, 1.0, 0.7];
        clustered(&y, &v, &[1, 1, 2, 2, 3, 3, 4, 4])
    };
    let (y, v, c) = crowd();
    let (y_2, v_2, c_2) = example();
    let sets = [2.0, 4.0, 5.0, 6.0].map(hilly).into_iter();
    for effects in sets.chain([clustered(&y, &v, &c), clustered(&y_2, &v_2, &c_2)]) {
        let model = fitted(&effects);
        let nested = Nested::new(&effects).unwrap();
        let best = nested
            .at(model.tau_within_squared, model.tau_between_squared)
            .unwrap();
        assert_close(best.log_likelihood(), model.log_likelihood, 1e-14, 0.0);
        let grid: Vec<f64> = std::iter::once(0.0)
            .chain((0..36).map(|step| 1e-5 * 1.7_f64.powi(step)))
            .collect();
        for &within in &grid {
            for &between in &grid {
                let place = nested.at(within, between).unwrap();
                assert!(-1e-11 < best.log_likelihood_above(&place));
            }
        }
    }
}

#[test]
fn the_score_has_the_slope_that_it_says() {
    let (y, v, c) = crowd();
    let effects = clustered(&y, &v, &c);
    let nested = Nested::new(&effects).unwrap();
    for within in [0.01, 0.3, 1.0, 4.0] {
        let score = |within: f64| nested.highest(within).unwrap().score();
        let step = 1e-5 * within;
        let slope = (score(within + step).value - score(within - step).value) / (2.0 * step);
        assert_close(score(within).slope, slope, 1e-7, 0.0);
        let height = |within: f64| nested.highest(within).unwrap().log_likelihood();
        let rises = 0.0 < height(within + step) - height(within - step);
        assert_eq!(rises, 0.0 < score(within).value);
    }
}

#[test]
fn scaling_by_a_power_of_two_scales_every_bit() {
    let (y, v, c) = crowd();
    let before = fitted(&clustered(&y, &v, &c));
    for power in [-80, -3, 5, 90] {
        let scale = 2.0_f64.powi(power);
        let y: Vec<f64> = y.iter().map(|y| y * scale).collect();
        let v: Vec<f64> = v.iter().map(|v| v * scale * scale).collect();
        let after = fitted(&clustered(&y, &v, &c));
        for ((a, unit, _), (b, _, _)) in figures(&after).into_iter().zip(figures(&before)) {
            assert_close(a, b * scale.powi(unit), 0.0, 0.0);
        }
    }
}

#[test]
fn shifting_all_effects_shifts_locations_and_nothing_else() {
    let (y, v, c) = crowd();
    let before = fitted(&clustered(&y, &v, &c));
    let y: Vec<f64> = y.iter().map(|y| y + 65_536.0).collect();
    let after = fitted(&clustered(&y, &v, &c));
    for ((a, _, moves), (b, _, _)) in figures(&after).into_iter().zip(figures(&before)) {
        assert_close(a, if moves { b + 65_536.0 } else { b }, 1e-15, 0.0);
    }
}

#[test]
fn any_permutation_with_relabelled_clusters_gives_identical_bits() {
    let (mut y, mut v, mut c) = crowd();
    // Ties in estimate and variance, within and across clusters, are the hard part.
    y.extend([1.0, 1.0, 1.0, 5.0, 7.0, 1.0, 1.0]);
    v.extend([0.5; 7]);
    c.extend([20, 21, 21, 21, 20, 22, 23]);
    let reference = three_level(&clustered(&y, &v, &c), Level::NINETY_FIVE);
    for seed in 0..12_u32 {
        let keys = sequence(y.len(), f64::from(seed) * 0.137);
        let mut order: Vec<usize> = (0..y.len()).collect();
        order.sort_by(|&a, &b| keys[a].total_cmp(&keys[b]));
        let pick = |column: &[f64]| order.iter().map(|&idx| column[idx]).collect::<Vec<_>>();
        let labels: Vec<usize> = order
            .iter()
            .map(|&idx| (c[idx] * 7919 + seed as usize) % 10_007)
            .collect();
        let permuted = clustered(&pick(&y), &pick(&v), &labels);
        let found = three_level(&permuted, Level::NINETY_FIVE);
        // The debug form prints every bit that matters and tells 0 from -0.
        assert_eq!(format!("{found:?}"), format!("{reference:?}"));
    }
}

#[test]
fn extremes_end_in_a_number_or_a_reason() {
    let (y, v, c) = crowd();
    let n = y.len();
    let powers = |range: i32| -> Vec<f64> {
        (0..n)
            .map(|idx| 10.0_f64.powi(i32::try_from(7 * idx % 25).unwrap() * range / 12 - range))
            .collect()
    };
    let mut dominated = v.clone();
    dominated[0] = 1e-12;
    let far: Vec<f64> = y.iter().map(|y| y * 1e12).collect();
    let sets = [
        (y.clone(), powers(12)),
        (far.clone(), powers(12)),
        (y.clone(), dominated),
        (y.clone(), vec![1e-12; n]),
        (y.clone(), vec![1e12; n]),
        (far, vec![1e-12; n]),
        (y.iter().map(|y| y * 1e200).collect(), powers(150)),
        (y.iter().map(|y| y * 1e-200).collect(), powers(150)),
        (vec![1e308; n], powers(300)),
    ];
    for (idx, (y, v)) in sets.into_iter().enumerate() {
        let found = three_level(&clustered(&y, &v, &c), Level::NINETY_FIVE).model;
        match found {
            Ok(model) => {
                assert!(figures(&model).iter().all(|figure| figure.0.is_finite()));
                assert!(0.0 <= model.tau_between_squared && 0.0 <= model.tau_within_squared);
            }
            Err(reason) => {
                assert_eq!(reason, Reason::OutOfRange);
                assert!(6 <= idx, "{idx}");
            }
        }
    }
}
