//! How much the effects disagree beyond what their sampling variances explain.

use super::effects::Effects;
use super::level::Level;
use super::model::Interval;
use super::profile::Profile;
use super::quantiles::ChiSquared;
use super::reason::{Estimable, Reason, finite};
use super::sums::Double;
use super::tau_squared::TauSquared;

/// Heterogeneity of at least two effects.
#[derive(Debug, Clone, PartialEq)]
pub struct Heterogeneity {
    /// Cochran's Q (1954, Biometrics 10:101), `sum r^2 / v` about the fixed-effect mean.
    pub q: f64,
    /// Its degrees of freedom, `k - 1`.
    pub df: f64,
    /// Upper tail probability of Q under no heterogeneity, chi-squared on `df`; it underflows to 0
    /// below about 1e-308.
    pub p: f64,
    /// `I^2 = max(0, (Q - df) / Q)` as a fraction, 0 when Q is 0 (Higgins & Thompson 2002, Stat
    /// Med 21:1539).
    pub i_squared: f64,
    /// `H^2 = Q / df`, not truncated at 1.
    pub h_squared: f64,
    /// The typical sampling variance `s^2 = (k - 1) / (s1 - s2 / s1)` of Higgins & Thompson 2002,
    /// eq. 9, in the square of the effects' unit.
    pub typical_variance: f64,
    /// Q-profile interval of `tau_squared` (Viechtbauer 2007, Stat Med 26:37): the values at which
    /// Q equals the two chi-squared quantiles. The lower end is 0 when Q(0) is below the upper
    /// quantile; [`Reason::QProfileEmpty`] when it is below even the lower one.
    pub tau_squared: Estimable<Interval>,
    /// `tau_squared / (tau_squared + s^2)` at both ends.
    pub i_squared_interval: Estimable<Interval>,
    /// `(tau_squared + s^2) / s^2` at both ends; starts at 1 or above even where `h_squared` is
    /// below 1.
    pub h_squared_interval: Estimable<Interval>,
    /// Asymptotic variance of the REML estimate of `tau_squared`, `2 / tr PP`, from the expected
    /// information.
    pub reml_tau_squared_variance: Estimable<f64>,
}

impl Heterogeneity {
    /// `Some("empty")` when the effects are more alike than chance allows at this level, so that
    /// there is no interval for `tau_squared` rather than one that ends at 0.
    #[must_use]
    pub fn tau_squared_note(&self) -> Option<&'static str> {
        (self.tau_squared == Err(Reason::QProfileEmpty)).then_some("empty")
    }
}

/// # Errors
/// [`Reason::OneEffect`] below two effects; [`Reason::OutOfRange`] when a sum overflows.
pub(crate) fn describe(
    estimators: &TauSquared<'_>,
    reml_tau_squared: Estimable<f64>,
    level: Level,
) -> Estimable<Heterogeneity> {
    let at_zero = estimators.at_zero();
    let df = at_zero.df;
    if df < 1.0 {
        return Err(Reason::OneEffect);
    }
    let chi_squared = ChiSquared::new(df)?;
    let precise_df = Double::from(df);
    let q = finite(at_zero.q().value())?;
    let excess = (at_zero.q() - precise_df).value();
    let i_squared = if 0.0 < excess {
        ((at_zero.q() - precise_df) / at_zero.q()).value()
    } else {
        0.0
    };
    let typical_variance = finite((precise_df / at_zero.trace()).value())?;
    let tau_squared = q_profile(estimators, &chi_squared, level);
    let fraction = |tau_squared: f64| tau_squared / (tau_squared + typical_variance);
    let ratio = |tau_squared: f64| (tau_squared + typical_variance) / typical_variance;
    Ok(Heterogeneity {
        q,
        df,
        p: chi_squared.upper_tail(q)?,
        i_squared: finite(i_squared)?,
        h_squared: finite(q / df)?,
        typical_variance,
        tau_squared,
        i_squared_interval: tau_squared.and_then(|interval| map_ends(interval, fraction)),
        h_squared_interval: tau_squared.and_then(|interval| map_ends(interval, ratio)),
        reml_tau_squared_variance: reml_tau_squared.and_then(|tau_squared| {
            let information = estimators.profile().precise(tau_squared).trace_of_square();
            finite((Double::from(2.0) / information).value())
        }),
    })
}

/// `s^2` of Higgins & Thompson 2002, eq. 9, as [`Heterogeneity::typical_variance`], alone.
///
/// # Errors
/// [`Reason::NoEffects`]; [`Reason::OneEffect`]; [`Reason::OutOfRange`].
pub(crate) fn typical_variance(effects: &Effects) -> Estimable<f64> {
    let at_zero = Profile::new(effects)?.precise(0.0);
    if at_zero.df < 1.0 {
        return Err(Reason::OneEffect);
    }
    finite((Double::from(at_zero.df) / at_zero.trace()).value())
}

fn q_profile(
    estimators: &TauSquared<'_>,
    chi_squared: &ChiSquared,
    level: Level,
) -> Estimable<Interval> {
    let tail = level.tail();
    let high = estimators
        .solve_q(chi_squared.lower_quantile(tail)?)?
        .ok_or(Reason::QProfileEmpty)?;
    let low = estimators
        .solve_q(chi_squared.upper_quantile(tail)?)?
        .unwrap_or(0.0);
    Ok(Interval { low, high })
}

fn map_ends(interval: Interval, function: impl Fn(f64) -> f64) -> Estimable<Interval> {
    Ok(Interval {
        low: finite(function(interval.low))?,
        high: finite(function(interval.high))?,
    })
}
