//! The random-effects mean by restricted maximum likelihood, without the parts of a [`Model`] that
//! nobody needs where many means stand side by side.

use std::cmp::Ordering;

use super::effects::Effects;
use super::level::Level;
use super::model::{self, Interval, Model, TInterval};
use super::profile::{Moments, Profile};
use super::reason::Estimable;
use super::regression::Estimator;
use super::sums::Double;
use super::tau_squared::TauSquared;

/// A mean under the random-effects model with the restricted maximum likelihood estimator.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RandomMean {
    /// Between-effects variance, in the square of the effects' unit.
    pub tau_squared: f64,
    /// The mean `sum w y / sum w`, in the unit of the effects.
    pub estimate: f64,
    /// The model's own standard error, `1 / sqrt(sum w)`.
    pub se: f64,
    /// Hartung-Knapp interval with `max(1, q)`, as [`Model::hartung_knapp_safe`].
    pub hartung_knapp_safe: Estimable<TInterval>,
    /// CR2 interval, as [`Model::cluster_robust`].
    pub cluster_robust: Estimable<TInterval>,
}

impl RandomMean {
    /// The interval to read: by CR2 when `has_repeats`, that is when any cluster of the analysis
    /// holds two or more effects ([`Effects::has_repeats`]), because Hartung-Knapp is too narrow
    /// then; else the safeguarded Hartung-Knapp one.
    ///
    /// # Errors
    /// The reason why that interval is not defined.
    pub const fn interval(&self, has_repeats: bool) -> Estimable<TInterval> {
        if has_repeats {
            self.cluster_robust
        } else {
            self.hartung_knapp_safe
        }
    }

    /// The mean by restricted maximum likelihood.
    ///
    /// # Errors
    /// As [`super::Pooled::reml`].
    pub fn new(effects: &Effects, level: Level) -> Estimable<Self> {
        Self::by(Estimator::RestrictedMaximumLikelihood, effects, level)
    }

    /// The mean by any estimator of `tau_squared`, bit for bit that of [`super::pool`].
    ///
    /// # Errors
    /// As the models of [`super::Pooled`].
    pub fn by(estimator: Estimator, effects: &Effects, level: Level) -> Estimable<Self> {
        let profile = Profile::new(effects)?;
        let at_zero = profile.precise(0.0);
        let tau_squared = tau_squared(estimator, &profile, at_zero)?;
        model::random_effects(&profile, &at_zero, tau_squared, level)
            .map(|model| Self::from(&model))
    }
}

fn tau_squared(
    estimator: Estimator,
    profile: &Profile<'_>,
    at_zero: Moments<Double>,
) -> Estimable<f64> {
    let estimators = TauSquared::new(profile, at_zero);
    match estimator {
        Estimator::Fixed => Ok(0.0),
        Estimator::DersimonianLaird => estimators.dersimonian_laird(),
        Estimator::PauleMandel => estimators.paule_mandel(),
        Estimator::RestrictedMaximumLikelihood => estimators.restricted_maximum_likelihood(),
    }
}

impl From<&Model> for RandomMean {
    fn from(model: &Model) -> Self {
        Self {
            tau_squared: model.tau_squared,
            estimate: model.estimate,
            se: model.se,
            hartung_knapp_safe: model.hartung_knapp_safe,
            cluster_robust: model.cluster_robust,
        }
    }
}

/// Where an interval lies: `Less` below 0, `Equal` around it, its ends included, `Greater` above.
pub(crate) fn side_of_zero(interval: Interval) -> Ordering {
    if 0.0 < interval.low {
        Ordering::Greater
    } else if interval.high < 0.0 {
        Ordering::Less
    } else {
        Ordering::Equal
    }
}
