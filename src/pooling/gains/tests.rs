//! Laws of shares and shrunken effects that hold for any data, and the edges.

mod edges;

use super::{Measurement, Share, ShareMethod, Spread, TrueEffects};
use crate::pooling::draws::Draws;
use crate::pooling::quantiles::Normal;
use crate::pooling::replicates::{ReplicateVariance, Replicates};
use crate::pooling::tests::{assert_close, clustered, effects, sequence};
use crate::pooling::{Effects, Level, pool};
use ndarray::{Array1, ArrayView1};

/// Columns that a test can change before they are checked.
#[derive(Debug, Clone)]
struct Table {
    estimates: Vec<f64>,
    variances: Vec<f64>,
    clusters: Vec<usize>,
    counts: [Vec<usize>; 2],
    replicate: ReplicateVariance,
}

impl Table {
    fn lasting(&self) -> TrueEffects {
        let [first, second] = &self.counts;
        TrueEffects::without_replicate_part(
            ArrayView1::from(&self.estimates),
            ArrayView1::from(&self.variances),
            Some(ArrayView1::from(&self.clusters)),
            [ArrayView1::from(first), ArrayView1::from(second)],
            self.replicate,
        )
        .unwrap()
    }

    fn effects(&self) -> Effects {
        clustered(&self.estimates, &self.variances, &self.clusters)
    }

    fn scaled(&self, scale: f64) -> Self {
        let squared = scale * scale;
        Self {
            estimates: self.estimates.iter().map(|y| y * scale).collect(),
            variances: self.variances.iter().map(|v| v * squared).collect(),
            replicate: ReplicateVariance {
                value: self.replicate.value * squared,
                untruncated: self.replicate.untruncated * squared,
                se: self.replicate.se * squared,
            },
            ..self.clone()
        }
    }
}

/// Twenty clusters, four of them with two effects, on a grid.
fn example() -> Table {
    let on_grid = |x: f64| (x * 1024.0).round() / 1024.0;
    let n = 24;
    Table {
        estimates: sequence(n, 0.3).mapv(|u| on_grid(6.0 * u - 1.0)).to_vec(),
        variances: sequence(n, 0.7).mapv(|u| on_grid(0.05 + u * u)).to_vec(),
        clusters: (0..n).map(|idx| idx % 20).collect(),
        counts: [
            (0..n).map(|idx| 1 + idx % 2).collect(),
            (0..n).map(|idx| 1 + idx % 3).collect(),
        ],
        replicate: ReplicateVariance {
            value: 0.5,
            untruncated: 0.5,
            se: 0.125,
        },
    }
}

fn share(spread: &Spread<'_>, threshold: f64) -> Share {
    spread.share_above(threshold, Level::NINETY_FIVE).unwrap()
}

/// An invented crowd whose true effects are known.
#[derive(Debug)]
struct Crowd {
    table: Table,
    truths: Vec<f64>,
}

/// `n` clusters with true effects of variance 1 about `mean` and replicates of variance 1; every
/// third is measured twice on both sides.
fn invent(n: usize, mean: f64) -> Crowd {
    let draws = Draws::of([mean]);
    let mut truths = Vec::new();
    let mut columns = (vec![], vec![], vec![]);
    let [mut means, mut variances] = [vec![], vec![]];
    let [mut groups, mut clusters] = [vec![], vec![]];
    for cluster in 0..n {
        let mut draw = draws.draw(u64::try_from(cluster).unwrap());
        let mut normal = || Normal::upper_quantile(draw.uniform()).unwrap();
        let truth = mean + normal();
        truths.push(truth);
        let count = if cluster % 3 == 0 { 2 } else { 1 };
        let sampling = 0.05 + 0.01 * f64::from(u32::try_from(cluster % 7).unwrap());
        let mut sides = [truth, 0.0];
        for (group, side) in sides.iter_mut().enumerate() {
            let centre = *side;
            let places: Vec<f64> = (0..count)
                .map(|_| centre + (1.0 + sampling).sqrt() * normal())
                .collect();
            *side = places.iter().sum::<f64>() / places.len() as f64;
            for place in places {
                means.push(place);
                variances.push(sampling);
                groups.push(group);
                clusters.push(cluster);
            }
        }
        columns.0.push(sides[0] - sides[1]);
        columns.1.push(2.0 * sampling / count as f64);
        columns.2.push(count);
    }
    let replicates = Replicates::new(
        ArrayView1::from(&means),
        ArrayView1::from(&variances),
        Array1::from_elem(means.len(), 40).view(),
        ArrayView1::from(&groups),
        ArrayView1::from(&clusters),
    );
    Crowd {
        table: Table {
            estimates: columns.0,
            variances: columns.1,
            clusters: (0..n).collect(),
            counts: [columns.2.clone(), columns.2],
            replicate: replicates.unwrap().variance().unwrap(),
        },
        truths,
    }
}

#[test]
fn the_replicate_part_is_what_makes_a_share_too_small() {
    // Three quarters are above 0 where the mean is 0.674 standard deviations away. With replicates
    // as different as the true effects, pooling alone says two thirds.
    let Crowd { table, truths } = invent(600, 0.674_489_750_196_081_7);
    let above = truths.iter().filter(|&&truth| 0.0 < truth).count();
    assert!((436..=464).contains(&above), "{above}");
    let measured = table.effects();
    let naive = TrueEffects::as_measured(&measured);
    let naive = share(&naive.spread().unwrap(), 0.0);
    assert!((0.62..0.68).contains(&naive.estimate), "{naive:?}");
    assert!(naive.interval.high < 0.75, "{naive:?}");
    let lasting = table.lasting();
    let spread = lasting.spread().unwrap();
    let found = share(&spread, 0.0);
    assert!((0.72..0.78).contains(&found.estimate), "{found:?}");
    assert!(found.interval.low < 0.75 && 0.75 < found.interval.high);
    let error = (spread.tau_squared - 1.0) / spread.tau_squared_se;
    assert!(error.abs() < 2.0, "{error}");

    // The same for one true effect: the interval holds it as often as it says, the one that takes
    // the replicate part for lasting half as often.
    let whole = pool(&measured, Level::NINETY_FIVE).reml.unwrap();
    let [mut n_held, mut n_held_by_naive] = [0_u32; 2];
    for (idx, truth) in truths.iter().enumerate() {
        let (y, v) = (table.estimates[idx], table.variances[idx]);
        let measurement = Measurement::new(y, v, table.counts.each_ref().map(|c| c[idx])).unwrap();
        let guess = spread.shrink(&measurement, Level::NINETY_FIVE).unwrap();
        n_held += u32::from(guess.interval.low <= *truth && *truth <= guess.interval.high);
        let weight = whole.tau_squared / (whole.tau_squared + v);
        let miss = whole.estimate + weight * (y - whole.estimate) - truth;
        n_held_by_naive += u32::from(miss.abs() <= 1.96 * (weight * v).sqrt());
    }
    assert!((555..=585).contains(&n_held), "{n_held}");
    assert!(n_held_by_naive < 350, "{n_held_by_naive}");
}

#[test]
fn as_measured_is_ordinary_pooling() {
    let effects = example().effects();
    let truth = TrueEffects::as_measured(&effects);
    let spread = truth.spread().unwrap();
    let reml = pool(&effects, Level::NINETY_FIVE).reml.unwrap();
    assert_close(spread.mean, reml.estimate, 0.0, 0.0);
    assert_close(spread.tau_squared, reml.tau_squared, 0.0, 0.0);
    // Half of a symmetric distribution is above its mean.
    let half = share(&spread, spread.mean);
    assert_close(half.estimate, 0.5, 1e-15, 0.0);
    assert_close(
        0.5 - half.interval.low,
        half.interval.high - 0.5,
        1e-12,
        0.0,
    );
    assert_eq!(half.method, ShareMethod::Normal);
}

#[test]
fn equal_counts_take_the_replicate_part_off_exactly() {
    let mut table = example();
    table.counts = [vec![2; 24], vec![4; 24]];
    let lasting = table.lasting();
    let spread = lasting.spread().unwrap();
    let reml = pool(&table.effects(), Level::NINETY_FIVE).reml.unwrap();
    assert_close(
        spread.tau_squared,
        reml.tau_squared - 0.5 * 0.75,
        1e-13,
        0.0,
    );
    assert_close(spread.mean, reml.estimate, 1e-13, 0.0);
    // Its uncertainty adds that of the replicate variance, 0.75 times 0.125.
    let sure = ReplicateVariance {
        se: 0.0,
        ..table.replicate
    };
    table.replicate = sure;
    let known = table.lasting();
    let known = known.spread().unwrap();
    assert_close(
        spread.tau_squared_se.powi(2) - known.tau_squared_se.powi(2),
        (0.75 * 0.125_f64).powi(2),
        1e-11,
        0.0,
    );
}

#[test]
fn an_effect_told_twice_adds_no_certainty() {
    let plain = effects(&example().estimates, &example().variances);
    let once = TrueEffects::as_measured(&plain);
    let twice = |clusters: &[usize]| {
        let double = |column: &[f64]| [column, column].concat();
        clustered(
            &double(&example().estimates),
            &double(&example().variances),
            clusters,
        )
    };
    let labels: Vec<usize> = (0..24).collect();
    let doubled = TrueEffects::as_measured(&twice(&[labels.clone(), labels].concat()));
    let apart = TrueEffects::as_measured(&twice(&(0..48).collect::<Vec<_>>()));
    let width = |truth: &TrueEffects| {
        let interval = share(&truth.spread().unwrap(), 0.5).interval;
        interval.high - interval.low
    };
    // Independent copies would narrow the interval by about the root of two.
    assert!(width(&apart) < 0.8 * width(&once));
    // The copies still make the divisor of the variance 47 in place of 23 and let the flat tails of
    // these numbers be seen.
    assert!(0.9 * width(&once) < width(&doubled));
}

#[test]
fn calibrated_shares_fall_with_the_threshold_and_keep_a_doubt() {
    let table = example();
    let lasting = table.lasting();
    let spread = lasting.spread().unwrap();
    let far = spread.mean + 4.0 * spread.tau_squared.sqrt();
    let none = share(&spread, far);
    assert_eq!(none.method, ShareMethod::Calibrated);
    assert_close(none.estimate, 0.0, 0.0, 0.0);
    assert_close(none.interval.low, 0.0, 0.0, 0.0);
    // Wilson's end for none of twenty: z^2 / (20 + z^2).
    let z_squared = 1.959_963_984_540_054_f64.powi(2);
    assert!(z_squared / (20.0 + z_squared) * (1.0 - 1e-14) <= none.interval.high);
    // Two clusters are above, one of them with one of its two effects.
    let some = share(&spread, spread.mean + 1.3 * spread.tau_squared.sqrt());
    assert_eq!(some.method, ShareMethod::Calibrated);
    assert!(0.0 < some.se.unwrap());
    assert!(some.interval.low <= some.estimate && some.estimate <= some.interval.high);
    assert!(none.interval.high <= some.interval.high);
    assert!(some.by_normal < 0.15 && none.by_normal < some.by_normal);
}

#[test]
fn shrunken_effects_lie_between_the_measured_one_and_the_mean() {
    let table = example();
    let lasting = table.lasting();
    let spread = lasting.spread().unwrap();
    let shrink = |y: f64, v: f64, m: usize| {
        let measurement = Measurement::new(y, v, [m, m]).unwrap();
        spread.shrink(&measurement, Level::NINETY_FIVE).unwrap()
    };
    let usual = shrink(4.0, 0.5, 2);
    assert!(spread.mean < usual.estimate && usual.estimate < 4.0);
    // B = tau^2 / (tau^2 + sigma^2 + v) with two replicates on both sides.
    let expected = spread.tau_squared / (spread.tau_squared + 0.5 + 0.5);
    assert_close(usual.weight, expected, 1e-15, 0.0);
    assert!(usual.weight < shrink(4.0, 0.1, 2).weight);
    assert!(usual.weight < shrink(4.0, 0.5, 9).weight);
    assert_close(
        shrink(spread.mean, 0.5, 2).estimate,
        spread.mean,
        1e-15,
        0.0,
    );
    // Hardly anything is measured: what is left is the distribution of the true effects.
    let blind = shrink(4.0, 1e12, 2);
    assert_close(blind.estimate, spread.mean, 1e-11, 0.0);
    let spread_of_all = (spread.tau_squared + spread.mean_se.powi(2)).sqrt();
    assert_close(blind.se, spread_of_all, 1e-9, 0.0);
}

#[test]
fn scaling_by_a_power_of_two_scales_every_bit() {
    let table = example();
    let lasting = table.lasting();
    let before = lasting.spread().unwrap();
    for power in [-80, 90] {
        let scale = 2.0_f64.powi(power);
        let scaled = table.scaled(scale).lasting();
        let after = scaled.spread().unwrap();
        assert_close(
            after.tau_squared,
            before.tau_squared * scale * scale,
            0.0,
            0.0,
        );
        assert_close(
            after.tau_squared_se,
            before.tau_squared_se * scale * scale,
            0.0,
            0.0,
        );
        assert_close(after.mean_se, before.mean_se * scale, 0.0, 0.0);
        for threshold in [0.5, 5.0] {
            let (a, b) = (share(&after, threshold * scale), share(&before, threshold));
            assert_eq!(
                (a.estimate, a.se, a.interval),
                (b.estimate, b.se, b.interval)
            );
        }
        let guess = |spread: &Spread<'_>, scale: f64| {
            let measurement = Measurement::new(3.0 * scale, 0.5 * scale * scale, [1, 2]).unwrap();
            spread.shrink(&measurement, Level::NINETY_FIVE).unwrap()
        };
        let (a, b) = (guess(&after, scale), guess(&before, 1.0));
        assert_close(a.estimate, b.estimate * scale, 0.0, 0.0);
        assert_close(a.se, b.se * scale, 0.0, 0.0);
        assert_close(a.interval.low, b.interval.low * scale, 0.0, 0.0);
    }
}

#[test]
fn any_permutation_with_relabelled_clusters_gives_identical_bits() {
    let table = example();
    let figures = |table: &Table| {
        let lasting = table.lasting();
        let spread = lasting.spread().unwrap();
        let [central, tail] = [0.5, 5.0].map(|threshold| share(&spread, threshold));
        let parts = (spread.mean, spread.mean_se, spread.tau_squared_se);
        format!("{central:?} {tail:?} {parts:?}")
    };
    let reference = figures(&table);
    for seed in 0..3_u32 {
        let keys = sequence(24, f64::from(seed) * 0.137);
        let mut order: Vec<usize> = (0..24).collect();
        order.sort_by(|&a, &b| keys[a].total_cmp(&keys[b]));
        let pick = |column: &[f64]| order.iter().map(|&idx| column[idx]).collect::<Vec<_>>();
        let take = |column: &[usize]| order.iter().map(|&idx| column[idx]).collect::<Vec<_>>();
        let permuted = Table {
            estimates: pick(&table.estimates),
            variances: pick(&table.variances),
            clusters: order
                .iter()
                .map(|&idx| (table.clusters[idx] * 7919 + seed as usize) % 10_007)
                .collect(),
            counts: table.counts.each_ref().map(|column| take(column)),
            replicate: table.replicate,
        };
        assert_eq!(figures(&permuted), reference);
    }
}
