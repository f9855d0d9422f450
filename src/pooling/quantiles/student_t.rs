//! Student's t.

use std::f64::consts::PI;

use super::beta;
use super::gamma::half_step_ratio;
use super::normal::Normal;
use crate::pooling::reason::{Estimable, Reason, finite};
use crate::pooling::roots::{Tolerance, ValueAndSlope, falling_root};

/// Where the series for the centre gives way to the continued fraction for the tail. At
/// `t^2 = 3` the tail is still at least 0.04, so one minus the centre loses under two bits of it,
/// and the fraction converges in about a hundred terms.
const TAIL_FROM_SQUARE: f64 = 3.0;

/// Step, on the logarithm of a quantile, at which the search ends; Newton's method leaves about its
/// square, which is below rounding.
const LAST_STEP: Tolerance = Tolerance::Absolute(1e-9);

/// Student's t distribution with `df` degrees of freedom, not necessarily whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StudentT {
    df: f64,
    /// `Gamma((df + 1) / 2) / Gamma(df / 2) / sqrt(pi)`, which is `1 / B(df / 2, 1 / 2)`.
    inverse_beta: f64,
}

impl StudentT {
    /// # Errors
    /// [`Reason::OutOfRange`] unless `df` is finite and at least 1.
    pub fn new(df: f64) -> Estimable<Self> {
        if df.is_finite() && 1.0 <= df {
            Ok(Self {
                df,
                inverse_beta: half_step_ratio(0.5 * df) / PI.sqrt(),
            })
        } else {
            Err(Reason::OutOfRange)
        }
    }

    /// `P(T > t)` for `0 <= t`.
    ///
    /// Half of `I_x(df / 2, 1 / 2)` with `x = df / (df + t^2)` (Abramowitz & Stegun 1964, 26.5.27):
    /// near the centre from the complement by the series 26.5.4, else by the continued fraction of
    /// Algorithm 708 (1992, ACM Trans Math Softw 18:360), eq. 9, which unlike that of 26.5.8
    /// does not cancel for large `df`.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for a negative `t` or NaN.
    pub fn upper_tail(&self, t: f64) -> Estimable<f64> {
        if t.is_nan() || t < 0.0 {
            return Err(Reason::OutOfRange);
        }
        let (a, b) = (0.5 * self.df, 0.5);
        let ratio = t / self.df.sqrt();
        // x^a y^b / B(a, b) with y = 1 - x, from the logarithm of 1 + t^2 / df.
        let log_growth = if ratio < 1e8 {
            (ratio * ratio).ln_1p()
        } else {
            2.0 * ratio.ln()
        };
        let y = ratio.powi(2) / (1.0 + ratio.powi(2));
        let y = if y.is_nan() { 1.0 } else { y };
        let power = self.inverse_beta * (-a * log_growth).exp() * y.sqrt();
        if t * t < TAIL_FROM_SQUARE {
            return Ok(0.5 - power * beta::series(a, b, y));
        }
        let x = (-log_growth).exp();
        Ok(0.5 * power / beta::fraction(a, b, (x, y))?)
    }

    /// `P(|T| > |t|)`.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for NaN.
    pub fn two_sided_p(&self, t: f64) -> Estimable<f64> {
        self.upper_tail(t.abs()).map(|tail| 2.0 * tail)
    }

    /// The `t` with `P(T > t) = tail`, for `0 < tail <= 0.25`.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for any other `tail`.
    pub fn upper_quantile(&self, tail: f64) -> Estimable<f64> {
        if !(0.0 < tail && tail <= 0.25) {
            return Err(Reason::OutOfRange);
        }
        // The quantile falls in df, from the Cauchy's to the normal's. The logarithm of the tail
        // against the logarithm of t bends little, so Newton's method settles in a few steps.
        let normal = Normal::upper_quantile(tail)?;
        let bracket = (normal * (1.0 - 1e-9), (1.0 + 1e-9) / (PI * tail).tan());
        // Two terms of the expansion in 1 / df (Abramowitz & Stegun 1964, 26.7.5).
        let start = normal + (normal.powi(3) + normal) / (4.0 * self.df);
        let mut failure = None;
        let log_quantile = falling_root(
            (bracket.0.ln(), bracket.1.ln()),
            start.ln(),
            LAST_STEP,
            |log_t| {
                let t = log_t.exp();
                match self.upper_tail(t) {
                    Ok(reached) => ValueAndSlope {
                        value: (reached / tail).ln(),
                        slope: -t * self.density(t) / reached,
                    },
                    Err(reason) => {
                        failure = Some(reason);
                        ValueAndSlope {
                            value: f64::NAN,
                            slope: f64::NAN,
                        }
                    }
                }
            },
        );
        match failure {
            Some(reason) => Err(reason),
            None => finite(log_quantile?.exp()),
        }
    }

    /// The `t` with `P(T < t) = probability`, for `0 < probability < 1`, as exact as the
    /// probability is: near 1 it is better to ask [`StudentT::upper_quantile`].
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for any other `probability`.
    pub fn quantile(&self, probability: f64) -> Estimable<f64> {
        let (tail, sign) = if probability < 0.5 {
            (probability, -1.0)
        } else {
            (1.0 - probability, 1.0)
        };
        if tail <= 0.25 {
            return self.upper_quantile(tail).map(|t| sign * t);
        }
        // Around the centre the tail is nearly straight in t itself. The Cauchy quantile bounds
        // the others from above.
        let high = (1.0 + 1e-9) / (PI * tail).tan();
        let start = Normal::upper_quantile(tail)?;
        let mut failure = None;
        let root = falling_root((0.0, high), start, LAST_STEP, |t| {
            let value = self.upper_tail(t).unwrap_or_else(|reason| {
                failure = Some(reason);
                f64::NAN
            });
            ValueAndSlope {
                value: value - tail,
                slope: -self.density(t),
            }
        });
        failure.map_or(root, Err).map(|t| sign * t)
    }

    fn density(&self, t: f64) -> f64 {
        let log_growth = (t * t / self.df).ln_1p();
        self.inverse_beta / self.df.sqrt() * (-0.5 * (self.df + 1.0) * log_growth).exp()
    }
}
