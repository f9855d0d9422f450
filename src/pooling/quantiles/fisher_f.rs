//! Fisher's F.

use std::f64::consts::PI;

use super::beta;
use super::gamma::half_step_ratio;
use crate::pooling::reason::{Estimable, Reason, finite};

/// Fisher's F distribution with `numerator_df`, a whole number, and `denominator_df` degrees of
/// freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FisherF {
    numerator_df: f64,
    denominator_df: f64,
    /// `1 / B(denominator_df / 2, numerator_df / 2)`.
    inverse_beta: f64,
}

impl FisherF {
    /// # Errors
    /// [`Reason::OutOfRange`] unless `numerator_df` is at least 1 and `denominator_df` finite and
    /// at least 1, or when the beta function of the two is beyond the arithmetic.
    pub fn new(numerator_df: u32, denominator_df: f64) -> Estimable<Self> {
        if numerator_df < 1 || !(denominator_df.is_finite() && 1.0 <= denominator_df) {
            return Err(Reason::OutOfRange);
        }
        // Steps of one from Gamma(a + 1) / (Gamma(a) Gamma(1)) = a or from
        // Gamma(a + 1/2) / (Gamma(a) Gamma(1/2)), by Gamma(z + 1) = z Gamma(z).
        let a = 0.5 * denominator_df;
        let (first, from) = if numerator_df.is_multiple_of(2) {
            (a, 1.0)
        } else {
            (half_step_ratio(a) / PI.sqrt(), 0.5)
        };
        let steps = (numerator_df - 1) / 2;
        let inverse_beta = (0..steps)
            .map(|step| from + f64::from(step))
            .fold(first, |product, b| product * ((a + b) / b));
        Ok(Self {
            numerator_df: f64::from(numerator_df),
            denominator_df,
            inverse_beta: finite(inverse_beta)?,
        })
    }

    /// `P(F > f)` for `0 <= f`: `I_x(d2 / 2, d1 / 2)` with `x = d2 / (d2 + d1 f)` (Abramowitz &
    /// Stegun 1964, 26.6.2). Underflows to 0.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] for a negative `f` or NaN.
    pub fn upper_tail(&self, f: f64) -> Estimable<f64> {
        if f.is_nan() || f < 0.0 {
            return Err(Reason::OutOfRange);
        }
        let (a, b) = (0.5 * self.denominator_df, 0.5 * self.numerator_df);
        let ratio = f / self.denominator_df * self.numerator_df;
        if !ratio.is_finite() {
            return Ok(0.0);
        }
        let (x, y) = (1.0 / (1.0 + ratio), ratio / (1.0 + ratio));
        let power = self.inverse_beta * (-a * ratio.ln_1p()).exp() * y.powf(b);
        // Below the mean of the beta variable the terms of the series fall at once, above it the
        // fraction settles.
        if (a + b) * y < b {
            Ok(1.0 - power / b * beta::series(a, b, y))
        } else {
            Ok(power / beta::fraction(a, b, (x, y))?)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::FisherF;
    use crate::pooling::Reason;
    use crate::pooling::quantiles::StudentT;
    use crate::pooling::tests::assert_close;

    fn tail(numerator_df: u32, denominator_df: f64, f: f64) -> f64 {
        let law = FisherF::new(numerator_df, denominator_df).unwrap();
        law.upper_tail(f).unwrap()
    }

    /// mpmath 1.4.1, 50 digits, by the hypergeometric series of `betainc`:
    /// `betainc(d2 / 2, d1 / 2, 0, d2 / (d2 + d1 f), regularized=True)`.
    #[test]
    fn tails_agree_with_fifty_digits() {
        for (numerator_df, denominator_df, f, expected) in [
            (1, 11.0, 18.85, 0.0011715542302971457),
            (2, 17.0, 0.01, 0.9900556530251442),
            (3, 32.0, 4.5, 0.009605959573006672),
            (4, 1.0, 250.0, 0.04739467789224585),
            (5, 94.0, 60.0, 9.483412693312144e-28),
            (6, 8.5, 1.02, 0.47231345749873427),
            (12, 1e6, 1.1, 0.3546745426445546),
            (41, 410.0, 1.3, 0.10845116505873358),
        ] {
            assert_close(tail(numerator_df, denominator_df, f), expected, 1e-13, 0.0);
        }
    }

    #[test]
    fn closed_forms_hold() {
        for f in [1e-9_f64, 0.3, 1.0, 2.9, 7.0, 1e3, 1e9] {
            // With two numerator degrees of freedom the tail is a power (Abramowitz & Stegun 26.6.4).
            for df in [1.0, 4.0, 33.0_f64] {
                let power = f64::powf(1.0 + 2.0 * f / df, -0.5 * df);
                assert_close(tail(2, df, f), power, 1e-13, 0.0);
            }
            // With one it is the two-sided tail of t.
            let t = StudentT::new(7.0).unwrap();
            assert_close(
                tail(1, 7.0, f),
                t.two_sided_p(f.sqrt()).unwrap(),
                1e-13,
                0.0,
            );
        }
    }

    #[test]
    fn the_ends_are_one_and_zero_and_the_rest_is_refused() {
        assert_close(tail(3, 9.0, 0.0), 1.0, 0.0, 0.0);
        assert_close(tail(3, 900.0, 1e300), 0.0, 0.0, 0.0);
        assert_close(tail(3, 9.0, f64::INFINITY), 0.0, 0.0, 0.0);
        let law = FisherF::new(3, 9.0).unwrap();
        assert_eq!(law.upper_tail(-1.0), Err(Reason::OutOfRange));
        assert_eq!(law.upper_tail(f64::NAN), Err(Reason::OutOfRange));
        assert!(FisherF::new(0, 9.0).is_err());
        assert!(FisherF::new(1, 0.5).is_err());
        assert!(FisherF::new(1, f64::INFINITY).is_err());
    }
}
