//! What single effects, or single clusters, do to the pooled mean: leaving them out in turn.
//!
//! Viechtbauer & Cheung 2010 (Res Synth Methods 1:112). Marked `-i` are figures of the model by
//! restricted maximum likelihood without effect `i`:
//!
//! * the studentised deleted residual `(y_i - mu_-i) / sqrt(v_i + tau_squared_-i + SE_-i^2)` with
//!   `SE_-i` the model's own standard error, about t or normal when the effect fits the others;
//! * a distance after Cook, `(mu - mu_-i)^2 / Var(mu)` with `Var(mu) = 1 / sum w` the model's own
//!   variance of the mean of all effects.
//!
//! Up to 2,000 effects left out one by one every deletion is worked out anew. Beyond, all but a few
//! are updates of the whole model in one step; see `one_step` for how and how well.

mod one_step;
#[cfg(test)]
mod tests;

use super::effects::Effects;
use super::level::Level;
use super::model::{self, Interval};
use super::random_mean::{RandomMean, side_of_zero};
use super::reason::{Estimable, Reason, finite};
use super::sums::compensated_sum;
use ndarray::Array1;

/// Largest number of deletions times effects that is worked out anew: 2,000 effects one by one,
/// which takes up to about ten seconds of an optimised build.
const MOST_ANEW: usize = 2_000 * 2_000;

/// Largest number of deletions times the sum of the cubes of cluster sizes for which CR2 is worked
/// out anew, as long again; its cost goes with the cube of a cluster.
const MOST_ROBUST: usize = 100_000_000;

/// What is left out together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// One effect.
    Effect,
    /// All effects of one cluster.
    Cluster,
}

/// What [`influence`] finds out.
#[derive(Debug, Clone, PartialEq)]
pub struct Influence {
    /// Number of effects.
    pub k: usize,
    /// Number of clusters; equals `k` when no clusters were given.
    pub n_clusters: usize,
    /// Confidence level of every interval.
    pub level: Level,
    /// What was left out together.
    pub unit: Unit,
    /// The mean of all effects.
    pub whole: Estimable<RandomMean>,
    /// One deletion for every effect in canonical order, or for every cluster in the order of the
    /// numbers in [`Effects::clusters`].
    pub deletions: Estimable<Vec<Deletion>>,
    /// Lowest and highest estimate of all deletions, in the unit of the effects.
    pub range: Estimable<Interval>,
    /// Whether any deletion moves the interval across 0; see [`Deletion::crosses_zero`].
    pub crosses_zero: Estimable<bool>,
    /// Whether any deletion is a one-step update.
    pub one_step: bool,
}

/// The model without one effect or cluster.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deletion {
    /// Share of what is left out in the mean of all effects; all shares add up to 1.
    pub weight: f64,
    /// Number of effects left out, at least 1.
    pub n_left_out: usize,
    /// The mean of the others.
    pub mean: Estimable<RandomMean>,
    /// The studentised deleted residual, without unit, positive above the mean of the others. Of a
    /// cluster it is that of its weighted mean, `1 / sum w` in place of `v + tau_squared`, its
    /// effects taken as independent, as the model has them.
    pub residual: Estimable<f64>,
    /// Distance after Cook, without unit: squared standard errors by which the mean moves.
    pub cook: Estimable<f64>,
    /// Whether the interval lies otherwise to 0 than that of all effects: 0 enters it, leaves it,
    /// or is on its other side. The interval is by CR2 when any cluster holds two or more of all
    /// effects, else the safeguarded Hartung-Knapp one.
    pub crosses_zero: Estimable<bool>,
    /// Whether the figures are a one-step update.
    pub one_step: bool,
}

/// Leaves out every effect, or every cluster, in turn.
///
/// The deletions are [`Reason::NoEffects`], [`Reason::OneEffect`] and
/// [`Reason::FewerThanThreeEffects`] below three effects, since two must be left;
/// [`Reason::NoClusters`] and [`Reason::OneCluster`] where clusters are asked for and there are not
/// two. The intervals by CR2 are [`Reason::TooManyDeletions`] in one-step updates, and throughout
/// where clusters are so large that they would take too long.
#[must_use]
pub fn influence(effects: &Effects, unit: Unit, level: Level) -> Influence {
    let whole = RandomMean::new(effects, level);
    let deletions = whole.and_then(|whole| {
        let groups = groups(effects, unit)?;
        leave_out(effects, whole, &groups, level)
    });
    let list = || deletions.iter().flatten();
    Influence {
        k: effects.k(),
        n_clusters: effects.n_clusters(),
        level,
        unit,
        whole,
        range: deletions
            .as_deref()
            .map_err(|&reason| reason)
            .and_then(range),
        crosses_zero: deletions
            .as_deref()
            .map_err(|&reason| reason)
            .and_then(any_crossing),
        one_step: list().any(|deletion| deletion.one_step),
        deletions,
    }
}

/// Places, in canonical order, of the effects that are left out together.
fn groups(effects: &Effects, unit: Unit) -> Estimable<Vec<Vec<usize>>> {
    match unit {
        Unit::Effect if effects.k() < 3 => Err(Reason::FewerThanThreeEffects),
        Unit::Effect => Ok((0..effects.k()).map(|place| vec![place]).collect()),
        Unit::Cluster => {
            let labels = effects.clusters().ok_or(Reason::NoClusters)?;
            if effects.n_clusters() < 2 {
                return Err(Reason::OneCluster);
            }
            let mut groups = vec![Vec::new(); effects.n_clusters()];
            for (place, &label) in labels.iter().enumerate() {
                let group = groups.get_mut(label).into_iter();
                group.for_each(|group| group.push(place));
            }
            Ok(groups)
        }
    }
}

/// The effects with the mean of all of them.
#[derive(Debug, Clone)]
struct Whole<'a> {
    effects: &'a Effects,
    mean: RandomMean,
    /// See [`super::Model::weights`].
    weights: Array1<f64>,
    level: Level,
    /// Whether CR2 is worked out for every deletion.
    is_robust: bool,
}

fn leave_out(
    effects: &Effects,
    mean: RandomMean,
    groups: &[Vec<usize>],
    level: Level,
) -> Estimable<Vec<Deletion>> {
    let work = cluster_work(effects).saturating_mul(groups.len());
    let whole = Whole {
        effects,
        mean,
        weights: model::weights(effects, mean.tau_squared)?,
        level,
        is_robust: work <= MOST_ROBUST,
    };
    if effects.k().saturating_mul(groups.len()) <= MOST_ANEW {
        return Ok(groups.iter().map(|group| whole.anew(group)).collect());
    }
    one_step::deletions(&whole, groups)
}

/// The sum of the cubes of the cluster sizes.
fn cluster_work(effects: &Effects) -> usize {
    let mut sizes = vec![0_usize; effects.n_clusters()];
    for &label in effects.clusters().iter().flatten() {
        sizes.get_mut(label).into_iter().for_each(|size| *size += 1);
    }
    let cubes = sizes.iter().map(|size| size.saturating_pow(3));
    cubes.fold(0, usize::saturating_add)
}

impl Whole<'_> {
    /// Pools what is left without the effects at the places `group`, which ascend.
    fn anew(&self, group: &[usize]) -> Deletion {
        let is_left = |place: &usize| group.binary_search(place).is_err();
        let kept: Vec<usize> = (0..self.effects.k()).filter(is_left).collect();
        let rest = self.effects.select(&kept, self.is_robust);
        self.deletion(group, RandomMean::new(&rest, self.level), false)
    }

    /// The figures of a deletion that follow from the mean of the others.
    fn deletion(
        &self,
        group: &[usize],
        mut mean: Estimable<RandomMean>,
        one_step: bool,
    ) -> Deletion {
        if let Ok(mean) = &mut mean
            && self.effects.clusters().is_some()
            && (one_step || !self.is_robust)
        {
            mean.cluster_robust = Err(Reason::TooManyDeletions);
        }
        let weights = group.iter().filter_map(|&at| self.weights.get(at));
        Deletion {
            weight: compensated_sum(weights.copied()),
            n_left_out: group.len(),
            mean,
            residual: mean.and_then(|mean| self.residual(group, &mean)),
            cook: mean.and_then(|mean| {
                let moved = (self.mean.estimate - mean.estimate) / self.mean.se;
                finite(moved * moved)
            }),
            crosses_zero: mean.and_then(|mean| self.crosses_zero(&mean)),
            one_step,
        }
    }

    fn residual(&self, group: &[usize], mean: &RandomMean) -> Estimable<f64> {
        let (estimates, variances) = (self.effects.estimates(), self.effects.variances());
        let rows = || {
            let at = group.iter();
            at.filter_map(|&at| Some((*estimates.get(at)?, *variances.get(at)?)))
        };
        // Weights relative to the largest of the group stay in range.
        let total_variances = || rows().map(|(_, variance)| variance + mean.tau_squared);
        let base = total_variances().fold(f64::INFINITY, |a, b| if b < a { b } else { a });
        let weight = compensated_sum(total_variances().map(|total| base / total));
        let moved = compensated_sum(rows().map(|(estimate, variance)| {
            (estimate - mean.estimate) * (base / (variance + mean.tau_squared))
        }));
        finite(moved / weight / (base / weight + mean.se * mean.se).sqrt())
    }

    fn crosses_zero(&self, mean: &RandomMean) -> Estimable<bool> {
        let has_repeats = self.effects.has_repeats();
        let side = |mean: &RandomMean| {
            let interval = mean.interval(has_repeats)?;
            Ok(side_of_zero(interval.interval()))
        };
        Ok(side(mean)? != side(&self.mean)?)
    }
}

/// # Errors
/// The reason of the first deletion whose mean is not defined.
fn range(deletions: &[Deletion]) -> Estimable<Interval> {
    let mut range: Option<Interval> = None;
    for deletion in deletions {
        let estimate = deletion.mean?.estimate;
        let so_far = range.get_or_insert(Interval {
            low: estimate,
            high: estimate,
        });
        if estimate < so_far.low {
            so_far.low = estimate;
        }
        if so_far.high < estimate {
            so_far.high = estimate;
        }
    }
    range.ok_or(Reason::NoEffects)
}

/// # Errors
/// When no deletion is known to cross, the first reason why one is not known not to.
fn any_crossing(deletions: &[Deletion]) -> Estimable<bool> {
    if deletions
        .iter()
        .any(|deletion| deletion.crosses_zero == Ok(true))
    {
        return Ok(true);
    }
    for deletion in deletions {
        deletion.crosses_zero?;
    }
    Ok(false)
}
