//! Compensated and double-double arithmetic.
//!
//! [`Double`] holds an unevaluated sum of two `f64`, about 32 significant digits (Dekker 1971,
//! Numer. Math. 18:224; Knuth, The Art of Computer Programming vol. 2, section 4.2.2, for
//! [`two_sum`]). Sums of `f64` terms are accumulated into one ([`Real::accumulate`]), which is
//! Neumaier's (1974, ZAMM 54:39) compensated sum without its branch.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// The rounded sum of `a` and `b` and the exact rounding error, in any order of magnitude.
#[must_use]
#[inline(always)]
pub fn two_sum(a: f64, b: f64) -> (f64, f64) {
    let sum = a + b;
    let b_rounded = sum - a;
    (sum, (a - (sum - b_rounded)) + (b - b_rounded))
}

/// As [`two_sum`], for `b` no larger in magnitude than `a`.
#[inline(always)]
fn quick_two_sum(a: f64, b: f64) -> Double {
    let high = a + b;
    Double {
        high,
        low: b - (high - a),
    }
}

/// An unevaluated sum of two `f64`, the second no more than half a unit in the last place of the
/// first.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Double {
    high: f64,
    low: f64,
}

impl Double {
    /// Zero.
    pub const ZERO: Self = Self {
        high: 0.0,
        low: 0.0,
    };
    /// One.
    pub const ONE: Self = Self {
        high: 1.0,
        low: 0.0,
    };

    /// `a + b`, exactly.
    #[must_use]
    pub fn sum(a: f64, b: f64) -> Self {
        let (high, low) = two_sum(a, b);
        Self { high, low }
    }

    /// The nearest `f64`.
    #[must_use]
    pub fn value(self) -> f64 {
        self.high + self.low
    }

    /// The two numbers, the larger first.
    #[must_use]
    pub const fn parts(self) -> [f64; 2] {
        [self.high, self.low]
    }

    /// The square.
    #[must_use]
    pub fn squared(self) -> Self {
        self * self
    }
}

impl From<f64> for Double {
    fn from(value: f64) -> Self {
        Self {
            high: value,
            low: 0.0,
        }
    }
}

impl Add for Double {
    type Output = Self;

    #[inline(always)]
    fn add(self, other: Self) -> Self {
        let (high, high_error) = two_sum(self.high, other.high);
        let (low, low_error) = two_sum(self.low, other.low);
        let partial = quick_two_sum(high, high_error + low);
        quick_two_sum(partial.high, partial.low + low_error)
    }
}

impl Neg for Double {
    type Output = Self;

    #[inline(always)]
    fn neg(self) -> Self {
        Self {
            high: -self.high,
            low: -self.low,
        }
    }
}

impl Sub for Double {
    type Output = Self;

    #[inline(always)]
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Mul for Double {
    type Output = Self;

    #[inline(always)]
    fn mul(self, other: Self) -> Self {
        let product = self.high * other.high;
        // The fused operation gives the rounding error of the product exactly.
        let error = self.high.mul_add(other.high, -product);
        quick_two_sum(
            product,
            error + (self.high * other.low + self.low * other.high),
        )
    }
}

impl Div for Double {
    type Output = Self;

    #[inline(always)]
    fn div(self, other: Self) -> Self {
        // Long division by digits of 53 bits; the third one rounds the second correctly.
        let first = self.high / other.high;
        let remainder = self - other * Self::from(first);
        let second = remainder.high / other.high;
        let remainder = remainder - other * Self::from(second);
        let third = remainder.high / other.high;
        quick_two_sum(first, second) + Self::from(third)
    }
}

/// Numbers in which the sums of [`super::pool`] can be formed: `f64` where speed counts and
/// [`Double`] where a result leaves.
pub trait Real:
    Copy + Add<Output = Self> + Sub<Output = Self> + Mul<Output = Self> + Div<Output = Self>
{
    /// Rounds to this type.
    fn from_double(value: Double) -> Self;

    /// `a + b`, rounded to this type once.
    fn from_sum(a: f64, b: f64) -> Self;

    /// `total + term` with the rounding error kept. Totals of `f64` terms are not normalised
    /// until they pass through [`Real::from_double`].
    fn accumulate(total: Double, term: Self) -> Double;

    /// Widens without loss.
    fn to_double(self) -> Double;
}

impl Real for f64 {
    fn from_double(value: Double) -> Self {
        value.value()
    }

    fn from_sum(a: f64, b: f64) -> Self {
        a + b
    }

    fn accumulate(total: Double, term: Self) -> Double {
        let (high, error) = two_sum(total.high, term);
        Double {
            high,
            low: total.low + error,
        }
    }

    fn to_double(self) -> Double {
        Double::from(self)
    }
}

impl Real for Double {
    fn from_double(value: Double) -> Self {
        value
    }

    fn from_sum(a: f64, b: f64) -> Self {
        Self::sum(a, b)
    }

    fn accumulate(total: Double, term: Self) -> Double {
        total + term
    }

    fn to_double(self) -> Double {
        self
    }
}

/// The compensated sum of `terms`, rounded once at the end.
#[must_use]
pub fn compensated_sum(terms: impl IntoIterator<Item = f64>) -> f64 {
    terms
        .into_iter()
        .fold(Double::ZERO, f64::accumulate)
        .value()
}

#[cfg(test)]
mod tests {
    use super::{Double, compensated_sum};
    use crate::pooling::tests::assert_close;

    #[test]
    fn cancelling_terms_leave_the_small_one() {
        assert_close(compensated_sum([1.0, 1e100, 1.0, -1e100]), 2.0, 0.0, 0.0);
    }

    #[test]
    fn doubles_carry_about_thirty_digits() {
        let third = Double::ONE / Double::from(3.0);
        let error = (third * Double::from(3.0) - Double::ONE).value();
        assert!(error.abs() < 1e-31);
        let tiny = Double::sum(1.0, 1e-25);
        assert_close((tiny.squared() - Double::ONE).value(), 2e-25, 1e-6, 0.0);
        assert_close((tiny + -Double::ONE).value(), 1e-25, 0.0, 0.0);
    }
}
