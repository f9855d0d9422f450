//! Cluster-robust variances of the coefficients: CR2 with Satterthwaite degrees of freedom.
//!
//! Bell & McCaffrey 2002 (Survey Methodology 28:169); Tipton 2015 (Psychol Methods 20:375);
//! Pustejovsky & Tipton 2018 (J Bus Econ Stat 36:672). With `Phi = diag(v + tau_squared)` and
//! `W = Phi^-1` the residual maker has `(I - H) Phi (I - H)' = Phi - X M X'`, so that every matrix
//! of the method splits into blocks of one cluster. For a combination `c'b` of coefficients, with
//! `g_j = A_j W_j X_j M c` and the adjustment `A_j` of [`super::super::adjustment`]:
//!
//! * variance `= sum_j (g_j' r_j)^2`;
//! * `T_ij = -u_i' u_j` with `u_j = F' X_j' g_j` and `M = F F'` for two clusters; the diagonal
//!   `T_jj = g_j' (Phi_j - X_j M X_j') g_j` equals the squared length of `D^-1 X_j M c` projected on
//!   the range of `B_j`;
//! * `df = (tr T)^2 / sum T_ij^2`.
//!
//! None of these changes when `Phi` and `M` are scaled together, so relative weights do.

use nalgebra::{DMatrix, DVector};

use super::fit::Fit;
use super::rows::Rows;
use crate::pooling::adjustment::Adjustment;
use crate::pooling::clusters::{ClusterRobust, enough_df};
use crate::pooling::reason::{Estimable, Reason, finite};
use crate::pooling::sums::compensated_sum;

/// A cluster whose `B` is below this in every entry, `Phi` being at most 1, carries its directions
/// alone: what is there is the rounding of a difference of ones.
const ALONE: f64 = 1e-13;

/// `tr T` equals `c' M c` unless a cluster's adjustment lost a direction, which is then missing
/// from the variance too. Rounding is far below this share of it.
const LOST: f64 = 1e-9;

/// What one cluster adds to the sums of one coefficient.
struct Contribution {
    /// `g'r`.
    score: f64,
    /// `T_jj`.
    diagonal: f64,
    /// `u`.
    direction: DVector<f64>,
}

/// Standard errors of the combinations, the columns of `combinations`: the weights of the mean
/// (with an intercept, first) and of the coefficients of the moderators about their means.
///
/// # Errors
/// [`Reason::NoClusters`], [`Reason::OneCluster`]; for one combination
/// [`Reason::RestsOnOneCluster`], [`Reason::FewDegreesOfFreedom`], or [`Reason::OutOfRange`] when a
/// sum overflows.
pub(super) fn cluster_robust(
    rows: &Rows,
    fit: &Fit,
    combinations: &DMatrix<f64>,
) -> Estimable<Vec<Estimable<ClusterRobust>>> {
    match rows.clusters.len() {
        0 => return Err(Reason::NoClusters),
        1 => return Err(Reason::OneCluster),
        _ => {}
    }
    let (columns, factor) = (
        fit.projection.whole_columns(),
        fit.projection.whole_factor(),
    );
    let half = &columns * &factor;
    // Row i of this holds x_i' M c for every combination.
    let rotated = factor.tr_mul(combinations);
    let weights = &half * &rotated;
    let mut per_combination: Vec<Vec<Contribution>> = Vec::new();
    per_combination.resize_with(combinations.ncols(), Vec::new);
    for members in &rows.clusters {
        let cluster = Cluster {
            weights: weights.select_rows(members),
            half: half.select_rows(members),
            relative: fit.projection.weights.select_rows(members),
            residuals: fit.residuals.select_rows(members),
            complements: fit.complements.select_rows(members),
        };
        for (list, contribution) in per_combination.iter_mut().zip(cluster.contribute()) {
            list.push(contribution);
        }
    }
    let variances = rotated.column_iter().map(|column| column.norm_squared());
    let combined = per_combination.iter().zip(variances);
    Ok(combined.map(|(list, own)| combine(list, own)).collect())
}

/// One cluster, a row an effect.
struct Cluster {
    /// `X M c`, a column a combination.
    weights: DMatrix<f64>,
    /// `X F`.
    half: DMatrix<f64>,
    /// Relative weights `u`.
    relative: DVector<f64>,
    residuals: DVector<f64>,
    complements: DVector<f64>,
}

impl Cluster {
    fn contribute(&self) -> Vec<Contribution> {
        match (self.relative.as_slice(), self.complements.as_slice()) {
            (&[weight], &[complement]) => self
                .weights
                .iter()
                .map(|&combined| self.single(combined, weight, complement))
                .collect(),
            _ => self.several(),
        }
    }

    /// `B` is the number `phi^2 (1 - h)`.
    fn single(&self, combined: f64, weight: f64, complement: f64) -> Contribution {
        let (g, diagonal) = if 0.0 < complement {
            let g = weight * combined / complement.sqrt();
            (g, weight * combined * combined)
        } else {
            (0.0, 0.0)
        };
        Contribution {
            score: g * self.residuals.sum(),
            diagonal,
            direction: self.half.row(0).transpose() * g,
        }
    }

    fn several(&self) -> Vec<Contribution> {
        let phi = self.relative.map(f64::recip);
        let scale = phi.max();
        let scaled = &phi / scale;
        let root = scaled.map(f64::sqrt);
        let mut rooted = self.half.clone();
        for mut column in rooted.column_iter_mut() {
            column.component_mul_assign(&root);
        }
        let b = DMatrix::from_diagonal(&scaled.component_mul(&scaled))
            - &rooted * rooted.transpose() / scale;
        let is_alone = b.amax() <= ALONE;
        let inverse_root = root.map(f64::recip);
        let adjustment = Adjustment::new(root, b, scale);
        self.weights
            .column_iter()
            .map(|column| {
                let mut adjusted = adjustment.apply(&column.component_mul(&inverse_root));
                if is_alone {
                    adjusted.vector.fill(0.0);
                    adjusted.diagonal = 0.0;
                }
                let g = &adjusted.vector;
                Contribution {
                    score: compensated_sum(g.iter().zip(&self.residuals).map(|(g, r)| g * r)),
                    diagonal: adjusted.diagonal,
                    direction: self.half.tr_mul(g),
                }
            })
            .collect()
    }
}

/// `own_variance` is `c' M c`; as a share of it, `T` stays in range in any unit.
fn combine(contributions: &[Contribution], own_variance: f64) -> Estimable<ClusterRobust> {
    let own_se = own_variance.sqrt();
    let scores = contributions.iter().map(|c| c.score / own_se);
    let variance = compensated_sum(scores.map(|score| score * score));
    let shares = || contributions.iter().map(|c| c.diagonal / own_variance);
    let trace = compensated_sum(shares());
    if trace < 1.0 - LOST {
        return Err(Reason::RestsOnOneCluster);
    }
    let diagonal = compensated_sum(shares().map(|share| share * share));
    // sum over i < j of (u_i' u_j)^2 by running totals of u u', which subtracts nothing and stays
    // linear in the number of clusters.
    let n = contributions.first().map_or(0, |c| c.direction.len());
    let mut so_far = DMatrix::zeros(n, n);
    let mut pairs = Vec::with_capacity(contributions.len());
    for contribution in contributions {
        let direction = contribution.direction.unscale(own_se);
        pairs.push(direction.dot(&(&so_far * &direction)));
        so_far.ger(1.0, &direction, &direction, 1.0);
    }
    let df = finite(trace * trace / (diagonal + 2.0 * compensated_sum(pairs)))?;
    Ok(ClusterRobust {
        df: enough_df(df)?,
        se: finite(variance.sqrt() * own_se)?,
    })
}
