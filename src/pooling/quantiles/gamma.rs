//! What is needed of the gamma function: its Stirling remainder, and a logarithm near 1.

use std::f64::consts::PI;

/// From here on [`stirling_remainder`] is used: the first neglected term of its series, divided by
/// the remainder itself, is then below 1e-17.
const STIRLING_FROM: f64 = 16.0;

/// `ln Gamma(a) - (a - 1/2) ln a + a - ln(2 pi) / 2` for `16 <= a` (Abramowitz & Stegun 1964,
/// 6.1.41).
fn stirling_remainder(a: f64) -> f64 {
    /// `B_2n / (2n (2n - 1))` for n = 1 to 7.
    const COEFFICIENTS: [f64; 7] = [
        1.0 / 12.0,
        -1.0 / 360.0,
        1.0 / 1260.0,
        -1.0 / 1680.0,
        1.0 / 1188.0,
        -691.0 / 360_360.0,
        1.0 / 156.0,
    ];
    let inverse_square = 1.0 / (a * a);
    COEFFICIENTS
        .iter()
        .rev()
        .fold(0.0, |sum, &coefficient| sum * inverse_square + coefficient)
        / a
}

/// `ln(1 + x) - x` for `-0.5 <= x <= 1`, to full relative precision.
fn log_1p_minus(x: f64) -> f64 {
    // With r = x / (2 + x), ln(1 + x) = 2 (r + r^3 / 3 + r^5 / 5 + ...) and 2 r - x = -r x.
    let r = x / (2.0 + x);
    let square = r * r;
    let (mut power, mut sum, mut odd) = (1.0, 0.0, 3.0);
    loop {
        let term = power / odd;
        sum += term;
        if term <= f64::EPSILON * sum {
            return r * (2.0 * square * sum - x);
        }
        power *= square;
        odd += 2.0;
    }
}

/// `z^a e^(-z) / Gamma(a + 1)` for positive `a` and `z`.
pub(super) fn poisson_density(a: f64, z: f64) -> f64 {
    if a < STIRLING_FROM {
        let decay = (-z - log_gamma_1p(a)).exp();
        // Where the exponential underflows the power may overflow, and the product is 0.
        return if 0.0 < decay { z.powf(a) * decay } else { 0.0 };
    }
    // For large a, a ln z - z and ln Gamma(a + 1) nearly cancel; what is left is written as the
    // distance of z / a from 1 (Loader 2000).
    let distance = (z - a) / a;
    let exponent = if (-0.5..=1.0).contains(&distance) {
        log_1p_minus(distance)
    } else {
        (z / a).ln() - distance
    };
    (a * exponent - stirling_remainder(a)).exp() / (2.0 * PI * a).sqrt()
}

/// The logarithm of `z^a e^(-z) / Gamma(a + 1)` for `0 <= a` and positive `z`, as exact as
/// `poisson_density` and without its underflow.
pub(crate) fn log_poisson_density(a: f64, z: f64) -> f64 {
    if a < STIRLING_FROM {
        return a * z.ln() - z - log_gamma_1p(a);
    }
    let distance = (z - a) / a;
    let exponent = if (-0.5..=1.0).contains(&distance) {
        log_1p_minus(distance)
    } else {
        (z / a).ln() - distance
    };
    a * exponent - stirling_remainder(a) - 0.5 * (2.0 * PI * a).ln()
}

/// `ln Gamma(a + 1)` for `0 <= a`.
pub(super) fn log_gamma_1p(a: f64) -> f64 {
    let (mut shifted, mut factor) = (a, 1.0);
    while shifted < STIRLING_FROM {
        shifted += 1.0;
        factor *= shifted;
    }
    (shifted + 0.5) * shifted.ln() - shifted + 0.5 * (2.0 * PI).ln() + stirling_remainder(shifted)
        - f64::ln(factor)
}

/// `Gamma(a + 1/2) / Gamma(a)` for positive `a`.
pub(in crate::pooling) fn half_step_ratio(a: f64) -> f64 {
    let (mut shifted, mut factor) = (a, 1.0);
    while shifted < STIRLING_FROM {
        factor *= shifted / (shifted + 0.5);
        shifted += 1.0;
    }
    let half_step = 0.5 / shifted;
    // ln Gamma(a + 1/2) - ln Gamma(a) = ln(a) / 2 + a (ln(1 + h) - h) + the remainders, h = 1 / 2a.
    let exponent = shifted * log_1p_minus(half_step) + stirling_remainder(shifted + 0.5)
        - stirling_remainder(shifted);
    factor * shifted.sqrt() * exponent.exp()
}
