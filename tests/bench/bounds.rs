//! What no estimator can beat: reading both columns once, and one division an effect.

use pulp::{Arch, Simd, WithSimd};

/// Registers that are added to in turn, so that none has to wait for the one before.
const TURNS: usize = 4;

/// Adds both columns up.
pub(crate) fn sum(estimates: &[f64], variances: &[f64]) -> f64 {
    Arch::new().dispatch(Sum(estimates)) + Arch::new().dispatch(Sum(variances))
}

/// Adds up one divided by every number.
pub(crate) fn division(column: &[f64]) -> f64 {
    Arch::new().dispatch(Division(column))
}

struct Sum<'a>(&'a [f64]);
struct Division<'a>(&'a [f64]);

impl WithSimd for Sum<'_> {
    type Output = f64;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> f64 {
        fold(simd, self.0, |value| value)
    }
}

impl WithSimd for Division<'_> {
    type Output = f64;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> f64 {
        let one = simd.splat_f64s(1.0);
        fold(simd, self.0, |value| simd.div_f64s(one, value))
    }
}

#[inline(always)]
fn fold<S: Simd>(simd: S, column: &[f64], term: impl Fn(S::f64s) -> S::f64s) -> f64 {
    let (whole, _) = S::as_simd_f64s(column);
    let mut totals = [simd.splat_f64s(0.0); TURNS];
    for values in whole.chunks_exact(TURNS) {
        for (total, &value) in totals.iter_mut().zip(values) {
            *total = simd.add_f64s(*total, term(value));
        }
    }
    totals
        .into_iter()
        .map(|total| simd.reduce_sum_f64s(total))
        .sum()
}
