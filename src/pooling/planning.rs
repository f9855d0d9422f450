//! How much further effects would help: expected width, power, and how many for a wanted width.
//!
//! Further effects are taken to be like those that are there: independent, from the same spread of
//! true effects (`tau_squared` by restricted maximum likelihood, taken as known) and with the
//! typical sampling variance `s^2` (Higgins & Thompson 2002, eq. 9). With `m` of them the sum of
//! weights is `sum w + m / (s^2 + tau_squared)` and tests are by t on `k + m - 1` degrees of
//! freedom. The unit is one effect per cluster: where clusters hold several effects, the most
//! precise one stands for each, and `k` and `m` count clusters.
//!
//! On these premises the factor `q` of Hartung & Knapp 2001 is chi-squared over its degrees of
//! freedom, exactly so when weights are known, and independent of the mean; hence the expected
//! half-width of the interval with `max(1, q)`, and the power, see `power`.

mod power;
#[cfg(test)]
mod tests;

use super::effects::Effects;
use super::heterogeneity::typical_variance;
use super::level::Level;
use super::quantiles::gamma::half_step_ratio;
use super::quantiles::{ChiSquared, StudentT};
use super::random_mean::RandomMean;
use super::reason::{Estimable, Reason, finite};

/// The search for a number of further effects ends here. The project's choice: more than any crowd
/// experiment has reason to hope for.
const MOST_FURTHER: usize = 100_000;

/// What further effects are expected to be like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlook {
    /// Number of independent effects that are there, one per cluster, at least 2.
    pub k: usize,
    /// Confidence level of the interval; tests are two-sided at one minus it.
    pub level: Level,
    /// Between-effects variance, in the square of the effects' unit.
    pub tau_squared: f64,
    /// Sampling variance of a further effect, in the square of the effects' unit.
    pub typical_variance: f64,
    /// The model's own standard error as of now, in the unit of the effects.
    pub se: f64,
}

/// What is expected with some further effects, in the unit of the effects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Precision {
    /// Number of further effects.
    pub n_further: usize,
    /// Degrees of freedom, `k + m - 1`.
    pub df: f64,
    /// The model's own standard error, `(sum w + m / (s^2 + tau_squared))^(-1/2)`.
    pub se: f64,
    /// `t SE`: half the width of the Hartung-Knapp interval when `q = 1`, the least that the
    /// safeguarded one can have.
    pub half_width: f64,
    /// `t SE E[max(1, q)^(1/2)]`: half the expected width of the safeguarded interval.
    pub half_width_safe: f64,
}

/// Chance that a two-sided test finds a true mean different from 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Power {
    /// Of the test by Hartung & Knapp, noncentral t.
    pub hartung_knapp: f64,
    /// Of the same with `max(1, q)`, never more.
    pub hartung_knapp_safe: f64,
}

/// Prepares the outlook from the effects that are there.
///
/// # Errors
/// [`Reason::NoEffects`]; [`Reason::OneEffect`] below two clusters; [`Reason::NotConverged`];
/// [`Reason::OutOfRange`].
pub fn outlook(effects: &Effects, level: Level) -> Estimable<Outlook> {
    let effects = effects.most_precise_per_cluster();
    let mean = RandomMean::new(&effects, level)?;
    Ok(Outlook {
        k: effects.k(),
        level,
        tau_squared: mean.tau_squared,
        typical_variance: typical_variance(&effects)?,
        se: mean.se,
    })
}

impl Outlook {
    /// The precision expected with `n_further` further effects.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`].
    pub fn precision(&self, n_further: usize) -> Estimable<Precision> {
        let (df, se) = (self.df(n_further), self.se_with(n_further)?);
        let half_width = finite(StudentT::new(df)?.upper_quantile(self.level.tail())? * se)?;
        Ok(Precision {
            n_further,
            df,
            se,
            half_width,
            half_width_safe: finite(half_width * expected_safe_root(df)?)?,
        })
    }

    /// The power, with `n_further` further effects, to tell a true mean of `difference` (in the unit
    /// of the effects) from 0. Its error is below 1e-10.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] when `difference` is not finite, or too many standard errors to
    /// compute with.
    pub fn power(&self, n_further: usize, difference: f64) -> Estimable<Power> {
        let df = self.df(n_further);
        let noncentrality = finite(difference.abs() / self.se_with(n_further)?)?;
        let critical = StudentT::new(df)?.upper_quantile(self.level.tail())?;
        let chance = |scale| power::rejection(df, critical, noncentrality, scale);
        Ok(Power {
            hartung_knapp: chance(power::Scale::AsEstimated)?,
            hartung_knapp_safe: chance(power::Scale::AtLeastOne)?,
        })
    }

    /// The smallest number of further effects with which the expected half-width of the safeguarded
    /// interval is at most `half_width`, in the unit of the effects; 0 when it is so now.
    ///
    /// # Errors
    /// [`Reason::TooManyFurtherEffects`] beyond 100,000; [`Reason::OutOfRange`] unless `half_width`
    /// is positive.
    pub fn further_for(&self, half_width: f64) -> Estimable<usize> {
        if half_width.is_nan() || half_width <= 0.0 {
            return Err(Reason::OutOfRange);
        }
        let is_enough = |n| Ok::<bool, Reason>(self.precision(n)?.half_width_safe <= half_width);
        if is_enough(0)? {
            return Ok(0);
        }
        if !is_enough(MOST_FURTHER)? {
            return Err(Reason::TooManyFurtherEffects);
        }
        // Quantile, standard error and the expectation of max(1, q)^(1/2) all fall with every
        // further effect, so the width does.
        let (mut too_few, mut enough) = (0, MOST_FURTHER);
        while too_few + 1 < enough {
            let middle = too_few.midpoint(enough);
            if is_enough(middle)? {
                enough = middle;
            } else {
                too_few = middle;
            }
        }
        Ok(enough)
    }

    #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
    fn df(&self, n_further: usize) -> f64 {
        (self.k + n_further) as f64 - 1.0
    }

    /// `1 / sqrt(1 / se^2 + m / (s^2 + tau_squared))`, with the weights in units of those of now.
    #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
    fn se_with(&self, n_further: usize) -> Estimable<f64> {
        let gain = self.se * (self.se / (self.typical_variance + self.tau_squared));
        finite(self.se / (n_further as f64).mul_add(gain, 1.0).sqrt())
    }
}

/// `E[max(1, q)^(1/2)]` for `df q` chi-squared on `df`:
/// `P(q < 1) + (2 / df)^(1/2) Gamma((df + 1) / 2) / Gamma(df / 2) P(X > df)` with `X` chi-squared on
/// `df + 1`, because `x^(1/2)` times the density on `df` is proportional to that on `df + 1`.
fn expected_safe_root(df: f64) -> Estimable<f64> {
    let below = ChiSquared::new(df)?.lower_tail(df)?;
    let above = ChiSquared::new(df + 1.0)?.upper_tail(df)?;
    finite(below + (2.0 / df).sqrt() * half_step_ratio(0.5 * df) * above)
}
