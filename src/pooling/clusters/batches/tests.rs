//! Clusters side by side against each by itself.

use super::super::{Cluster, combine, contribute};
use super::{Batches, Mean};
use crate::pooling::profile::Profile;
use crate::pooling::tests::{assert_close, clustered, sequence};
use crate::pooling::{Level, pool};

/// Every effect by cluster, each cluster worked out by its eigenvectors.
fn check(clusters: &[usize], variances: &[f64], relative: f64) {
    let k = clusters.len();
    let estimates = sequence(k, 0.3).mapv(|u| (u / (1.0 - u)).ln()).to_vec();
    let effects = clustered(&estimates, variances, clusters);
    let profile = Profile::new(&effects).unwrap();
    for tau_squared in [0.0, 0.8] {
        let moments = profile.precise(tau_squared);
        let total_weight = moments.total_weight().value();
        let mut grouped: Vec<Cluster> = vec![Vec::new(); effects.n_clusters()];
        let rows = profile
            .total_variances(tau_squared)
            .zip(profile.residuals(&moments));
        for (&label, row) in effects.clusters().unwrap().iter().zip(rows) {
            grouped[label].push(row);
        }
        let each: Vec<_> = grouped
            .iter()
            .map(|one| contribute(one, total_weight))
            .collect();
        let expected = combine(&each, total_weight).unwrap();
        let mean = Mean {
            tau_squared,
            total_weight,
            heaviest: profile.heaviest_estimate(),
            offset: moments.offset,
        };
        let actual = Batches::new(&effects).unwrap().robust(mean).unwrap();
        assert_close(actual.se, expected.se, relative, 0.0);
        assert_close(actual.df, expected.df, relative, 0.0);
    }
}

/// Clusters whose sizes come again and again in this order.
fn of_sizes(sizes: &[usize], k: usize) -> Vec<usize> {
    let sizes = sizes.iter().copied().cycle().enumerate();
    let mut labels: Vec<usize> = sizes
        .take(k)
        .flat_map(|(label, size)| std::iter::repeat_n(label, size))
        .take(k)
        .collect();
    // Members of a cluster far from each other.
    let order: Vec<usize> = (0..k).map(|idx| idx * 617 % k).collect();
    labels = order.iter().map(|&idx| labels[idx]).collect();
    labels
}

#[test]
fn clusters_of_every_size_agree_with_each_by_itself() {
    let k = 4001;
    let variances = sequence(k, 0.6).mapv(|u| 0.5 + 2.0 * u).to_vec();
    check(&of_sizes(&[1], k), &variances, 1e-13);
    check(&of_sizes(&[1, 2, 3, 4, 5], k), &variances, 1e-13);
    check(&of_sizes(&[1, 1, 2, 24, 7, 1, 25, 3], k), &variances, 1e-13);
    check(&of_sizes(&[9, 16, 2], k), &variances, 1e-13);
}

#[test]
fn a_cluster_with_much_of_the_weight_is_worked_out_by_itself() {
    let k = 1200;
    let mut variances = sequence(k, 0.6).mapv(|u| 0.5 + 2.0 * u).to_vec();
    // Effects of one cluster with a tenth of all weight, and of one with a hundredth.
    let clusters = of_sizes(&[3], k);
    for (variance, &cluster) in variances.iter_mut().zip(&clusters) {
        match cluster {
            5 => *variance = 0.02,
            6 => *variance = 0.2,
            _ => {}
        }
    }
    check(&clusters, &variances, 1e-13);
}

#[test]
fn a_crowd_of_equal_clusters_has_the_degrees_of_freedom_of_its_clusters() {
    // All weights are equal, so df is the number of clusters less one.
    let k = 3000;
    let estimates = sequence(k, 0.3).to_vec();
    let pooled = pool(
        &clustered(&estimates, &vec![1.0; k], &of_sizes(&[3], k)),
        Level::NINETY_FIVE,
    );
    let robust = pooled.fixed.unwrap().cluster_robust.unwrap();
    assert_close(robust.df, 999.0, 1e-12, 0.0);
}
