//! The two ends of the regularised incomplete beta function `I_x(a, b)`, without the factor
//! `x^a y^b / B(a, b)` that both have in common, `y = 1 - x`.

use super::continued_fraction;
use crate::pooling::reason::Estimable;

/// The sum in `I_y(b, a) = x^a y^b / (b B(a, b)) (1 + sum)`, for `y` small enough that its terms
/// fall (Abramowitz & Stegun 1964, 26.5.4).
pub(super) fn series(a: f64, b: f64, y: f64) -> f64 {
    let (mut term, mut sum, mut n) = (1.0, 1.0, 0.0);
    while f64::EPSILON * sum < term {
        term *= y * (a + b + n) / (b + 1.0 + n);
        sum += term;
        n += 1.0;
    }
    sum
}

/// The continued fraction by which `x^a y^b / B(a, b)` is divided to give `I_x(a, b)`, for `x` up
/// to about `a / (a + b)` (Didonato & Morris 1992, ACM Trans Math Softw 18:360, eq. 9). Unlike
/// that of Abramowitz & Stegun 26.5.8 it does not cancel for large `a`.
///
/// # Errors
/// [`crate::pooling::Reason::NotConverged`].
pub(super) fn fraction(a: f64, b: f64, (x, y): (f64, f64)) -> Estimable<f64> {
    let head = |m: f64| {
        let gain = (a + m) * ((a + b) * y - b + 1.0 + m * (1.0 + y)) / (a + 2.0 * m + 1.0);
        if 0.0 < m {
            m + m * (b - m) * x / (a + 2.0 * m - 1.0) + gain
        } else {
            gain
        }
    };
    continued_fraction::evaluate(head(0.0), |m| {
        let span = a + 2.0 * m - 1.0;
        let numerator = (a + m - 1.0) * (a + b + m - 1.0) * m * (b - m) * x * x / (span * span);
        (numerator, head(m))
    })
}
