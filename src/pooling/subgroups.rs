//! Subgroup means, and whether they differ.
//!
//! Borenstein, Hedges, Higgins & Rothstein 2009 (Introduction to Meta-Analysis, ch. 19), with
//! restricted maximum likelihood in place of moments for `tau_squared`: once for every subgroup by
//! itself, and once in common to all (`common`). Either way the subgroup means `m_g` with weights
//! `W_g`, the sum of `1 / (v + tau_squared)` over the subgroup, are compared by
//! `Q = sum W_g (m_g - m)^2` about their weighted mean `m`, chi-squared on one fewer than there are
//! subgroups. Subgroups are not drawn by lot, so a difference has other readings too.

mod common;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use ndarray::{ArrayView1, Axis};

use super::effects::{Effects, NumericError, check_length};
use super::heterogeneity::Heterogeneity;
use super::level::Level;
use super::model::TInterval;
use super::pool;
use super::profile::Profile;
use super::quantiles::ChiSquared;
use super::random_mean::RandomMean;
use super::reason::{Estimable, Reason, finite};
use super::regression::{ChiSquaredTest, FTest};
use super::sums::Double;

/// What [`compare`] finds out.
#[derive(Debug, Clone, PartialEq)]
pub struct Subgroups {
    /// Number of effects.
    pub k: usize,
    /// Number of clusters; equals `k` when no clusters were given.
    pub n_clusters: usize,
    /// Confidence level of every interval.
    pub level: Level,
    /// The subgroups, by ascending label.
    pub subgroups: Vec<Subgroup>,
    /// Test that all subgroups have one mean, each with its own `tau_squared`.
    /// [`Reason::DependentEffects`] when any cluster holds two or more effects.
    pub between: Estimable<ChiSquaredTest>,
    /// The model with one `tau_squared` for all subgroups.
    pub common: Estimable<Common>,
}

/// One subgroup by itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Subgroup {
    /// Its label, as given.
    pub label: usize,
    /// Number of effects.
    pub k: usize,
    /// Number of their clusters; equals `k` when no clusters were given.
    pub n_clusters: usize,
    /// Whether any cluster holds two or more effects of this subgroup, so that the interval to read
    /// is that by CR2; see [`RandomMean::interval`].
    pub has_repeats: bool,
    /// The mean with the subgroup's own `tau_squared`; from two effects on.
    pub mean: Estimable<RandomMean>,
    /// Heterogeneity within the subgroup; from two effects on.
    pub heterogeneity: Estimable<Heterogeneity>,
}

/// The model with one `tau_squared` for all subgroups.
#[derive(Debug, Clone, PartialEq)]
pub struct Common {
    /// The common between-effects variance within subgroups, in the square of the effects' unit.
    pub tau_squared: f64,
    /// Number of effects less number of subgroups, at least 1.
    pub df: f64,
    /// `s^2 = sum w (y - m_g)^2 / df` (Knapp & Hartung 2003).
    pub residual_scale: f64,
    /// The means, in the order of [`Subgroups::subgroups`].
    pub means: Vec<CommonMean>,
    /// Test that all subgroups have one mean, with the model's own variances.
    /// [`Reason::DependentEffects`] when any cluster holds two or more effects.
    pub between: Estimable<ChiSquaredTest>,
    /// The same with variances times `max(1, s^2)`, by F on `(G - 1, df)` for `G` subgroups (Knapp &
    /// Hartung 2003), which heeds that `tau_squared` is an estimate.
    pub between_safe: Estimable<FTest>,
}

/// The mean of a subgroup at the common `tau_squared`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CommonMean {
    /// The mean, in the unit of the effects.
    pub estimate: f64,
    /// The model's own standard error, `1 / sqrt(W_g)`.
    pub se: f64,
    /// Interval with the variance times `max(1, s^2)`, t on `df` (Knapp & Hartung 2003). It takes
    /// effects as independent.
    pub knapp_hartung_safe: TInterval,
}

/// Pools every subgroup and compares them. The columns run in parallel; estimates, variances and
/// clusters are as in [`Effects::new`], and `labels` are any numbers, equal within a subgroup.
///
/// # Errors
/// As [`Effects::new`], and [`NumericError::LengthsDiffer`] when there are not as many labels as
/// effects.
pub fn compare(
    estimates: ArrayView1<'_, f64>,
    variances: ArrayView1<'_, f64>,
    clusters: Option<ArrayView1<'_, usize>>,
    labels: ArrayView1<'_, usize>,
    level: Level,
) -> Result<Subgroups, NumericError> {
    check_length(estimates.len(), labels.len(), "groups")?;
    // Rows are refused by their number in the whole table.
    let all = Effects::new(estimates, variances, clusters)?;
    let mut places: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (place, &label) in labels.iter().enumerate() {
        places.entry(label).or_default().push(place);
    }
    let mut parts = Vec::with_capacity(places.len());
    for (label, rows) in places {
        let clusters = clusters.map(|clusters| clusters.select(Axis(0), &rows));
        let effects = Effects::new(
            estimates.select(Axis(0), &rows).view(),
            variances.select(Axis(0), &rows).view(),
            clusters.as_ref().map(|clusters| clusters.view()),
        )?;
        parts.push((label, effects));
    }
    let subgroups: Vec<Subgroup> = parts
        .iter()
        .map(|(label, effects)| alone(*label, effects, level))
        .collect();
    let parts: Vec<Effects> = parts.into_iter().map(|(_, effects)| effects).collect();
    let is_independent = if all.has_repeats() {
        Err(Reason::DependentEffects)
    } else {
        Ok(())
    };
    let own = subgroups
        .iter()
        .map(|subgroup| Ok(subgroup.mean?.tau_squared));
    let own: Estimable<Vec<f64>> = own.collect();
    Ok(Subgroups {
        k: all.k(),
        n_clusters: all.n_clusters(),
        level,
        between: enough(&parts)
            .and(is_independent)
            .and(own)
            .and_then(|own| between(&block_means(&parts, own)?)),
        common: enough(&parts).and_then(|()| common::fit(&parts, is_independent, level)),
        subgroups,
    })
}

fn alone(label: usize, effects: &Effects, level: Level) -> Subgroup {
    let pooled = pool(effects, level);
    Subgroup {
        label,
        k: effects.k(),
        n_clusters: effects.n_clusters(),
        has_repeats: effects.has_repeats(),
        mean: pooled
            .reml
            .as_ref()
            .map(RandomMean::from)
            .map_err(|&reason| reason),
        heterogeneity: pooled.heterogeneity,
    }
}

/// # Errors
/// [`Reason::NoEffects`] without subgroups, [`Reason::OneSubgroup`] with one.
const fn enough(parts: &[Effects]) -> Estimable<()> {
    match parts {
        [] => Err(Reason::NoEffects),
        [_] => Err(Reason::OneSubgroup),
        _ => Ok(()),
    }
}

/// A subgroup's mean and weight at some `tau_squared`, and the sum `sum w r^2` about that mean.
#[derive(Debug, Clone, Copy)]
struct BlockMean {
    mean: Double,
    weight: Double,
    q: f64,
}

fn block_means(
    parts: &[Effects],
    tau_squared: impl IntoIterator<Item = f64>,
) -> Estimable<Vec<BlockMean>> {
    let rows = parts.iter().zip(tau_squared);
    rows.map(|(effects, tau_squared)| {
        let profile = Profile::new(effects)?;
        let moments = profile.precise(tau_squared);
        finite(moments.total_weight().value())?;
        Ok(BlockMean {
            mean: profile.precise_mean(&moments),
            weight: moments.total_weight(),
            q: finite(moments.q().value())?,
        })
    })
    .collect()
}

/// `sum W_g (m_g - m)^2`.
fn distance(means: &[BlockMean]) -> Estimable<f64> {
    // Distances from one of the means are small where a common offset is large.
    let from = means.first().ok_or(Reason::NoEffects)?.mean;
    let sum = |term: &dyn Fn(&BlockMean) -> Double| {
        means
            .iter()
            .fold(Double::ZERO, |total, block| total + term(block))
    };
    let weight = sum(&|block| block.weight);
    let mean = sum(&|block| block.weight * (block.mean - from)) / weight;
    finite(sum(&|block| block.weight * (block.mean - from - mean).squared()).value())
}

#[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
fn between(means: &[BlockMean]) -> Estimable<ChiSquaredTest> {
    let value = distance(means)?;
    let df = means.len() as f64 - 1.0;
    Ok(ChiSquaredTest {
        value,
        df,
        p: ChiSquared::new(df)?.upper_tail(value)?,
    })
}
