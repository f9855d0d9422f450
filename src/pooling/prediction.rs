//! A prediction interval that allows for not knowing the between-effects variance.
//!
//! Nagashima, Noma & Furukawa 2019 (Stat Methods Med Res 28:1689; from memory). The interval of
//! Higgins, Thompson & Spiegelhalter in [`Model::prediction`](super::Model::prediction) puts one
//! estimate of `tau_squared` in the place of the truth, and misses too often when effects are few
//! or their heterogeneity is moderate. Here every draw takes its own:
//!
//! 1. `u` uniform; `tau_squared_b` is where the confidence distribution has it, `F(q; tau_squared)
//!    = u`, and 0 when `u` is larger than `F(q; 0)` (see [`super::confidence_distribution`]);
//! 2. with weights `w = 1 / (v + tau_squared_b)` the mean `mu_b = sum w y / sum w` and Hartung and
//!    Knapp's variance `s_b^2 = sum w (y - mu_b)^2 / ((k - 1) sum w)`;
//! 3. `theta_b = mu_b + z_b tau_b - t_b s_b` with `z_b` standard normal and `t_b` Student's t on
//!    `k - 1`, both by their quantile functions from the next two numbers of the draw.
//!
//! In step 3 the mean itself has the confidence distribution `mu_b - t_b s_b`, and another true
//! effect lies `z_b tau_b` from it. The interval ends at the sample quantiles of the draws, by
//! definition 6 of Hyndman & Fan 1996 (Am Stat 50:361), under which another draw falls beyond each
//! end with just the probability asked for. A thousand draws leave the ends of a 95 % interval
//! uncertain by about 4 % of its half width, four times as many by half of that.
//!
//! Simulated coverage of 95 % intervals for 5, 10, 20 and 50 effects (1,000 runs of 500 draws,
//! variances uniform on 0.5 to 2 times the typical; standard errors up to 0.6): without
//! heterogeneity 97.8, 97.7, 98.3 and 99.0 %, at `I^2` about 50 % 94.5, 93.2, 93.4 and 94.2 %, at
//! about 90 % 94.3, 94.7, 94.7 and 94.9 %. The formula had 99.8, 99.2, 97.3 and 98.0 %; 92.7, 86.3,
//! 88.2 and 92.5 %; and 94.0, 94.4, 94.5 and 94.8 %.
//!
//! The draws depend on the effects alone, through their distances from the smallest and in a unit
//! of their own, so neither moving the effects nor multiplying them by a power of two changes a
//! digit of the width. Clusters are ignored: the effects are taken as independent.

#[cfg(test)]
mod tests;

use super::confidence_distribution::ConfidenceDistribution;
use super::draws::Draws;
use super::effects::Effects;
use super::level::Level;
use super::model::Interval;
use super::profile::{Moments, Profile};
use super::quantiles::{Normal, StudentT};
use super::reason::{Estimable, Reason, finite};

/// A prediction interval from the confidence distribution of `tau_squared`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BootstrapPrediction {
    /// Range for the true effect of another draw from the population of the effects, in their
    /// unit. It can be narrower than the interval of the mean, which
    /// [`Interval::is_narrower_than`] tells.
    pub interval: Interval,
    /// Number of draws.
    pub draws: usize,
    /// The confidence that `tau_squared` is 0: the p value of Q under no heterogeneity.
    pub at_zero: f64,
    /// Median of the confidence distribution of `tau_squared`, an estimate that is too large as
    /// often as too small, in the square of the effects' unit.
    pub tau_squared_median: f64,
    /// Exact interval for `tau_squared` at the same level; [`Reason::QProfileEmpty`] when the
    /// effects are more alike than chance allows.
    pub tau_squared: Estimable<Interval>,
}

/// Predicts the true effect of another draw from at least three effects, with `draws` draws. The
/// work grows with `draws` times the number of effects, after a table of some fifty to a hundred
/// values of F.
///
/// # Errors
/// [`Reason::NoEffects`], [`Reason::OneEffect`], [`Reason::FewerThanThreeEffects`];
/// [`Reason::ZeroStandardError`] when all effects are equal; [`Reason::TooFewDraws`] when not even
/// one draw is due beyond each end; [`Reason::NotConverged`], or [`Reason::OutOfRange`] when the
/// numbers leave the range.
pub fn bootstrap_prediction(
    effects: &Effects,
    level: Level,
    draws: usize,
) -> Estimable<BootstrapPrediction> {
    let profile = Profile::new(effects)?;
    let df = profile.df();
    if df < 2.0 {
        return Err(if df < 1.0 {
            Reason::OneEffect
        } else {
            Reason::FewerThanThreeEffects
        });
    }
    let distribution = ConfidenceDistribution::new(effects)?;
    let quantile = SampleQuantile::new(level.tail(), draws)?;
    let variates = variates(effects, StudentT::new(df)?, draws)?;
    let uniforms: Vec<f64> = variates.iter().map(|variate| variate.uniform).collect();
    let tau_squared = distribution.invert(&uniforms)?;
    let at_zero = Centre::new(&profile.quick(0.0));
    let mut distances = variates
        .iter()
        .zip(tau_squared)
        .map(|(variate, tau_squared)| {
            let centre = if 0.0 < tau_squared {
                Centre::new(&profile.quick(tau_squared))
            } else {
                at_zero
            };
            finite(centre.offset + variate.normal * tau_squared.sqrt() - variate.t * centre.se)
        })
        .collect::<Estimable<Vec<f64>>>()?;
    distances.sort_unstable_by(f64::total_cmp);
    let origin = profile.heaviest_estimate();
    Ok(BootstrapPrediction {
        interval: Interval {
            low: finite(origin + quantile.lower(&distances)?)?,
            high: finite(origin + quantile.upper(&distances)?)?,
        },
        draws,
        at_zero: distribution.at_zero(),
        tau_squared_median: distribution.quantile(0.5)?,
        tau_squared: distribution.interval(level),
    })
}

/// The random numbers of one draw.
#[derive(Debug, Clone, Copy)]
struct Variate {
    uniform: f64,
    normal: f64,
    t: f64,
}

fn variates(effects: &Effects, t: StudentT, draws: usize) -> Estimable<Vec<Variate>> {
    let source = source(effects);
    (0_u64..)
        .take(draws)
        .map(|number| {
            let mut draw = source.draw(number);
            let uniform = draw.uniform();
            Ok(Variate {
                uniform,
                normal: -Normal::upper_quantile(draw.uniform())?,
                t: t.quantile(draw.uniform())?,
            })
        })
        .collect()
}

/// Draws that belong to the effects whatever their unit and origin: to their distances from the
/// smallest effect and to their variances, in a unit, a power of two, in which the largest
/// variance lies between 1 and 4.
fn source(effects: &Effects) -> Draws {
    let variances = effects.variances();
    let largest = variances
        .iter()
        .fold(0.0, |best: f64, &v| if best < v { v } else { best });
    let mut unit = 1.0_f64;
    // Powers of two and their squares are exact; a variance has fewer than 1,100 of them.
    while unit * unit * 4.0 <= largest {
        unit *= 2.0;
    }
    while largest < unit * unit {
        unit *= 0.5;
    }
    let estimates = effects.estimates();
    let first = estimates.first().copied().unwrap_or(0.0);
    Draws::of(
        estimates
            .iter()
            .map(|y| (y - first) / unit)
            .chain(variances.iter().map(|v| v / unit / unit)),
    )
}

/// The mean, as its distance from the heaviest effect, and Hartung and Knapp's standard error.
#[derive(Debug, Clone, Copy)]
struct Centre {
    offset: f64,
    se: f64,
}

impl Centre {
    fn new(moments: &Moments<f64>) -> Self {
        Self {
            offset: moments.offset,
            se: (moments.q() / moments.df / moments.total_weight()).sqrt(),
        }
    }
}

/// A sample quantile of definition 6 of Hyndman & Fan 1996: place `p (n + 1)`, counted from 1, on
/// straight lines between the ordered values.
#[derive(Debug, Clone, Copy)]
struct SampleQuantile {
    /// The place's whole part, counted from 0.
    whole: usize,
    fraction: f64,
}

impl SampleQuantile {
    /// # Errors
    /// [`Reason::TooFewDraws`] when the place is before the first value.
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a place between 1 and the number of draws"
    )]
    fn new(tail: f64, n: usize) -> Estimable<Self> {
        let place = tail * (n as f64 + 1.0);
        if place < 1.0 {
            return Err(Reason::TooFewDraws);
        }
        Ok(Self {
            whole: place as usize - 1,
            fraction: place.fract(),
        })
    }

    fn lower(self, sorted: &[f64]) -> Estimable<f64> {
        self.between(sorted.get(self.whole), sorted.get(self.whole + 1))
    }

    fn upper(self, sorted: &[f64]) -> Estimable<f64> {
        let from_end = |idx: usize| sorted.iter().rev().nth(idx);
        self.between(from_end(self.whole), from_end(self.whole + 1))
    }

    fn between(self, outer: Option<&f64>, inner: Option<&f64>) -> Estimable<f64> {
        match (outer, inner) {
            (Some(outer), Some(inner)) => Ok(outer + self.fraction * (inner - outer)),
            _ => Err(Reason::TooFewDraws),
        }
    }
}
