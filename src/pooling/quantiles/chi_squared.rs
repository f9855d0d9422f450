//! Chi-squared.

use super::continued_fraction;
use super::gamma::{log_gamma_1p, poisson_density};
use super::normal::Normal;
use crate::pooling::reason::{Estimable, Reason, finite};
use crate::pooling::roots::{Tolerance, ValueAndSlope, falling_root};

/// Step, on the logarithm of a quantile, at which the search ends; Newton's method leaves about its
/// square, which is below rounding.
const LAST_STEP: Tolerance = Tolerance::Absolute(1e-9);

/// The chi-squared distribution with `df` degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChiSquared {
    df: f64,
}

/// Both tails at one place, and `x` times the density there.
#[derive(Debug, Clone, Copy)]
struct Tails {
    lower: f64,
    upper: f64,
    scaled_density: f64,
}

impl ChiSquared {
    /// # Errors
    /// [`Reason::OutOfRange`] unless `df` is finite and at least 1.
    pub fn new(df: f64) -> Estimable<Self> {
        if df.is_finite() && 1.0 <= df {
            Ok(Self { df })
        } else {
            Err(Reason::OutOfRange)
        }
    }

    /// `P(X > x)` for `0 <= x`.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for a negative `x` or NaN.
    pub fn upper_tail(&self, x: f64) -> Estimable<f64> {
        self.tails(x).map(|tails| tails.upper)
    }

    /// `P(X < x)` for `0 <= x`.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for a negative `x` or NaN.
    pub fn lower_tail(&self, x: f64) -> Estimable<f64> {
        self.tails(x).map(|tails| tails.lower)
    }

    /// The `x` with `P(X < x) = tail`, for `0 < tail <= 0.25`.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for any other `tail`.
    pub fn lower_quantile(&self, tail: f64) -> Estimable<f64> {
        let start = self.first_guess(tail, -1.0)?;
        let a = 0.5 * self.df;
        // P(a, z) <= z^a / Gamma(a + 1) bounds the quantile from below, the mean from above.
        let low = (tail.ln() + log_gamma_1p(a)) / a + 2.0_f64.ln() - 1e-9;
        let bracket = (low, self.df.ln());
        self.search(bracket, start, |tails| ValueAndSlope {
            value: (tail / tails.lower).ln(),
            slope: -tails.scaled_density / tails.lower,
        })
    }

    /// The `x` with `P(X > x) = tail`, for `0 < tail <= 0.25`.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for any other `tail`.
    pub fn upper_quantile(&self, tail: f64) -> Estimable<f64> {
        let start = self.first_guess(tail, 1.0)?;
        // The mean bounds the quantile from below, as P(X > df) is least, 0.317, at df = 1; from
        // above Laurent & Massart 2000 (Ann Stat 28:1302), lemma 1.
        let depth = -tail.ln();
        let high = self.df + 2.0 * (self.df * depth).sqrt() + 2.0 * depth;
        self.search((self.df.ln(), high.ln()), start, |tails| ValueAndSlope {
            value: (tails.upper / tail).ln(),
            slope: -tails.scaled_density / tails.upper,
        })
    }

    fn search(
        &self,
        bracket: (f64, f64),
        start: f64,
        function: impl Fn(Tails) -> ValueAndSlope,
    ) -> Estimable<f64> {
        let mut failure = None;
        let log_quantile = falling_root(bracket, start.ln(), LAST_STEP, |log_x| {
            match self.tails(log_x.exp()) {
                Ok(tails) => function(tails),
                Err(reason) => {
                    failure = Some(reason);
                    ValueAndSlope {
                        value: f64::NAN,
                        slope: f64::NAN,
                    }
                }
            }
        });
        match failure {
            Some(reason) => Err(reason),
            None => finite(log_quantile?.exp()),
        }
    }

    /// Wilson & Hilferty 1931 (PNAS 17:684); not positive, hence of no use, far down the lower tail.
    fn first_guess(&self, tail: f64, side: f64) -> Estimable<f64> {
        if !(0.0 < tail && tail <= 0.25) {
            return Err(Reason::OutOfRange);
        }
        let spread = 2.0 / (9.0 * self.df);
        Ok(self.df * (1.0 - spread + side * Normal::upper_quantile(tail)? * spread.sqrt()).powi(3))
    }

    /// Regularised incomplete gamma functions of `a = df / 2` and `z = x / 2`: below the mean the
    /// series of Abramowitz & Stegun 1964, 6.5.29, above it the continued fraction 6.5.31 in its
    /// contracted form.
    fn tails(&self, x: f64) -> Estimable<Tails> {
        if x.is_nan() || x < 0.0 {
            return Err(Reason::OutOfRange);
        }
        if x <= 0.0 {
            return Ok(Tails {
                lower: 0.0,
                upper: 1.0,
                scaled_density: 0.0,
            });
        }
        let (a, z) = (0.5 * self.df, 0.5 * x);
        let power = poisson_density(a, z);
        let scaled_density = a * power;
        if z < a + 1.0 {
            let (mut term, mut sum, mut n) = (1.0, 1.0, a);
            while 0.5 * f64::EPSILON * (1.0 - z / (n + 1.0)) * sum < term {
                n += 1.0;
                term *= z / n;
                sum += term;
            }
            let lower = power * sum;
            return Ok(Tails {
                lower,
                upper: 1.0 - lower,
                scaled_density,
            });
        }
        let fraction =
            continued_fraction::evaluate(z + 1.0 - a, |n| (n * (a - n), z + 2.0 * n + 1.0 - a))?;
        let upper = scaled_density / fraction;
        Ok(Tails {
            lower: 1.0 - upper,
            upper,
            scaled_density,
        })
    }
}
