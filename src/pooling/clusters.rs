//! Cluster-robust standard error of a pooled mean: CR2 with Satterthwaite degrees of freedom.
//!
//! Bell & McCaffrey 2002 (Survey Methodology 28:169); Tipton 2015 (Psychol Methods 20:375);
//! Pustejovsky & Tipton 2018 (J Bus Econ Stat 36:672). For the mean alone, with
//! `Phi = diag(phi)`, `phi = v + tau_squared = 1 / w`, `s1 = sum w`, the adjustment of cluster `j`
//! is `A = D B^{+1/2} D` with `D = Phi^{1/2}` and
//!
//! `B = D (I - H) Phi (I - H)' D = diag(phi^2) - d d' / s1`, `d = phi^{1/2}`,
//!
//! because `H Phi = H Phi H' = 1 1' / s1`. `B^{+1/2}` is the symmetric square root of the
//! pseudo-inverse. With `a = A w` and `alpha = 1'a`:
//!
//! * variance `= sum_j (a'r)^2 / s1^2`;
//! * `T_ij s1^2 = [i = j] a'Phi a - alpha_i alpha_j / s1`, where the diagonal equals the squared
//!   length of `d^{-1}` projected on the range of `B`: `sum_j w` when `B` has full rank;
//! * `df = (tr T)^2 / sum T_ij^2`.
//!
//! Here the design is a column of ones; for covariates see [`super::regression`].

mod batches;

use nalgebra::{DMatrix, DVector};

use super::adjustment::Adjustment;
use super::profile::{Moments, Profile};
use super::reason::{Estimable, Reason, finite};
use super::sums::{Double, Real, compensated_sum};
pub(crate) use batches::Batches;
use batches::Mean;

/// Below 4 degrees of freedom the Satterthwaite approximation is not reliable (Tipton 2015).
const SMALLEST_DF: f64 = 4.0;

/// Five clusters of equal weight have exactly 4 degrees of freedom; this share forgives their
/// rounding.
const DF_ROUNDING: f64 = 1e-12;

/// A cluster-robust standard error and its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClusterRobust {
    /// Standard error, in the unit of the effects.
    pub se: f64,
    /// Satterthwaite degrees of freedom, at least 4.
    pub df: f64,
}

/// What one cluster adds to the sums.
#[derive(Debug, Clone, Copy)]
struct Contribution {
    /// `a'r`.
    score: f64,
    /// `T_jj s1^2`.
    diagonal: f64,
    /// `alpha`.
    total: f64,
}

/// Effects of one cluster: `(phi, r)` for each.
type Cluster = Vec<(f64, f64)>;

/// # Errors
/// [`Reason::NoClusters`], [`Reason::OneCluster`], [`Reason::FewDegreesOfFreedom`], or
/// [`Reason::OutOfRange`] when a sum overflows.
pub(crate) fn cluster_robust(
    profile: &Profile<'_>,
    moments: &Moments<Double>,
    tau_squared: f64,
) -> Estimable<ClusterRobust> {
    let effects = profile.effects();
    let labels = effects.clusters().ok_or(Reason::NoClusters)?;
    if effects.n_clusters() < 2 {
        return Err(Reason::OneCluster);
    }
    let total_weight = finite(moments.total_weight().value())?;
    if let Some(batches) = profile.batches() {
        return batches.robust(Mean {
            tau_squared,
            total_weight,
            heaviest: profile.heaviest_estimate(),
            offset: moments.offset,
        });
    }
    let mut clusters: Vec<Cluster> = vec![Vec::new(); effects.n_clusters()];
    let rows = profile
        .total_variances(tau_squared)
        .zip(profile.residuals(moments));
    for (&label, row) in labels.iter().zip(rows) {
        clusters
            .get_mut(label)
            .into_iter()
            .for_each(|cluster| cluster.push(row));
    }
    let contributions: Vec<Contribution> = clusters
        .iter()
        .map(|cluster| contribute(cluster, total_weight))
        .collect();
    combine(&contributions, total_weight)
}

/// Sums over clusters.
#[derive(Debug, Clone, Copy)]
struct Sums {
    /// Of the squared scores.
    scores: f64,
    /// `tr T s1^2`.
    trace: f64,
    /// Sum of the squared diagonal of `T s1^2`.
    diagonal: f64,
    /// Sum of its squares on one side of the diagonal.
    pairs: f64,
}

fn combine(contributions: &[Contribution], total_weight: f64) -> Estimable<ClusterRobust> {
    let scores = compensated_sum(contributions.iter().map(|c| c.score * c.score));
    let trace = compensated_sum(contributions.iter().map(|c| c.diagonal));
    // The off-diagonal part of sum T_ij^2 is summed from pairs i < j by running totals, which
    // subtracts nothing and stays linear in the number of clusters.
    let (mut pairs, mut so_far) = (Double::ZERO, Double::ZERO);
    for contribution in contributions {
        let squared = contribution.total * contribution.total / total_weight;
        pairs = f64::accumulate(pairs, squared * so_far.value());
        so_far = f64::accumulate(so_far, squared);
    }
    let diagonal = compensated_sum(contributions.iter().map(|c| c.diagonal * c.diagonal));
    let sums = Sums {
        scores,
        trace,
        diagonal,
        pairs: pairs.value(),
    };
    finish(sums, total_weight)
}

fn finish(sums: Sums, total_weight: f64) -> Estimable<ClusterRobust> {
    let squares = sums.diagonal + 2.0 * sums.pairs;
    let df = enough_df(finite(sums.trace * sums.trace / squares)?)?;
    Ok(ClusterRobust {
        se: finite(sums.scores.sqrt() / total_weight)?,
        df,
    })
}

/// Passes degrees of freedom on that the Satterthwaite approximation is good for.
///
/// # Errors
/// [`Reason::FewDegreesOfFreedom`] below 4.
pub(super) fn enough_df(df: f64) -> Estimable<f64> {
    if df < SMALLEST_DF * (1.0 - DF_ROUNDING) {
        Err(Reason::FewDegreesOfFreedom)
    } else {
        Ok(df)
    }
}

fn contribute(cluster: &[(f64, f64)], total_weight: f64) -> Contribution {
    if let &[(phi, residual)] = cluster {
        // B is the number phi^2 (1 - h) with leverage h = w / s1.
        let weight = 1.0 / phi;
        let adjusted = weight / (1.0 - weight / total_weight).sqrt();
        return Contribution {
            score: adjusted * residual,
            diagonal: weight,
            total: adjusted,
        };
    }
    // Dividing phi by the largest of the cluster keeps its square in range; the factor returns
    // through A w, which does not change when Phi and 1 / s1 are scaled together.
    let n = cluster.len();
    let phi = DVector::from_iterator(n, cluster.iter().map(|&(phi, _)| phi));
    let scale = phi.max();
    let scaled = &phi / scale;
    let root = scaled.map(f64::sqrt);
    let b = DMatrix::from_diagonal(&scaled.component_mul(&scaled))
        - (&root * root.transpose()) / (total_weight * scale);
    let inverse_root = root.map(f64::recip);
    let adjusted = Adjustment::new(root, b, scale).apply(&inverse_root);
    let residuals = cluster.iter().map(|&(_, residual)| residual);
    Contribution {
        score: compensated_sum(adjusted.vector.iter().zip(residuals).map(|(a, r)| a * r)),
        diagonal: adjusted.diagonal,
        total: compensated_sum(adjusted.vector.iter().copied()),
    }
}
