//! The likelihood as a function of `tau_squared` alone, with the best mean for each.

use std::cell::Cell;
use std::f64::consts::{SQRT_2, TAU};

use crate::pooling::hills::{RestrictedLikelihood, SEARCH_TOLERANCE};
use crate::pooling::reason::{Estimable, Reason, finite};
use crate::pooling::roots::{Tolerance, ValueAndSlope, falling_root};
use crate::pooling::sums::compensated_sum;

use super::hypergeometric::Hypergeometric;
use super::likelihood::{Derivatives, LARGEST_MU, Likelihood};

/// Largest standard deviation of log odds ratios that is looked at. A million trials an arm cannot
/// show a log odds ratio beyond 28 that is not infinite.
pub(super) const LARGEST_TAU: f64 = 32.0;

/// Cap on polishing steps; two are usual.
const MAX_POLISHES: usize = 8;

/// Distance from the best mean, in standard errors, up to which the profile likelihood is known
/// well enough from the derivatives: its error there is about the square.
const CLOSE: f64 = 0.03;

/// Share of the smallest variance that a `tau_squared` must exceed to be told from 0.
const LOST: f64 = 1e-12;

/// Cap on steps to such a mean; one or none is usual. Beyond it the mean is searched for in a
/// bracket.
const MAX_STEPS: usize = 5;

/// Last step of the search for the best log odds ratio of one pair, of which only a bound is made.
const LAST_STEP: Tolerance = Tolerance::Absolute(1e-3);

/// The profile likelihood of `tau_squared`.
#[derive(Debug)]
pub(super) struct OverTau<'a> {
    likelihood: &'a Likelihood<'a>,
    at_zero: Derivatives,
    smallest_variance: f64,
    /// Where the global maximum cannot lie beyond, not yet cut at [`LARGEST_TAU`].
    bound: f64,
    /// Where the last search ended, and hence where the next starts.
    last: Cell<Place>,
}

/// The best mean under one `tau_squared`, and how it moves with it.
#[derive(Debug, Clone, Copy)]
struct Place {
    tau_squared: f64,
    mu: f64,
    drift: f64,
}

/// What one pair that is not at an end says on its own.
#[derive(Debug, Clone, Copy)]
struct Single {
    /// The inverse of the variance of the count at its best log odds ratio.
    variance: f64,
    /// A bound on the logarithm of the integral of the likelihood.
    log_area: f64,
}

impl<'a> OverTau<'a> {
    /// # Errors
    /// [`Reason::CountsAtTheirEnds`] when every pair is at an end of its range, and those of
    /// the likelihood.
    pub(super) fn new(
        likelihood: &'a Likelihood<'a>,
        (mu, at_zero): (f64, Derivatives),
    ) -> Estimable<Self> {
        let singles = likelihood
            .tables()
            .iter()
            .filter(|table| !table.is_lowest() && !table.is_highest())
            .map(single)
            .collect::<Estimable<Vec<Single>>>()?;
        let smallest_variance = singles
            .iter()
            .map(|single| single.variance)
            .reduce(|best, v| if v < best { v } else { best })
            .ok_or(Reason::CountsAtTheirEnds)?;
        let mut over_tau = Self {
            likelihood,
            at_zero,
            smallest_variance,
            bound: 0.0,
            last: Cell::new(Place {
                tau_squared: 0.0,
                mu,
                drift: 0.0,
            }),
        };
        over_tau.bound = over_tau.bound(&singles)?;
        Ok(over_tau)
    }

    /// The mean that was found last.
    pub(super) fn last_mu(&self) -> f64 {
        self.last.get().mu
    }

    /// # Errors
    /// [`Reason::NotConverged`] when the likelihood still rises at the largest `tau_squared` that
    /// is looked at.
    pub(super) fn check_the_end(&self) -> Estimable<()> {
        let end = self.upper_bound();
        if self.bound <= end || self.at(end)?.profile_score() < 0.0 {
            Ok(())
        } else {
            Err(Reason::NotConverged)
        }
    }

    /// A pair that is not at an end has at most the marginal probability `area / (tau sqrt(2 pi))`,
    /// any other at most 1. Where the product of these falls below a likelihood that is reached
    /// somewhere, there is no global maximum.
    #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
    fn bound(&self, singles: &[Single]) -> Estimable<f64> {
        let n = singles.len() as f64;
        let areas = compensated_sum(singles.iter().map(|single| single.log_area));
        let beyond = |reached: f64| ((areas - reached) / n - 0.5 * TAU.ln()).exp().powi(2);
        let mut bound = beyond(self.at_zero.log_likelihood);
        // A wide bound is made closer by looking at likelier places below it.
        let mut place = bound;
        let mut last = f64::NEG_INFINITY;
        while self.smallest_variance < place {
            place = if place < LARGEST_TAU * LARGEST_TAU {
                0.25 * place
            } else {
                0.25 * LARGEST_TAU * LARGEST_TAU
            };
            let reached = self.at(place)?.log_likelihood;
            let closer = beyond(reached);
            if closer < bound {
                bound = closer;
            }
            if reached < last {
                break;
            }
            last = reached;
        }
        if bound.is_nan() {
            return Err(Reason::OutOfRange);
        }
        Ok(bound * (1.0 + 1e-9))
    }

    /// The likelihood close to the best mean under `tau_squared`.
    fn at(&self, tau_squared: f64) -> Estimable<Derivatives> {
        let last = self.last.get();
        let mut mu = last.mu + last.drift * (tau_squared - last.tau_squared);
        for _ in 0..MAX_STEPS {
            let derivatives = self.likelihood.at(mu, tau_squared)?;
            let (step, distance) = derivatives.step_in_mu();
            mu += step;
            if distance <= CLOSE {
                self.remember(tau_squared, mu, &derivatives);
                return Ok(derivatives);
            }
        }
        self.at_best(tau_squared)
    }

    /// The likelihood at the best mean under `tau_squared`.
    fn at_best(&self, tau_squared: f64) -> Estimable<Derivatives> {
        let (mu, derivatives) = self.likelihood.best_mu(tau_squared, self.last_mu())?;
        self.remember(tau_squared, mu, &derivatives);
        Ok(derivatives)
    }

    fn remember(&self, tau_squared: f64, mu: f64, derivatives: &Derivatives) {
        self.last.set(Place {
            tau_squared,
            mu,
            drift: derivatives.drift_of_mu(),
        });
    }
}

impl RestrictedLikelihood for OverTau<'_> {
    fn smallest_variance(&self) -> f64 {
        self.smallest_variance
    }

    fn upper_bound(&self) -> f64 {
        let largest = LARGEST_TAU * LARGEST_TAU;
        if self.bound < largest {
            self.bound
        } else {
            largest
        }
    }

    fn has_spread(&self) -> Estimable<bool> {
        // Counts always have some.
        Ok(true)
    }

    fn score_at_zero(&self) -> Estimable<f64> {
        // Of a maximum that is closer to 0 than this the score shows only rounding.
        let rounding = LOST * self.smallest_variance * self.at_zero.profile_slope().abs();
        let score = finite(self.at_zero.profile_score())?;
        Ok(if rounding < score { score } else { 0.0 })
    }

    fn score(&self, tau_squared: f64) -> ValueAndSlope {
        self.at(tau_squared).map_or(
            ValueAndSlope {
                value: f64::NAN,
                slope: f64::NAN,
            },
            |derivatives| ValueAndSlope {
                value: derivatives.profile_score(),
                slope: derivatives.profile_slope(),
            },
        )
    }

    fn log_likelihood(&self, tau_squared: f64) -> f64 {
        if 0.0 < tau_squared {
            self.at_best(tau_squared)
                .map_or(f64::NAN, |derivatives| derivatives.log_likelihood)
        } else {
            self.at_zero.log_likelihood
        }
    }

    fn polish(&self, root: f64) -> Estimable<f64> {
        let mut place = root;
        for _ in 0..MAX_POLISHES {
            let derivatives = self.at(place)?;
            let next = finite(place - derivatives.profile_score() / derivatives.profile_slope())?;
            let next = if next < 0.0 { 0.0 } else { next };
            let step = (next - place).abs();
            place = next;
            if step <= SEARCH_TOLERANCE * place {
                return Ok(place);
            }
        }
        Err(Reason::NotConverged)
    }
}

/// The likelihood of one pair is log-concave, so it lies below its maximum and below its tangents,
/// which are exponential functions. At a distance of `sqrt(2)` deviations they bound the area of a
/// normal curve most closely, by 13 %.
fn single(table: &Hypergeometric) -> Estimable<Single> {
    let bracket = (-LARGEST_MU, LARGEST_MU);
    let best = falling_root(bracket, table.first_guess(), LAST_STEP, |theta| {
        let at = table.at(theta);
        ValueAndSlope {
            value: at.score,
            slope: -at.variance,
        }
    })?;
    let top = table.at(best);
    let distance = SQRT_2 / top.variance.sqrt();
    // How far from the best place the tangent at `distance` leaves the maximum, and the area that
    // lies beyond, over the maximum.
    let side = |signed: f64| {
        let at = table.at(best + signed);
        let fall = top.log_probability - at.log_probability;
        signed.abs() - (fall - 1.0) / at.score.abs()
    };
    let width = side(distance) + side(-distance);
    Ok(Single {
        variance: finite(top.variance.recip())?,
        log_area: finite(top.log_probability + width.ln())?,
    })
}
