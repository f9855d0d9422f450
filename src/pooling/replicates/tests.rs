//! Laws of the replicate variance that hold for any data, and the edges.

use super::{ReplicateVariance, Replicates};
use crate::pooling::tests::{assert_close, sequence};
use crate::pooling::{NumericError, Reason};
use ndarray::ArrayView1;

/// Columns that a test can change before they are checked.
#[derive(Debug, Clone, Default)]
struct Table {
    means: Vec<f64>,
    variances: Vec<f64>,
    sizes: Vec<usize>,
    groups: Vec<usize>,
    clusters: Vec<usize>,
}

impl Table {
    fn push(&mut self, mean: f64, variance: f64, size: usize, group: usize, cluster: usize) {
        self.means.push(mean);
        self.variances.push(variance);
        self.sizes.push(size);
        self.groups.push(group);
        self.clusters.push(cluster);
    }

    fn check(&self) -> Result<Replicates, NumericError> {
        Replicates::new(
            ArrayView1::from(&self.means),
            ArrayView1::from(&self.variances),
            ArrayView1::from(&self.sizes),
            ArrayView1::from(&self.groups),
            ArrayView1::from(&self.clusters),
        )
    }

    fn variance(&self) -> ReplicateVariance {
        self.check().unwrap().variance().unwrap()
    }
}

/// Twelve clusters with two groups of two or three replicates each, on a grid.
fn example() -> Table {
    let on_grid = |x: f64| (x * 1024.0).round() / 1024.0;
    let numbers = sequence(200, 0.1);
    let mut table = Table::default();
    let mut next = 0;
    for cluster in 0..12 {
        for group in 0..2 {
            for _ in 0..2 + (cluster + group) % 2 {
                let (u, w) = (numbers[next], numbers[next + 90]);
                let size = 20 + next % 17;
                table.push(on_grid(9.0 * u), on_grid(0.25 + w), size, group, cluster);
                next += 1;
            }
        }
    }
    table
}

#[test]
fn the_estimate_is_unbiased_whatever_the_sizes_and_variances() {
    // Every replicate is its group's mean plus or minus one standard deviation. Over all signs
    // that has mean and covariance exactly as the model says, so the mean of the estimates is the
    // variance itself.
    let sigma_squared = 2.25;
    let sizes = [[30, 7], [12, 55], [1, 90], [40, 40], [25, 26]];
    let n_signs = 2 * sizes.len();
    let mut total = 0.0;
    for signs in 0..1_u32 << n_signs {
        let mut table = Table::default();
        for cluster in 0..10 {
            let group = cluster % 5;
            for (side, &size) in sizes[group].iter().enumerate() {
                let variance = 40.0 / f64::from(u32::try_from(size).unwrap());
                let sign = if signs >> (2 * group + side) & 1 == 0 {
                    1.0
                } else {
                    -1.0
                };
                let spread = f64::sqrt(sigma_squared + variance);
                let centre = f64::from(u32::try_from(7 * group).unwrap());
                table.push(centre + sign * spread, variance, size, 0, cluster);
            }
        }
        total += table.variance().untruncated;
    }
    assert_close(
        total / f64::from(1_u32 << n_signs),
        sigma_squared,
        1e-12,
        0.0,
    );
}

#[test]
fn equal_sizes_give_the_mean_square_less_the_sampling_variance() {
    let mut table = Table::default();
    for cluster in 0..10 {
        let half = f64::from(u32::try_from(cluster).unwrap()) + 1.0;
        table.push(5.0 - half, 0.5, 20, 0, cluster);
        table.push(5.0 + half, 0.5, 20, 0, cluster);
    }
    // Each pair has the variance 2 half^2; the squares of 1 to 10 add up to 385.
    let found = table.variance();
    assert_close(found.value, 2.0 * 38.5 - 0.5, 1e-15, 0.0);
    // With equal factors the jackknife is the standard error of the mean of ten numbers, here of
    // 2 half^2, whose squares add up to 4 times 25,333.
    let variance: f64 = 4.0 * (25_333.0 - 10.0 * 38.5 * 38.5) / 9.0;
    assert_close(found.se, (variance / 10.0).sqrt(), 1e-14, 0.0);
}

#[test]
fn replicates_more_alike_than_chance_give_zero_and_tell() {
    let mut table = example();
    table.means = vec![3.5; table.means.len()];
    let found = table.variance();
    assert_close(found.value, 0.0, 0.0, 0.0);
    assert!(found.untruncated < 0.0);
    assert!(0.0 < found.se);
}

#[test]
fn single_replicates_and_few_clusters_are_left_out() {
    let mut table = example();
    let before = table.check().unwrap();
    assert_eq!((before.n_groups(), before.n_clusters()), (24, 12));
    assert_eq!(before.n_replicates(), table.means.len());
    table.push(1e6, 1e-9, 1_000, 7, 3);
    table.push(1e6, 1e-9, 1_000, 0, 77);
    assert_eq!(table.check().unwrap(), before);
    let few = |n: usize| {
        let mut few = Table::default();
        for idx in (0..table.means.len()).filter(|&idx| table.clusters[idx] < n) {
            let (mean, variance) = (table.means[idx], table.variances[idx]);
            few.push(
                mean,
                variance,
                table.sizes[idx],
                table.groups[idx],
                table.clusters[idx],
            );
        }
        few.check().unwrap().variance()
    };
    assert_eq!(few(0), Err(Reason::FewerThanTenClusters));
    assert_eq!(few(9), Err(Reason::FewerThanTenClusters));
    assert!(few(10).is_ok());
}

#[test]
fn rows_that_cannot_be_are_refused_by_number() {
    let refused = |change: fn(&mut Table)| {
        let mut table = example();
        change(&mut table);
        table.check().unwrap_err()
    };
    let row = 5;
    assert_eq!(
        refused(|t| t.means[4] = f64::NAN),
        NumericError::EstimateNotFinite { row }
    );
    assert_eq!(
        refused(|t| t.variances[4] = f64::INFINITY),
        NumericError::VarianceNotFinite { row }
    );
    assert_eq!(
        refused(|t| t.variances[4] = 0.0),
        NumericError::VarianceNotPositive { row }
    );
    assert_eq!(
        refused(|t| t.sizes[4] = 0),
        NumericError::CountIsZero { row }
    );
    assert!(matches!(
        refused(|t| t.groups.truncate(3)),
        NumericError::LengthsDiffer {
            column: "groups",
            ..
        }
    ));
}

#[test]
fn order_labels_and_unit_do_not_matter() {
    let table = example();
    let before = table.variance();
    let mut order: Vec<usize> = (0..table.means.len()).collect();
    for seed in 0..10_u32 {
        let keys = sequence(order.len(), f64::from(seed) * 0.137);
        order.sort_by(|&a, &b| keys[a].total_cmp(&keys[b]));
        let mut other = Table::default();
        for &idx in &order {
            let cluster = (table.clusters[idx] * 7919 + seed as usize) % 10_007;
            let (mean, variance) = (table.means[idx], table.variances[idx]);
            other.push(
                mean,
                variance,
                table.sizes[idx],
                9 - table.groups[idx],
                cluster,
            );
        }
        assert_eq!(other.variance(), before);
    }
    for power in [-80, 90] {
        let scale = 2.0_f64.powi(power);
        let mut other = table.clone();
        for (mean, variance) in other.means.iter_mut().zip(&mut other.variances) {
            *mean *= scale;
            *variance *= scale * scale;
        }
        let after = other.variance();
        assert_close(after.value, before.value * scale * scale, 0.0, 0.0);
        assert_close(after.se, before.se * scale * scale, 0.0, 0.0);
    }
}

#[test]
fn a_common_offset_of_a_group_costs_no_digits() {
    let mut table = example();
    let before = table.variance();
    for (mean, cluster) in table.means.iter_mut().zip(&table.clusters) {
        *mean += 2.0_f64.powi(i32::try_from(*cluster).unwrap() + 20);
    }
    assert_eq!(table.variance(), before);
}

#[test]
fn extremes_end_in_a_number_or_a_reason() {
    for (mean, variance) in [(1e200, 1.0), (1.0, 1e-12), (1.0, 1e12), (1e-200, 1e-300)] {
        let mut table = example();
        for place in &mut table.means {
            *place *= mean;
        }
        for place in &mut table.variances {
            *place *= variance;
        }
        match table.check().unwrap().variance() {
            Ok(found) => assert!(0.0 <= found.value && found.se.is_finite()),
            Err(reason) => assert_eq!((reason, mean), (Reason::OutOfRange, 1e200)),
        }
    }
}
