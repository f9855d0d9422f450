//! How many effects of 0 that nobody sent would bring 0 into the interval.
//!
//! The worry is that who saw a gain is likelier to send it. The figure is in the spirit of the
//! fail-safe number (Rosenthal 1979, Psychol Bull 86:638), but for the interval that is read:
//! effects of exactly 0 with the typical sampling variance `s^2` (Higgins & Thompson 2002, eq. 9) of
//! the effects that are there are added, and all is pooled again, with the safeguarded
//! Hartung-Knapp interval.
//!
//! True unsent effects would scatter about 0. Zeros do not, so the `tau_squared` of all falls with
//! every zero, and the interval with it; the number that this takes can be many times too large. So
//! the figure comes in two ways: with `tau_squared` held at that of the effects that are there, as
//! if the unsent scattered like them, and with `tau_squared` estimated anew. The first is the one
//! to read where effects are heterogeneous.
//!
//! Where clusters hold several effects, the most precise one stands for each, and it is clusters
//! that are unsent. A cluster-robust interval would not do: it takes its variance from residuals,
//! which zeros next to lack, so that mean over standard error tends to a constant and 0 might never
//! come inside.

#[cfg(test)]
mod tests;

use ndarray::Array1;

use super::effects::Effects;
use super::heterogeneity::typical_variance;
use super::level::Level;
use super::model::{self, TInterval};
use super::profile::Profile;
use super::random_mean::{RandomMean, side_of_zero};
use super::reason::{Estimable, Reason};

/// Looked for are at most this many unsent effects for every one that is there. The project's
/// choice: with more the answer is "very many", whatever the number.
const MOST_PER_EFFECT: usize = 100;

/// And at most this many in all, which keeps the search within seconds.
const MOST_UNSENT: usize = 100_000;

/// The tipping figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tipping {
    /// The sampling variance that every unsent effect was given, in the square of the effects'
    /// unit.
    pub typical_variance: f64,
    /// With `tau_squared` held at that of the effects that are there.
    pub held: Estimable<TippingPoint>,
    /// With `tau_squared` estimated anew from the effects and the zeros.
    pub anew: Estimable<TippingPoint>,
}

/// Where 0 comes inside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TippingPoint {
    /// How many unsent effects, one per cluster, bring 0 inside the interval; 0 when it is there
    /// already.
    pub n_unsent: usize,
    /// Between-effects variance that was used with them, in the square of the effects' unit.
    pub tau_squared: f64,
    /// The mean with them, in the unit of the effects.
    pub estimate: f64,
    /// The safeguarded Hartung-Knapp interval with them.
    pub interval: TInterval,
}

/// Finds the tipping figures. With `n_unsent` unsent effects 0 is inside the interval, with one
/// fewer it is not. Numbers are doubled until 0 is inside, then halved in between, so should 0 come
/// inside, leave and come again, it need not be the very first number.
///
/// Each figure is [`Reason::TooManyFurtherEffects`] beyond 100 unsent effects for every one that is
/// there, or beyond 100,000 in all; else the reason why an interval on the way is not defined.
///
/// # Errors
/// [`Reason::NoEffects`]; [`Reason::OneEffect`] below two clusters; [`Reason::NotConverged`];
/// [`Reason::OutOfRange`].
pub fn tipping(effects: &Effects, level: Level) -> Estimable<Tipping> {
    let effects = effects.most_precise_per_cluster();
    let whole = RandomMean::new(&effects, level)?;
    let typical_variance = typical_variance(&effects)?;
    let point = |n_unsent, mean: RandomMean| {
        Ok(TippingPoint {
            n_unsent,
            tau_squared: mean.tau_squared,
            estimate: mean.estimate,
            interval: mean.hartung_knapp_safe?,
        })
    };
    let search = |pool_again: &dyn Fn(&Effects) -> Estimable<RandomMean>| {
        first_inside(most_unsent(&effects), |n_unsent| {
            if n_unsent == 0 {
                return point(0, whole);
            }
            let all = with_zeros(&effects, n_unsent, typical_variance)?;
            point(n_unsent, pool_again(&all)?)
        })
    };
    Ok(Tipping {
        typical_variance,
        held: search(&|all| {
            let profile = Profile::new(all)?;
            let at_zero = profile.precise(0.0);
            let model = model::random_effects(&profile, &at_zero, whole.tau_squared, level)?;
            Ok(RandomMean::from(&model))
        }),
        anew: search(&|all| RandomMean::new(all, level)),
    })
}

fn most_unsent(effects: &Effects) -> usize {
    let most = effects.k().saturating_mul(MOST_PER_EFFECT);
    if most < MOST_UNSENT {
        most
    } else {
        MOST_UNSENT
    }
}

/// # Errors
/// [`Reason::TooManyFurtherEffects`] when 0 is outside with `most`, and those of `point`.
fn first_inside(
    most: usize,
    point: impl Fn(usize) -> Estimable<TippingPoint>,
) -> Estimable<TippingPoint> {
    let is_inside = |point: &TippingPoint| side_of_zero(point.interval.interval()).is_eq();
    let mut outside = 0;
    let mut inside = point(0)?;
    while !is_inside(&inside) {
        if most <= inside.n_unsent {
            return Err(Reason::TooManyFurtherEffects);
        }
        outside = inside.n_unsent;
        let next = if outside == 0 { 1 } else { 2 * outside };
        inside = point(if next < most { next } else { most })?;
    }
    while outside + 1 < inside.n_unsent {
        let middle = point(outside.midpoint(inside.n_unsent))?;
        if is_inside(&middle) {
            inside = middle;
        } else {
            outside = middle.n_unsent;
        }
    }
    Ok(inside)
}

/// `effects`, which have no clusters, with zeros.
fn with_zeros(effects: &Effects, n_zeros: usize, variance: f64) -> Estimable<Effects> {
    let zeros = Array1::zeros(n_zeros);
    let variances = Array1::from_elem(n_zeros, variance);
    let estimates = effects.estimates().into_iter().chain(&zeros).copied();
    let variances = effects.variances().into_iter().chain(&variances).copied();
    let all = Effects::new(
        estimates.collect::<Array1<f64>>().view(),
        variances.collect::<Array1<f64>>().view(),
        None,
    );
    // Only a typical variance that is no positive number could be refused.
    all.map_err(|_| Reason::OutOfRange)
}
