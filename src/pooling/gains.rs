//! Who gains: what share of the true effects is above a threshold, and what one true effect
//! probably is.
//!
//! A measured effect is `y = theta + replicate part + sampling error`, where `theta` is what lasts
//! and the replicate part is what changes from one measurement to the next: with `m_1` and `m_2`
//! replicates on its two sides it has the variance `sigma^2 f`, `f = 1 / m_1 + 1 / m_2`, and
//! `sigma^2` comes from [`super::replicates`]. The between-effects variance of ordinary pooling
//! holds both, so it overstates how much the `theta` differ. [`TrueEffects`] is told which true
//! effects a question is about:
//!
//! * as measured, replicate part included: `tau^2` is that of [`super::pool`];
//! * without the replicate part: `tau^2` is the REML estimate with `v + sigma^2 f` in place of `v`.
//!   Where all effects have the same `f` that is `tau^2` less `sigma^2 f`, exactly and as long as
//!   this is positive; where they differ every effect is relieved of its own part.
//!
//! [`Spread::share_above`] and [`Spread::shrink`] have the formulae and say how often their intervals
//! cover. Nothing is estimable below ten clusters, or when the variance is estimated as 0, and no
//! single effect is guessed at without a replicate variance.

mod bootstrap;
mod share;
mod shrink;
#[cfg(test)]
mod tests;

pub use share::{Share, ShareMethod};
pub use shrink::{Measurement, Shrunken};

use ndarray::{Array1, ArrayView1, Axis, stack};

use super::effects::{Effects, NumericError, check_length};
use super::profile::Profile;
use super::reason::{Estimable, Reason, finite};
use super::replicates::ReplicateVariance;
use super::sums::{Double, compensated_sum};
use super::tau_squared::TauSquared;

/// Fewest clusters from which anything is said about single ones.
const FEWEST_CLUSTERS: usize = 10;

/// Effects, and which true effects a question is about.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueEffects {
    /// The variance of an effect about its true effect stands in place of its sampling variance.
    effects: Effects,
    replication: Option<Replication>,
}

/// What is known of the replicate part.
#[derive(Debug, Clone, PartialEq)]
struct Replication {
    variance: ReplicateVariance,
    /// `1 / m_1 + 1 / m_2` of every effect in canonical order.
    factors: Array1<f64>,
    /// The sampling variances alone, in canonical order.
    sampling: Array1<f64>,
}

/// The distribution of the true effects, as far as mean and variance go.
#[derive(Debug, Clone)]
pub struct Spread<'a> {
    /// Number of effects.
    pub k: usize,
    /// Number of clusters; equals `k` when no clusters were given.
    pub n_clusters: usize,
    /// Mean of the true effects, in the unit of the effects.
    pub mean: f64,
    /// Standard error of the mean: the model's own times the root of `max(1, q)`, as in
    /// [`super::Model::hartung_knapp_safe`], and the clustered one where that is larger.
    pub mean_se: f64,
    /// Variance of the true effects, positive, in the square of the effects' unit.
    pub tau_squared: f64,
    /// Standard error of `tau_squared`: that of the REML estimate, `sqrt(2 / tr PP)`, or the
    /// clustered one where that is larger, and that of the replicate part.
    pub tau_squared_se: f64,
    /// Part of the square of `tau_squared_se` that has nothing to do with the replicate part.
    reml_variance: f64,
    /// The mean of `f` with weights `w^2`, by which the replicate variance moves `tau_squared`.
    mean_factor: f64,
    covariances: Vec<Covariance>,
    source: &'a TrueEffects,
}

/// A covariance matrix of the mean and `tau_squared`.
#[derive(Debug, Clone, Copy)]
struct Covariance {
    mean: f64,
    tau_squared: f64,
    both: f64,
}

impl TrueEffects {
    /// The true effects as measured, with whatever changes from one measurement to the next.
    #[must_use]
    pub fn as_measured(effects: &Effects) -> Self {
        Self {
            effects: effects.clone(),
            replication: None,
        }
    }

    /// The true effects without the replicate part. The columns are those of [`Effects::new`];
    /// `counts` has the numbers of replicates on the two sides of every effect.
    ///
    /// # Errors
    /// As [`Effects::new`], and [`NumericError::CountIsZero`].
    pub fn without_replicate_part(
        estimates: ArrayView1<'_, f64>,
        variances: ArrayView1<'_, f64>,
        clusters: Option<ArrayView1<'_, usize>>,
        counts: [ArrayView1<'_, usize>; 2],
        variance: ReplicateVariance,
    ) -> Result<Self, NumericError> {
        // What is wrong with the columns is told before anything is computed from them.
        Effects::new(estimates, variances, clusters)?;
        for side in counts {
            check_length(estimates.len(), side.len(), "counts")?;
        }
        let mut factors = Array1::zeros(estimates.len());
        let [first, second] = counts;
        for (row, (place, (&m_1, &m_2))) in
            (1..).zip(factors.iter_mut().zip(first.iter().zip(second)))
        {
            *place = factor([m_1, m_2]).ok_or(NumericError::CountIsZero { row })?;
        }
        let totals = &variances + &(&factors * variance.value);
        let parts = stack![Axis(1), factors, variances];
        let (effects, parts) =
            Effects::with_moderators(estimates, totals.view(), clusters, parts.view())?;
        Ok(Self {
            effects,
            replication: Some(Replication {
                variance,
                factors: parts.column(0).to_owned(),
                sampling: parts.column(1).to_owned(),
            }),
        })
    }

    /// Mean and variance of the true effects.
    ///
    /// # Errors
    /// [`Reason::NoEffects`]; [`Reason::FewerThanTenClusters`]; [`Reason::NoHeterogeneity`] when
    /// the variance is estimated as 0; [`Reason::NotConverged`], or [`Reason::OutOfRange`] when
    /// sums overflow.
    pub fn spread(&self) -> Estimable<Spread<'_>> {
        let profile = Profile::new(&self.effects)?;
        let (k, n_clusters) = (self.effects.k(), self.effects.n_clusters());
        if n_clusters < FEWEST_CLUSTERS {
            return Err(Reason::FewerThanTenClusters);
        }
        let (mean, tau_squared) = mean_and_tau_squared(&profile)?;
        if tau_squared <= 0.0 {
            return Err(Reason::NoHeterogeneity);
        }
        let moments = profile.precise(tau_squared);
        let q = finite(moments.q().value())? / moments.df;
        let own = finite((Double::ONE / moments.total_weight()).value())?;
        let information = moments.trace_of_square().value();
        let mut covariances = vec![Covariance {
            mean: if q < 1.0 { own } else { own * q },
            tau_squared: finite(2.0 / information)?,
            both: 0.0,
        }];
        if self.effects.has_repeats() {
            let residuals: Vec<f64> = profile.residuals(&moments).collect();
            covariances.push(self.clustered(tau_squared, &residuals)?);
        }
        let largest = |part: fn(&Covariance) -> f64| {
            let parts = covariances.iter().map(part);
            parts.fold(0.0, |most, value| if most < value { value } else { most })
        };
        let reml_variance = largest(|c| c.tau_squared);
        let mean_factor = self.mean_factor(tau_squared);
        let moved = mean_factor * self.replicate_se();
        Ok(Spread {
            k,
            n_clusters,
            mean,
            mean_se: largest(|c| c.mean).sqrt(),
            tau_squared,
            tau_squared_se: finite((reml_variance + moved * moved).sqrt())?,
            reml_variance,
            mean_factor,
            covariances,
            source: self,
        })
    }

    /// Standard error of the replicate variance; 0 where it plays no part.
    fn replicate_se(&self) -> f64 {
        self.replication
            .as_ref()
            .map_or(0.0, |replication| replication.variance.se)
    }

    fn mean_factor(&self, tau_squared: f64) -> f64 {
        let Some(replication) = &self.replication else {
            return 0.0;
        };
        let weights = || {
            let variances = self.effects.variances().into_iter();
            variances.map(move |v| ((v + tau_squared) / tau_squared).powi(-2))
        };
        let weighted = weights().zip(&replication.factors).map(|(w, f)| w * f);
        compensated_sum(weighted) / compensated_sum(weights())
    }

    /// The linearised covariance with clusters as units (Huber 1967; Liang & Zeger 1986, Biometrika
    /// 73:13), from the estimating equations `sum w r = 0` and `sum (w^2 r^2 - w) = 0` of mean and
    /// variance, times `n / (n - 1)` for `n` clusters.
    fn clustered(&self, tau_squared: f64, residuals: &[f64]) -> Estimable<Covariance> {
        let n_clusters = self.effects.n_clusters();
        let labels = self.effects.clusters().ok_or(Reason::NoClusters)?;
        // Relative to tau_squared nothing has a unit.
        let tau = tau_squared.sqrt();
        let mut scores = vec![[Double::ZERO; 2]; n_clusters];
        let [mut total, mut total_square] = [Double::ZERO; 2];
        let rows = self.effects.variances().into_iter().zip(residuals);
        for (&label, (&v, &r)) in labels.iter().zip(rows) {
            let w = tau_squared / (v + tau_squared);
            let score = w * (r / tau);
            total = total + Double::from(w);
            total_square = total_square + Double::from(w * w);
            if let Some([of_mean, of_variance]) = scores.get_mut(label) {
                *of_mean = *of_mean + Double::from(score);
                *of_variance = *of_variance + Double::from(score * score - w);
            }
        }
        #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
        let n = n_clusters as f64;
        let moves = || {
            scores.iter().map(|&[of_mean, of_variance]| {
                let mean = (of_mean / total).value() * tau;
                (mean, (of_variance / total_square).value() * tau_squared)
            })
        };
        let sum = |term: fn((f64, f64)) -> f64| {
            finite(compensated_sum(moves().map(term)) * (n / (n - 1.0)))
        };
        Ok(Covariance {
            mean: sum(|(m, _)| m * m)?,
            tau_squared: sum(|(_, t)| t * t)?,
            both: sum(|(m, t)| m * t)?,
        })
    }
}

/// `1 / m_1 + 1 / m_2`; `None` when a count is 0.
#[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
fn factor(counts: [usize; 2]) -> Option<f64> {
    let [m_1, m_2] = counts;
    (0 < m_1 && 0 < m_2).then(|| 1.0 / m_1 as f64 + 1.0 / m_2 as f64)
}

/// The mean and the REML estimate of the between-effects variance.
fn mean_and_tau_squared(profile: &Profile<'_>) -> Estimable<(f64, f64)> {
    let at_zero = profile.precise(0.0);
    let tau_squared = TauSquared::new(profile, at_zero).restricted_maximum_likelihood()?;
    let moments = if 0.0 < tau_squared {
        profile.precise(tau_squared)
    } else {
        at_zero
    };
    Ok((finite(profile.mean(&moments))?, tau_squared))
}
