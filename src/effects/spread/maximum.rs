//! What the fastest of several shots says about their spread.

use crate::contribution::{ShotLine, SpeedSummary};
use crate::effects::{timed_shots, to_f64};
use crate::pooling::quantiles::Normal;
use crate::pooling::sums::compensated_sum;
use crate::pooling::{Estimable, Reason};
use crate::protocol::limits::CV_BOUNDS;
use std::f64::consts::TAU;
use std::sync::OnceLock;

/// Most shots whose largest is expected here: as many as a contribution may count in one line.
pub const MOST_SHOTS: i64 = 10_000;

/// Fewest timed shots whose spread or maximum is used: that of fewer says little, and its
/// logarithm is biased (our bound).
pub(super) const FEWEST_SHOTS: i64 = 10;

/// Steps per unit of the trapezoidal rule, and its last point in steps. The integrand is even,
/// analytic and vanishes far out, so the rule converges faster than any power of the step
/// (Trefethen & Weideman 2014, SIAM Review 56:385); against 50 digits this step is exact to 1e-13
/// from 2 to 10,000 shots. Beyond 9 the integrand is below 1e-13 of its sum even for 10,000.
const STEPS_PER_UNIT: f64 = 16.0;
const LAST_STEP: i64 = 9 * 16;

/// What [`expected_maximum`] gave for each number of shots, as the same few are asked for over and
/// over.
static KNOWN: [OnceLock<Estimable<f64>>; 10_001] = [const { OnceLock::new() }; 10_001];

/// Expectation of the largest of `n` independent standard normal numbers: the integral of
/// `x n Phi(x)^(n-1) phi(x)` (David & Nagaraja 2003, Order Statistics, section 3.1; half of
/// `xi(n)` in Table 1 of Wan et al. 2014, BMC Medical Research Methodology 14:135), the two sides
/// of zero taken together: `x n ((1 - q)^(n-1) - q^(n-1)) phi(x)` over `x > 0`, q the upper tail.
///
/// # Errors
/// [`Reason::OutOfRange`] unless `n` is 2 to [`MOST_SHOTS`].
pub fn expected_maximum(n: i64) -> Estimable<f64> {
    if !(2..=MOST_SHOTS).contains(&n) {
        return Err(Reason::OutOfRange);
    }
    let known = usize::try_from(n).ok().and_then(|n| KNOWN.get(n));
    *known
        .ok_or(Reason::OutOfRange)?
        .get_or_init(|| integral(to_f64(n)))
}

fn integral(n: f64) -> Estimable<f64> {
    let terms: Vec<f64> = (1..=LAST_STEP)
        .map(|step| {
            let x = to_f64(step) / STEPS_PER_UNIT;
            let tail = Normal::two_sided_p(x)? / 2.0;
            let power = |log: f64| ((n - 1.0) * log - x * x / 2.0).exp();
            Ok(x * (power((-tail).ln_1p()) - power(tail.ln())))
        })
        .collect::<Estimable<_>>()?;
    Ok(n * compensated_sum(terms) / (STEPS_PER_UNIT * TAU.sqrt()))
}

/// Logarithm of the coefficient of variation that the fastest shot of a line suggests when speeds
/// are normal: `(max - mean)/(E[max] mean)`. `None` without a fastest shot, for fewer than
/// [`FEWEST_SHOTS`], and when the coefficient is one that no series of shots has, as when speeds
/// were typed in two units.
pub(super) fn log_cv(line: &ShotLine, speed: &SpeedSummary) -> Option<f64> {
    let n = timed_shots(line, speed);
    let mean = speed.mean.hundred_millionths_kmh();
    let above_mean = speed.max?.hundred_millionths_kmh() - mean;
    if n < FEWEST_SHOTS || mean <= 0 {
        return None;
    }
    let cv = to_f64(above_mean) / to_f64(mean) / expected_maximum(n).ok()?;
    (CV_BOUNDS.0..=CV_BOUNDS.1).contains(&cv).then(|| cv.ln())
}
