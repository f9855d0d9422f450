//! The likelihood ratio interval of the mean log odds ratio.

use crate::pooling::level::Level;
use crate::pooling::model::Interval;
use crate::pooling::quantiles::Normal;
use crate::pooling::reason::{Estimable, Reason, finite};
use crate::pooling::roots::{Tolerance, ValueAndSlope, falling_root};

use super::likelihood::{Derivatives, LARGEST_MU, Likelihood};
use super::over_tau::LARGEST_TAU;

/// Last step of all searches, in standard errors or as a share of `tau_squared`. Newton's method
/// squares it.
const LAST_STEP: f64 = 1e-8;

/// Cap on steps of the quick search; four or five are usual.
const MAX_STEPS: usize = 12;

/// `tau_squared` is followed down to this share of the squared standard error; below it the
/// likelihood is that of 0.
const SMALLEST_SHARE: f64 = 1e-6;

/// The maximum, and how far the profile likelihood may fall below it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Summit {
    pub(super) mu: f64,
    pub(super) se: f64,
    pub(super) tau_squared: f64,
    pub(super) log_likelihood: f64,
}

/// The two `mu` at which the profile likelihood lies half a chi-squared quantile below the maximum.
///
/// # Errors
/// [`Reason::NotConverged`] when the likelihood does not fall that far.
pub(super) fn likelihood_ratio(
    likelihood: &Likelihood<'_>,
    summit: Summit,
    level: Level,
) -> Estimable<Interval> {
    let reach = Normal::upper_quantile(level.tail())?;
    let floor = summit.log_likelihood - 0.5 * reach * reach;
    let end = |sign: f64| {
        let start = sign * reach * summit.se;
        match by_newton(likelihood, summit, floor, start) {
            Some(end) => Ok(end),
            None => by_brackets(likelihood, summit, floor, start),
        }
    };
    Ok(Interval {
        low: end(-1.0)?,
        high: end(1.0)?,
    })
}

/// Newton's method for `mu` and `tau_squared` at once (Venzon & Moolgavkar 1988, Appl Stat 37:87;
/// from memory): the likelihood is `floor` and its slope along `tau_squared` 0. `None` when it
/// leaves the range or does not end in a maximum over `tau_squared` on its own side.
pub(super) fn by_newton(
    likelihood: &Likelihood<'_>,
    summit: Summit,
    floor: f64,
    start: f64,
) -> Option<f64> {
    let (mut distance, mut tau_squared) = (start, summit.tau_squared);
    if tau_squared <= 0.0 {
        return None;
    }
    for _ in 0..MAX_STEPS {
        let at = likelihood.at(summit.mu + distance, tau_squared).ok()?;
        let excess = at.log_likelihood - floor;
        let determinant = at.mu * at.tau_tau - at.tau * at.mu_tau;
        let step = (at.tau * at.tau - excess * at.tau_tau) / determinant;
        let growth = (excess * at.mu_tau - at.mu * at.tau) / determinant;
        distance += step;
        tau_squared += growth;
        let is_sound = 0.0 < tau_squared && 0.0 < distance * start && at.tau_tau < 0.0;
        if !is_sound || 4.0 * start.abs() < distance.abs() {
            return None;
        }
        if step.abs() <= LAST_STEP * summit.se && growth.abs() <= LAST_STEP * tau_squared {
            return Some(summit.mu + distance);
        }
    }
    None
}

/// The same by bracketed searches, one within the other.
pub(super) fn by_brackets(
    likelihood: &Likelihood<'_>,
    summit: Summit,
    floor: f64,
    start: f64,
) -> Estimable<f64> {
    let sign = start.signum();
    let mut profile = Profile {
        likelihood,
        tau_squared: summit.tau_squared,
        smallest: SMALLEST_SHARE * summit.se * summit.se,
    };
    // The likelihood over its floor, in the distance from the estimate.
    let mut over_floor = |distance: f64| -> Estimable<ValueAndSlope> {
        let at = profile.at(summit.mu + sign * distance)?;
        Ok(ValueAndSlope {
            value: at.log_likelihood - floor,
            slope: sign * at.mu,
        })
    };
    let (mut low, mut high) = (0.0, start.abs());
    while 0.0 <= over_floor(high)?.value {
        low = high;
        high *= 1.5;
        if LARGEST_MU < high {
            return Err(Reason::NotConverged);
        }
    }
    let tolerance = Tolerance::Absolute(LAST_STEP * summit.se);
    let distance = search((low, high), tolerance, over_floor)?;
    finite(summit.mu + sign * distance)
}

/// The likelihood of `mu` at the best `tau_squared` near the last one.
#[derive(Debug)]
struct Profile<'a> {
    likelihood: &'a Likelihood<'a>,
    tau_squared: f64,
    smallest: f64,
}

impl Profile<'_> {
    fn at(&mut self, mu: f64) -> Estimable<Derivatives> {
        self.tau_squared = self.best(mu)?;
        self.likelihood.at(mu, self.tau_squared)
    }

    fn best(&self, mu: f64) -> Estimable<f64> {
        let score = |tau_squared: f64| self.likelihood.at(mu, tau_squared).map(|at| at.tau);
        let mut high = if self.smallest < self.tau_squared {
            self.tau_squared
        } else {
            self.smallest
        };
        let mut low = 0.5 * high;
        while 0.0 < score(high)? {
            low = high;
            high *= 2.0;
            if LARGEST_TAU * LARGEST_TAU < high {
                return Err(Reason::NotConverged);
            }
        }
        while score(low)? <= 0.0 {
            if low < self.smallest {
                return Ok(0.0);
            }
            high = low;
            low *= 0.25;
        }
        search((low, high), Tolerance::Relative(LAST_STEP), |t| {
            self.likelihood.at(mu, t).map(|at| ValueAndSlope {
                value: at.tau,
                slope: at.tau_tau,
            })
        })
    }
}

/// [`falling_root`] from the middle of a bracket for functions that can fail.
fn search(
    (low, high): (f64, f64),
    tolerance: Tolerance,
    mut function: impl FnMut(f64) -> Estimable<ValueAndSlope>,
) -> Estimable<f64> {
    let mut failure = None;
    let root = falling_root((low, high), 0.5 * (low + high), tolerance, |place| {
        function(place).unwrap_or_else(|reason| {
            failure = Some(reason);
            ValueAndSlope {
                value: f64::NAN,
                slope: f64::NAN,
            }
        })
    });
    failure.map_or(root, Err)
}
