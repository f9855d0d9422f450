//! The calibrated share and its bootstrap interval.
//!
//! Calibrated estimates `theta_i = mean + sqrt(tau^2 / (tau^2 + v_i)) (y_i - mean)` have the mean
//! and the variance of the true effects without being normal (Wang & Lee 2019, Res Synth Methods
//! 10:255; Mathur & VanderWeele 2020, Res Synth Methods 11:361, use them for shares; from memory).
//! The share counts those above the threshold, every cluster once: the effects of a cluster of
//! three count a third each.
//!
//! The interval is the percentile interval of 2,000 draws of whole clusters, `mean` and `tau^2`
//! estimated anew in each, widened where needed to the interval of Wilson (1927, J Am Stat Assoc
//! 22:209) for as many clusters: even true effects known without error leave that much doubt. The
//! replicate variance, which comes from other numbers, is drawn from a normal distribution with its
//! standard error, cut off at 0.
//!
//! In 400 simulated crowds of 10, 20 and 50 clusters with 90 and 97 % of the true effects above the
//! threshold, the percentile interval alone covered 49 to 95 % of the time, because often all
//! calibrated estimates are on one side, and the accelerated one with corrected bias (Efron 1987, J
//! Am Stat Assoc 82:171) 49 to 93 %; hence the widening.
//!
//! A call makes 2,000 REML fits: 0.03 to 0.3 s for 10 to 100 effects.

use super::{Spread, TrueEffects, mean_and_tau_squared};
use crate::pooling::draws::{Draw, Draws};
use crate::pooling::effects::Effects;
use crate::pooling::level::Level;
use crate::pooling::model::Interval;
use crate::pooling::profile::Profile;
use crate::pooling::quantiles::Normal;
use crate::pooling::reason::{Estimable, Reason, finite};
use crate::pooling::sums::compensated_sum;
use ndarray::Array1;

/// Number of draws, so that 50 lie beyond each end of a 95 % interval.
const N_DRAWS: u32 = 2_000;

/// A calibrated share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Calibrated {
    pub(super) share: f64,
    pub(super) se: Estimable<f64>,
    pub(super) interval: Interval,
}

/// # Errors
/// [`Reason::NotConverged`], or [`Reason::OutOfRange`] when sums overflow.
pub(super) fn calibrate(
    spread: &Spread<'_>,
    threshold: f64,
    level: Level,
) -> Estimable<Calibrated> {
    let crowd = Crowd::new(spread.source);
    let once = vec![1; crowd.sizes.len()];
    let share = crowd.share(
        &once,
        &crowd.rows,
        (spread.mean, spread.tau_squared),
        threshold,
    );
    let draws = crowd.draws(spread.tau_squared);
    let mut shares = Vec::new();
    for number in 0..N_DRAWS {
        let mut draw = draws.draw(u64::from(number));
        let counts = crowd.resample(&mut draw);
        let rows = crowd.redraw_variances(spread.source, &mut draw)?;
        let fit = refit(&rows, &counts)?;
        shares.push(crowd.share(&counts, &rows, fit, threshold));
    }
    shares.sort_unstable_by(f64::total_cmp);
    let wilson = wilson(share, crowd.n_clusters(), level)?;
    let percentile = percentile(&shares, level).ok_or(Reason::NotConverged)?;
    Ok(Calibrated {
        share: finite(share)?,
        se: standard_deviation(&shares),
        interval: percentile.widened_to(&wilson),
    })
}

/// Estimate, variance about the true effect, and cluster.
type Row = (f64, f64, usize);

/// Effects in canonical order with their clusters.
#[derive(Debug)]
struct Crowd {
    rows: Vec<Row>,
    /// Number of effects of every cluster.
    sizes: Vec<u32>,
}

impl Crowd {
    fn new(source: &TrueEffects) -> Self {
        let effects = &source.effects;
        let clusters = effects
            .clusters()
            .map_or_else(|| (0..effects.k()).collect(), |clusters| clusters.to_vec());
        let mut sizes = vec![0; effects.n_clusters()];
        for &cluster in &clusters {
            if let Some(size) = sizes.get_mut(cluster) {
                *size += 1;
            }
        }
        let rows = effects.estimates().into_iter().zip(effects.variances());
        Self {
            rows: rows
                .zip(clusters)
                .map(|((&y, &v), cluster)| (y, v, cluster))
                .collect(),
            sizes,
        }
    }

    #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
    fn n_clusters(&self) -> f64 {
        self.sizes.len() as f64
    }

    /// Draws that belong to these effects in units of `tau`, so that they do not depend on the
    /// unit, nor on the threshold.
    #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
    fn draws(&self, tau_squared: f64) -> Draws {
        let tau = tau_squared.sqrt();
        let numbers = self
            .rows
            .iter()
            .flat_map(|&(y, v, cluster)| [y / tau, v / tau_squared, cluster as f64]);
        Draws::of(numbers)
    }

    /// How often every cluster is in one draw of as many clusters with replacement.
    fn resample(&self, draw: &mut Draw) -> Vec<u32> {
        let n_clusters = self.sizes.len();
        let mut counts = vec![0; n_clusters];
        for _ in 0..n_clusters {
            if let Some(count) = counts.get_mut(draw.below(n_clusters)) {
                *count += 1;
            }
        }
        counts
    }

    /// The effects with another replicate variance that is as likely.
    fn redraw_variances(&self, source: &TrueEffects, draw: &mut Draw) -> Estimable<Vec<Row>> {
        let Some(replication) = &source.replication else {
            return Ok(self.rows.clone());
        };
        let variance = replication.variance;
        let drawn = variance.value + variance.se * Normal::upper_quantile(draw.uniform())?;
        let drawn = if drawn < 0.0 { 0.0 } else { drawn };
        let parts = replication.sampling.iter().zip(&replication.factors);
        let rows = self.rows.iter().zip(parts);
        Ok(rows
            .map(|(&(y, _, cluster), (v, f))| (y, v + drawn * f, cluster))
            .collect())
    }

    /// The share of calibrated estimates above the threshold.
    fn share(
        &self,
        counts: &[u32],
        rows: &[Row],
        (mean, tau_squared): (f64, f64),
        threshold: f64,
    ) -> f64 {
        let above = rows.iter().filter(|&&(y, v, _)| {
            threshold < mean + (tau_squared / (tau_squared + v)).sqrt() * (y - mean)
        });
        let parts = above.map(|&(_, _, cluster)| {
            let times = counts.get(cluster).copied().unwrap_or(0);
            let size = self.sizes.get(cluster).copied().unwrap_or(1);
            f64::from(times) / f64::from(size)
        });
        compensated_sum(parts) / self.n_clusters()
    }
}

/// Mean and variance with every effect as often as its cluster was drawn.
fn refit(rows: &[Row], counts: &[u32]) -> Estimable<(f64, f64)> {
    let drawn = || {
        rows.iter().flat_map(|&(y, v, cluster)| {
            let times = counts.get(cluster).copied().unwrap_or(0);
            (0..times).map(move |_| (y, v))
        })
    };
    let estimates: Array1<f64> = drawn().map(|(y, _)| y).collect();
    let variances: Array1<f64> = drawn().map(|(_, v)| v).collect();
    let effects = Effects::new(estimates.view(), variances.view(), None);
    let effects = effects.map_err(|_| Reason::OutOfRange)?;
    mean_and_tau_squared(&Profile::new(&effects)?)
}

/// The range that leaves the same number of draws, `tail` of them rounded down, beyond each end.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share of a small count"
)]
fn percentile(sorted: &[f64], level: Level) -> Option<Interval> {
    let beyond = (f64::from(N_DRAWS) * level.tail()) as usize;
    Some(Interval {
        low: *sorted.get(beyond)?,
        high: *sorted.get(sorted.len().checked_sub(beyond + 1)?)?,
    })
}

/// Wilson's interval of a share over `n`.
fn wilson(share: f64, n: f64, level: Level) -> Estimable<Interval> {
    let z = Normal::upper_quantile(level.tail())?;
    let z_squared = z * z;
    let centre = share + z_squared / (2.0 * n);
    let half_width = z * (share * (1.0 - share) / n + z_squared / (4.0 * n * n)).sqrt();
    let scale = 1.0 + z_squared / n;
    // At a share of 0 or 1 the near end is exactly there, but for rounding.
    let low = (centre - half_width) / scale;
    let high = (centre + half_width) / scale;
    Ok(Interval {
        low: if share <= 0.0 { 0.0 } else { finite(low)? },
        high: if 1.0 <= share { 1.0 } else { finite(high)? },
    })
}

fn standard_deviation(shares: &[f64]) -> Estimable<f64> {
    let n = f64::from(N_DRAWS);
    let mean = compensated_sum(shares.iter().copied()) / n;
    let squares = compensated_sum(shares.iter().map(|s| (s - mean) * (s - mean)));
    let is_spread = shares.first() < shares.last();
    if is_spread {
        finite((squares / (n - 1.0)).sqrt())
    } else {
        Err(Reason::DrawsAllEqual)
    }
}
