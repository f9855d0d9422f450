//! Where to start climbing: the places of a grid that are higher than all their neighbours.

use super::factor::Factor;
use super::units::{Scale, Units};
use crate::pooling::effects::Effects;
use crate::pooling::paired_effects::PairedEffects;
use crate::pooling::profile::Profile;
use crate::pooling::reason::{Estimable, Reason, finite};
use crate::pooling::tau_squared::TauSquared;

/// Ratio of successive between-units variances. Every term of the score moves from level to falling
/// over about an e-fold of `v_i + t`, so a hill is seldom narrower.
const RATIO: f64 = 2.0;

/// Most variances of one outcome, which bounds the work; the ratio widens where the sampling
/// variances differ by so much that this does not suffice.
const MAX_LEVELS: usize = 24;

/// The smallest between-units variance of the grid as a share of the smallest sampling variance,
/// and the largest as a multiple of the bound of the outcome by itself. The climb passes both.
const MARGIN: f64 = 8.0;

/// Correlations of the grid; limits are reached by climbing.
const CORRELATIONS: [f64; 7] = [-0.97, -0.8, -0.5, 0.0, 0.5, 0.8, 0.97];

/// Most places to start from.
const MAX_STARTS: usize = 12;

/// The highest of the places from which to climb, in descending order.
///
/// # Errors
/// [`Reason::OutOfRange`] when sums overflow.
pub(super) fn starts(units: &Units, paired: &PairedEffects) -> Estimable<Vec<Factor>> {
    let [first, second] = paired.outcomes();
    let [scale_a, scale_b] = &units.scales;
    let levels_a = levels(first, scale_a)?;
    let levels_b = levels(second, scale_b)?;
    let mut grid = Vec::with_capacity(levels_a.len() * levels_b.len() * CORRELATIONS.len());
    for &tau_a in &levels_a {
        for &tau_b in &levels_b {
            for rho in CORRELATIONS {
                let factor = Factor::full(tau_a, tau_b, rho);
                grid.push((factor, finite(units.value(&factor))?));
            }
        }
    }
    let shape = [levels_a.len(), levels_b.len(), CORRELATIONS.len()];
    let mut peaks: Vec<(Factor, f64)> = grid
        .iter()
        .enumerate()
        .filter(|&(place, &(_, value))| {
            let is_higher = |other: usize| {
                grid.get(other).is_some_and(|&(_, found)| {
                    // Of equals the first stands for all.
                    value < found || (other < place && value <= found)
                })
            };
            !neighbours(place, shape).any(is_higher)
        })
        .map(|(_, &peak)| peak)
        .collect();
    peaks.sort_by(|a, b| b.1.total_cmp(&a.1));
    peaks.truncate(MAX_STARTS);
    Ok(peaks.into_iter().map(|(factor, _)| factor).collect())
}

/// The places that differ from one by at most 1 in each of the three directions.
fn neighbours(place: usize, [n_a, n_b, n_c]: [usize; 3]) -> impl Iterator<Item = usize> {
    let (a, b, c) = (place / (n_b * n_c), place / n_c % n_b, place % n_c);
    let around = |x: usize, n: usize| x.saturating_sub(1)..n.min(x + 2);
    around(a, n_a).flat_map(move |a| {
        around(b, n_b).flat_map(move |b| {
            around(c, n_c)
                .map(move |c| (a * n_b + b) * n_c + c)
                .filter(move |&other| other != place)
        })
    })
}

/// Between-units standard deviations of one outcome, normalised and ascending; that of the outcome
/// by itself is among them.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a count of at most a few thousand"
)]
fn levels(effects: &Effects, scale: &Scale) -> Estimable<Vec<f64>> {
    let profile = Profile::new(effects)?;
    let smallest = scale.variance(profile.smallest_variance());
    let bound = scale.variance(finite(profile.upper_bound())?);
    let low = smallest / MARGIN;
    let high = MARGIN * if bound < smallest { smallest } else { bound };
    let n_steps = ((high / low).ln() / RATIO.ln()).ceil();
    if !n_steps.is_finite() {
        return Err(Reason::OutOfRange);
    }
    let n_steps = (n_steps as usize).min(MAX_LEVELS - 1);
    let step = (high / low).ln() / n_steps as f64;
    // A level more helps, but the grid does without where it cannot be had.
    let alone = TauSquared::new(&profile, profile.precise(0.0)).restricted_maximum_likelihood();
    let mut levels: Vec<f64> = (0..=n_steps)
        .map(|idx| low * (step * idx as f64).exp())
        .chain(
            alone
                .ok()
                .map(|t| scale.variance(t))
                .filter(|&t| low < t && t < high),
        )
        .map(f64::sqrt)
        .collect();
    levels.sort_by(f64::total_cmp);
    Ok(levels)
}
