//! The pooled mean after every batch of effects, in the order in which they came.
//!
//! Cumulative meta-analysis (Lau et al. 1992, N Engl J Med 327:248): after every batch all effects
//! so far are pooled anew by restricted maximum likelihood. Each interval is an ordinary one for a
//! single look; for looking again and again see [`super::sequence`].

#[cfg(test)]
mod tests;

use std::collections::BTreeSet;

use ndarray::{ArrayView1, Axis};

use super::effects::{Effects, NumericError, check_length};
use super::level::Level;
use super::random_mean::RandomMean;
use super::reason::Estimable;

/// Most batches after which all is pooled anew; more than a picture can show.
const MOST_STEPS: usize = 200;

/// What [`cumulate`] finds out.
#[derive(Debug, Clone, PartialEq)]
pub struct Cumulative {
    /// Confidence level of every interval.
    pub level: Level,
    /// Number of different batches.
    pub n_batches: usize,
    /// One entry a batch, ascending. Beyond 200 batches every n-th one, counted back from the last,
    /// with the smallest n that leaves 200; each entry still has all effects up to its batch.
    pub steps: Vec<Step>,
}

/// All effects up to a batch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The number of the batch, as given.
    pub batch: usize,
    /// Number of effects up to and with this batch.
    pub k: usize,
    /// Number of their clusters; equals `k` when no clusters were given.
    pub n_clusters: usize,
    /// Whether any cluster holds two or more effects so far, so that the interval to read is that by
    /// CR2; see [`RandomMean::interval`].
    pub has_repeats: bool,
    /// Their mean; from two effects on.
    pub mean: Estimable<RandomMean>,
}

/// Pools effects as they came: those of the smallest batch number, then those of the next one with
/// them, and so on. The columns run in parallel; estimates, variances and clusters are as in
/// [`Effects::new`], and `batches` are numbers that ascend with time.
///
/// # Errors
/// As [`Effects::new`], and [`NumericError::LengthsDiffer`] when there are not as many batch numbers
/// as effects.
pub fn cumulate(
    estimates: ArrayView1<'_, f64>,
    variances: ArrayView1<'_, f64>,
    clusters: Option<ArrayView1<'_, usize>>,
    batches: ArrayView1<'_, usize>,
    level: Level,
) -> Result<Cumulative, NumericError> {
    check_length(estimates.len(), batches.len(), "batches")?;
    // Rows are refused by their number in the whole table.
    Effects::new(estimates, variances, clusters)?;
    let numbers: BTreeSet<usize> = batches.iter().copied().collect();
    let stride = numbers.len().div_ceil(MOST_STEPS);
    let mut shown: Vec<usize> = if stride == 0 {
        Vec::new()
    } else {
        numbers.iter().rev().step_by(stride).copied().collect()
    };
    shown.reverse();
    let steps = shown.into_iter().map(|batch| {
        let rows: Vec<usize> = (0..)
            .zip(batches)
            .filter_map(|(row, &number)| (number <= batch).then_some(row))
            .collect();
        let labels = clusters.map(|labels| labels.select(Axis(0), &rows));
        let effects = Effects::new(
            estimates.select(Axis(0), &rows).view(),
            variances.select(Axis(0), &rows).view(),
            labels.as_ref().map(|labels| labels.view()),
        )?;
        Ok(Step {
            batch,
            k: effects.k(),
            n_clusters: effects.n_clusters(),
            has_repeats: effects.has_repeats(),
            mean: RandomMean::new(&effects, level),
        })
    });
    Ok(Cumulative {
        level,
        n_batches: numbers.len(),
        steps: steps.collect::<Result<_, NumericError>>()?,
    })
}
