//! Continued fractions.

use crate::pooling::reason::{Estimable, Reason};

/// Cap on the terms. The fractions used here need about the square root of half the degrees of
/// freedom near the centre of the distribution, so this allows for some 1e10 of them.
const MAX_TERMS: u32 = 200_000;

/// `b_0 + a_1 / (b_1 + a_2 / (b_2 + ...))` by the modified method of Lentz (Thompson & Barnett
/// 1986, J Comput Phys 64:490). `term` gives `(a_m, b_m)` for `m = 1, 2, ...`.
///
/// # Errors
/// [`Reason::NotConverged`] when the cap is reached.
pub(super) fn evaluate(b_0: f64, term: impl Fn(f64) -> (f64, f64)) -> Estimable<f64> {
    let mut fraction = b_0;
    let mut c = b_0;
    let mut d = 0.0;
    for m in 1..=MAX_TERMS {
        let (a, b) = term(f64::from(m));
        d = 1.0 / (b + a * d);
        c = b + a / c;
        let factor = c * d;
        fraction *= factor;
        if (factor - 1.0).abs() <= f64::EPSILON {
            return Ok(fraction);
        }
    }
    Err(Reason::NotConverged)
}
