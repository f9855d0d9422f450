//! The confidence distribution of the between-effects variance that Cochran's Q gives.
//!
//! Let `F(q; tau_squared)` be the distribution function of Q, with weights `1 / v_i`, under
//! `tau_squared`, computed by inverting its Laplace transform. At the observed Q it falls in
//! `tau_squared`, and under the true `tau_squared` it is uniform on 0 to 1, so
//!
//! `H(tau_squared) = 1 - F(q; tau_squared)`
//!
//! is a confidence distribution (Schweder & Hjort 2002; Nagashima, Noma & Furukawa 2019, Stat
//! Methods Med Res 28:1689; both from memory): its quantiles are exact confidence limits for
//! `tau_squared` when the effects are normal with known variances (Biggerstaff & Jackson 2008, Stat
//! Med 27:6093; from memory). It has an atom at 0 of the size `H(0)`.
//!
//! The Q-profile interval of [`super::heterogeneity`] is exact too; it changes the weights with
//! `tau_squared`, this one does not. With equal variances the two are the same.
//!
//! Clusters are ignored: the effects are taken as independent.

mod q_distribution;
mod table;
#[cfg(test)]
mod tests;

use super::effects::Effects;
use super::level::Level;
use super::model::Interval;
use super::profile::Profile;
use super::quantiles::ChiSquared;
use super::reason::{Estimable, Reason, finite};
use super::roots::{Tolerance, ValueAndSlope, falling_root};
use q_distribution::QDistribution;
use table::Table;

/// Last step of the search for a quantile on the scale of `ln(1 + tau_squared / v_min)`. Newton's
/// method squares it.
const LAST_STEP: Tolerance = Tolerance::Absolute(1e-9);

/// Cap on `ln(1 + tau_squared / v_min)`. The numbers of a double do not reach further.
const LARGEST_LOG: f64 = 600.0;

/// How far beyond the outermost probabilities a table reaches, in logits.
const MARGIN: f64 = 0.25;

/// The confidence distribution of `tau_squared` for one set of effects.
#[derive(Debug, Clone)]
pub struct ConfidenceDistribution {
    distribution: QDistribution,
    /// The observed Q, positive.
    q: f64,
    smallest_variance: f64,
    /// `F(q; 0)` and the rest to 1. At 0 all weights are 1, so Q is plainly chi-squared.
    lower_at_zero: f64,
    upper_at_zero: f64,
}

impl ConfidenceDistribution {
    /// The distribution that belongs to `effects`, at least two of them.
    ///
    /// # Errors
    /// [`Reason::NoEffects`] or [`Reason::OneEffect`]; [`Reason::ZeroStandardError`] when all
    /// effects are equal, as then Q is 0 and says nothing of any `tau_squared`;
    /// [`Reason::OutOfRange`] when sums overflow.
    pub fn new(effects: &Effects) -> Estimable<Self> {
        let profile = Profile::new(effects)?;
        let moments = profile.precise(0.0);
        if moments.df < 1.0 {
            return Err(Reason::OneEffect);
        }
        let q = finite(moments.q().value())?;
        if q <= 0.0 {
            return Err(Reason::ZeroStandardError);
        }
        let chi_squared = ChiSquared::new(moments.df)?;
        Ok(Self {
            distribution: QDistribution::new(effects),
            q,
            smallest_variance: profile.smallest_variance(),
            lower_at_zero: chi_squared.lower_tail(q)?,
            upper_at_zero: chi_squared.upper_tail(q)?,
        })
    }

    /// The observed Q.
    #[must_use]
    pub const fn q(&self) -> f64 {
        self.q
    }

    /// `F(q; tau_squared)`, the probability of a Q up to the observed one under `tau_squared`,
    /// which is finite and not negative: one minus the confidence that the between-effects variance
    /// is at most `tau_squared`. The relative error is about 1e-14 up to some hundred effects and
    /// grows like `k`.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for any other `tau_squared`; [`Reason::NotConverged`].
    pub fn tail(&self, tau_squared: f64) -> Estimable<f64> {
        if tau_squared.is_finite() && 0.0 <= tau_squared {
            self.distribution
                .lower_tail(self.q, tau_squared)
                .map(|tail| tail.value)
        } else {
            Err(Reason::OutOfRange)
        }
    }

    /// The confidence that `tau_squared` is 0, `H(0)`: the upper tail probability of the observed Q
    /// when the true effects do not differ.
    #[must_use]
    pub const fn at_zero(&self) -> f64 {
        self.upper_at_zero
    }

    /// The `tau_squared` with `H(tau_squared) = probability`, for `0 < probability < 1`; 0 when
    /// `H(0)` is larger. In the square of the effects' unit.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for any other `probability`; [`Reason::NotConverged`].
    pub fn quantile(&self, probability: f64) -> Estimable<f64> {
        if 0.0 < probability && probability < 1.0 {
            self.solve(-logit(probability))
                .map(|log| self.tau_squared(log))
        } else {
            Err(Reason::OutOfRange)
        }
    }

    /// The exact interval for `tau_squared`: its quantiles at both tails of `level`. The lower end
    /// is 0 when Q is no larger than homogeneous effects often give.
    ///
    /// # Errors
    /// [`Reason::QProfileEmpty`] when `H(0)` exceeds even the upper probability, so that no
    /// `tau_squared` fits; [`Reason::NotConverged`].
    pub fn interval(&self, level: Level) -> Estimable<Interval> {
        if self.lower_at_zero < level.tail() {
            return Err(Reason::QProfileEmpty);
        }
        Ok(Interval {
            low: self.quantile(level.tail())?,
            high: self.quantile(1.0 - level.tail())?,
        })
    }

    /// The `tau_squared` with `F(q; tau_squared) = u` for every `u` strictly between 0 and 1, and 0
    /// where `u` is no smaller than `F(q; 0)`. For many of them: the logit of F is tabulated once,
    /// over `ln(1 + tau_squared / v_min)`, to an error of about 1e-10 in the logit, which is that
    /// of `u` at most.
    ///
    /// # Errors
    /// [`Reason::NotConverged`], or [`Reason::OutOfRange`] when the numbers leave the range.
    pub(crate) fn invert(&self, uniforms: &[f64]) -> Estimable<Vec<f64>> {
        let targets = || uniforms.iter().filter(|&&u| u < self.lower_at_zero);
        let largest = targets().fold(0.0, |best: f64, &u| if best < u { u } else { best });
        let smallest = targets().fold(1.0, |best: f64, &u| if u < best { u } else { best });
        if largest <= 0.0 {
            return Ok(vec![0.0; uniforms.len()]);
        }
        let range = (
            self.solve(logit(largest) + MARGIN)?,
            self.solve(logit(smallest) - MARGIN)?,
        );
        let table = Table::new(range, |log| Ok(self.logit_at(log)?.value))?;
        uniforms
            .iter()
            .map(|&u| {
                if self.lower_at_zero <= u {
                    return Ok(0.0);
                }
                let log = match table.invert(logit(u))? {
                    Some(log) => log,
                    None => self.solve(logit(u))?,
                };
                Ok(self.tau_squared(log))
            })
            .collect()
    }

    fn tau_squared(&self, log: f64) -> f64 {
        self.smallest_variance * log.exp_m1()
    }

    /// The logit of F and its slope, as functions of `ln(1 + tau_squared / v_min)`.
    fn logit_at(&self, log: f64) -> Estimable<ValueAndSlope> {
        let tail = self
            .distribution
            .lower_tail(self.q, self.tau_squared(log))?;
        let tau_squared_slope = self.smallest_variance * log.exp();
        Ok(ValueAndSlope {
            value: logit(tail.value),
            slope: tail.slope * tau_squared_slope / (tail.value * (1.0 - tail.value)),
        })
    }

    /// The `ln(1 + tau_squared / v_min)` at which the logit of F is `target`; 0 when it is smaller
    /// even there.
    fn solve(&self, target: f64) -> Estimable<f64> {
        if self.lower_at_zero.ln() - self.upper_at_zero.ln() <= target {
            return Ok(0.0);
        }
        // Less than this is lost in `v + tau_squared`.
        let (mut low, mut high) = (f64::EPSILON, 1.0);
        if self.logit_at(low)?.value <= target {
            return Ok(0.0);
        }
        while target < self.logit_at(high)?.value {
            low = high;
            high *= 2.0;
            if LARGEST_LOG < high {
                return Err(Reason::OutOfRange);
            }
        }
        let mut failure = None;
        let root = falling_root((low, high), 0.5 * (low + high), LAST_STEP, |log| match self
            .logit_at(log)
        {
            Ok(ValueAndSlope { value, slope }) => ValueAndSlope {
                value: value - target,
                slope,
            },
            Err(reason) => {
                failure = Some(reason);
                ValueAndSlope {
                    value: f64::NAN,
                    slope: f64::NAN,
                }
            }
        });
        failure.map_or(root, Err)
    }
}

/// `ln(p / (1 - p))`; infinite at 0 and 1.
fn logit(p: f64) -> f64 {
    p.ln() - (-p).ln_1p()
}
