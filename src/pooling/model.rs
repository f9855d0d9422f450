//! The pooled mean under one model, and how sure one may be of it.

use ndarray::Array1;

use super::clusters;
use super::effects::Effects;
use super::level::Level;
use super::profile::{Moments, Profile};
use super::quantiles::{Normal, StudentT};
use super::reason::{Estimable, Reason, finite};
use super::sums::Double;

/// A closed range, `low <= high`, in the unit of the quantity it is about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// Whether this interval is narrower than `other`. A prediction interval that is narrower
    /// than the interval shown for the mean must not be shown.
    #[must_use]
    pub fn is_narrower_than(&self, other: &Self) -> bool {
        self.high - self.low < other.high - other.low
    }

    /// The smallest range that holds this one and `other`.
    #[must_use]
    pub const fn widened_to(self, other: &Self) -> Self {
        Self {
            low: if other.low < self.low {
                other.low
            } else {
                self.low
            },
            high: if self.high < other.high {
                other.high
            } else {
                self.high
            },
        }
    }

    /// # Errors
    /// [`Reason::OutOfRange`] when an end is not finite.
    pub(crate) fn around(centre: f64, half_width: f64) -> Estimable<Self> {
        Ok(Self {
            low: finite(centre - half_width)?,
            high: finite(centre + half_width)?,
        })
    }
}

/// The normal interval of a mean and the two-sided p value of the hypothesis that it is 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wald {
    /// Lower end, in the unit of the effects.
    pub low: f64,
    /// Upper end, in the unit of the effects.
    pub high: f64,
    /// Two-sided p value; it underflows to 0 where the mean is about 38 standard errors from 0.
    pub p: f64,
}

impl Wald {
    /// The two ends.
    #[must_use]
    pub const fn interval(&self) -> Interval {
        Interval {
            low: self.low,
            high: self.high,
        }
    }
}

/// An interval by Student's t with the standard error and degrees of freedom it is made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TInterval {
    /// Standard error, in the unit of the effects; 0 only for bit-equal effects.
    pub se: f64,
    /// Lower end, in the unit of the effects.
    pub low: f64,
    /// Upper end, in the unit of the effects.
    pub high: f64,
    /// Degrees of freedom, at least 1, not always whole.
    pub df: f64,
    /// Two-sided p value of the hypothesis that the mean is 0; `Err` when the standard error is 0.
    pub p: Estimable<f64>,
}

impl TInterval {
    /// The two ends.
    #[must_use]
    pub const fn interval(&self) -> Interval {
        Interval {
            low: self.low,
            high: self.high,
        }
    }

    pub(crate) fn new(estimate: f64, se: f64, df: f64, level: Level) -> Estimable<Self> {
        let t = StudentT::new(df)?;
        let Interval { low, high } =
            Interval::around(estimate, t.upper_quantile(level.tail())? * se)?;
        let p = if 0.0 < se {
            t.two_sided_p(estimate / se)
        } else {
            Err(Reason::ZeroStandardError)
        };
        Ok(Self {
            se: finite(se)?,
            low,
            high,
            df,
            p,
        })
    }
}

/// A pooled mean under one value of `tau_squared`.
#[derive(Debug, Clone, PartialEq)]
pub struct Model {
    /// Between-effects variance, in the square of the effects' unit; 0 in the fixed-effect model.
    pub tau_squared: f64,
    /// The mean `sum w y / sum w`, in the unit of the effects.
    pub estimate: f64,
    /// The model's own standard error, `1 / sqrt(sum w)`.
    pub se: f64,
    /// Normal interval with the model's own standard error.
    pub wald: Wald,
    /// Interval of Hartung & Knapp (2001, Stat Med 20:3875): `se^2 = q / sum w` with
    /// `q = sum w r^2 / (k - 1)`, t on `k - 1` degrees of freedom. From two effects on.
    pub hartung_knapp: Estimable<TInterval>,
    /// The same with `max(1, q)` in place of `q` (Knapp & Hartung 2003), so that it is never based
    /// on a smaller standard error than the model's own. From two effects on.
    pub hartung_knapp_safe: Estimable<TInterval>,
    /// Cluster-robust CR2 interval; see [`clusters`].
    pub cluster_robust: Estimable<TInterval>,
    /// Range for the true effect of another draw: `mu +- t_{k-2} sqrt(tau_squared + se^2)`
    /// (Higgins, Thompson & Spiegelhalter 2009, J R Stat Soc A 172:137), from three effects on and
    /// never in the fixed-effect model. Raw: at `tau_squared = 0` it can be narrower than the
    /// interval of the mean, which [`Interval::is_narrower_than`] tells.
    pub prediction: Estimable<Interval>,
}

impl Model {
    /// Share of each effect in the mean, in the canonical order of the effects that the model is of;
    /// adds up to 1.
    ///
    /// # Errors
    /// [`Reason::NoEffects`]; [`Reason::OutOfRange`] when a sum overflows.
    pub fn weights(&self, effects: &Effects) -> Estimable<Array1<f64>> {
        weights(effects, self.tau_squared)
    }
}

/// Share of each effect in the mean at one value of `tau_squared`: see [`Model::weights`].
pub(crate) fn weights(effects: &Effects, tau_squared: f64) -> Estimable<Array1<f64>> {
    let profile = Profile::new(effects)?;
    let moments = profile.precise(tau_squared);
    let shares = profile.shares(tau_squared, moments.base.value(), moments.weight.value());
    Ok(shares.into())
}

/// The fixed-effect model. `at_zero` are the sums at `tau_squared = 0`.
///
/// # Errors
/// [`Reason::OutOfRange`] when a sum overflows.
pub(crate) fn fixed_effect(
    profile: &Profile<'_>,
    at_zero: &Moments<Double>,
    level: Level,
) -> Estimable<Model> {
    let mut model = describe(profile, at_zero, 0.0, level)?;
    model.prediction = Err(Reason::NoPredictionUnderFixedEffect);
    Ok(model)
}

/// A random-effects model.
///
/// # Errors
/// [`Reason::OutOfRange`] when a sum overflows.
pub(crate) fn random_effects(
    profile: &Profile<'_>,
    at_zero: &Moments<Double>,
    tau_squared: f64,
    level: Level,
) -> Estimable<Model> {
    if 0.0 < tau_squared {
        let moments = profile.precise(tau_squared);
        describe(profile, &moments, tau_squared, level)
    } else {
        describe(profile, at_zero, 0.0, level)
    }
}

fn describe(
    profile: &Profile<'_>,
    moments: &Moments<Double>,
    tau_squared: f64,
    level: Level,
) -> Estimable<Model> {
    let estimate = finite(profile.mean(moments))?;
    let variance = finite((Double::ONE / moments.total_weight()).value())?;
    let se = variance.sqrt();
    let normal = Normal::two_sided(estimate, se, level)?;
    let q = finite(moments.q().value()).map(|q| q / moments.df);
    let hartung_knapp = |q: f64| TInterval::new(estimate, (q * variance).sqrt(), moments.df, level);
    let needs_two = if moments.df < 1.0 {
        Err(Reason::OneEffect)
    } else {
        Ok(())
    };
    Ok(Model {
        tau_squared: finite(tau_squared)?,
        estimate,
        se,
        wald: normal,
        hartung_knapp: needs_two.and(q).and_then(hartung_knapp),
        hartung_knapp_safe: needs_two
            .and(q)
            .and_then(|q| hartung_knapp(if q < 1.0 { 1.0 } else { q })),
        cluster_robust: needs_two
            .and_then(|()| clusters::cluster_robust(profile, moments, tau_squared))
            .and_then(|robust| TInterval::new(estimate, robust.se, robust.df, level)),
        prediction: predict(estimate, tau_squared + variance, moments.df - 1.0, level),
    })
}

fn predict(estimate: f64, variance: f64, df: f64, level: Level) -> Estimable<Interval> {
    if df < 1.0 {
        return Err(if df < 0.0 {
            Reason::OneEffect
        } else {
            Reason::FewerThanThreeEffects
        });
    }
    let quantile = StudentT::new(df)?.upper_quantile(level.tail())?;
    Interval::around(estimate, quantile * variance.sqrt())
}
