//! The standard normal distribution.

use std::f64::consts::SQRT_2;

use statrs::function::erf::erfc_inv;

use super::chi_squared::ChiSquared;

use crate::pooling::Level;
use crate::pooling::model::{Interval, Wald};
use crate::pooling::reason::{Estimable, Reason, finite};

/// The standard normal distribution.
#[derive(Debug, Clone, Copy)]
pub struct Normal;

impl Normal {
    /// `P(|Z| > |z|)`, the upper tail of chi-squared on one degree of freedom at `z^2`; underflows
    /// to 0 beyond about 38.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for NaN.
    pub fn two_sided_p(z: f64) -> Estimable<f64> {
        // Beyond this the tail is below the smallest number, and squares may overflow.
        if 40.0 < z.abs() {
            Ok(0.0)
        } else {
            ChiSquared::new(1.0)?.upper_tail(z * z)
        }
    }

    /// `P(Z > z)`; underflows to 0 beyond about 38.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for NaN.
    pub fn upper_tail(z: f64) -> Estimable<f64> {
        let tail = 0.5 * Self::two_sided_p(z)?;
        Ok(if z < 0.0 { 1.0 - tail } else { tail })
    }

    /// The `z` with `P(Z > z) = tail`, for `0 < tail < 1`.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for any other `tail`.
    pub fn upper_quantile(tail: f64) -> Estimable<f64> {
        if 0.0 < tail && tail < 1.0 {
            finite(SQRT_2 * erfc_inv(2.0 * tail))
        } else {
            Err(Reason::OutOfRange)
        }
    }

    /// Normal interval and p value of an estimate with a positive standard error.
    pub(crate) fn two_sided(estimate: f64, se: f64, level: Level) -> Estimable<Wald> {
        let Interval { low, high } =
            Interval::around(estimate, Self::upper_quantile(level.tail())? * se)?;
        Ok(Wald {
            low,
            high,
            p: Self::two_sided_p(estimate / se)?,
        })
    }
}
