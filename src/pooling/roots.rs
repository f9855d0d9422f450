//! Roots of falling functions of one variable.

use super::reason::{Estimable, Reason};

/// Cap on the evaluations of [`falling_root`]. Every third evaluation at the latest halves the
/// bracket, so that a bracket 2^80 times as wide as the root still closes to the last of 53 bits.
const MAX_EVALUATIONS: usize = 400;

/// A value and the slope at the same place.
#[derive(Debug, Clone, Copy)]
pub struct ValueAndSlope {
    /// Value of the function.
    pub value: f64,
    /// Its derivative.
    pub slope: f64,
}

/// How small a step ends a search.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tolerance {
    /// In units of the root's own scale, for roots that are logarithms.
    Absolute(f64),
    /// As a share of the root.
    Relative(f64),
}

impl Tolerance {
    fn at(self, place: f64) -> f64 {
        match self {
            Self::Absolute(step) => step,
            Self::Relative(share) => share * place.abs(),
        }
    }
}

/// Finds a root in `[low, high]` of a function that is positive just above `low` and negative just
/// below `high`, by Newton steps kept inside a shrinking bracket; a step that would leave it, or
/// that does not shrink fast enough, gives way to bisection.
///
/// The search begins at `start` and ends after a Newton step within `tolerance`, which leaves an
/// error of about its square, or when the bracket has closed.
///
/// # Errors
/// [`Reason::OutOfRange`] when the function is not a number somewhere it is asked;
/// [`Reason::NotConverged`] when the iteration cap is reached.
pub fn falling_root(
    (mut low, mut high): (f64, f64),
    start: f64,
    tolerance: Tolerance,
    mut function: impl FnMut(f64) -> ValueAndSlope,
) -> Estimable<f64> {
    let mut place = if low <= start && start <= high {
        start
    } else {
        0.5 * (low + high)
    };
    let mut step_before_last = high - low;
    let mut last_step = step_before_last;
    for _ in 0..MAX_EVALUATIONS {
        let ValueAndSlope { value, slope } = function(place);
        if value.is_nan() {
            return Err(Reason::OutOfRange);
        }
        if 0.0 < value {
            low = place;
        } else if value < 0.0 {
            high = place;
        } else {
            return Ok(place);
        }
        let mut next = place - value / slope;
        // A step that is not half of the one before last converges no faster than bisection
        // (Brent 1973, chapter 4).
        let shrinks = (next - place).abs() < 0.5 * step_before_last;
        let is_newton = low < next && next < high && shrinks;
        if !is_newton {
            next = 0.5 * (low + high);
            if !(low < next && next < high) {
                return Ok(next);
            }
        }
        step_before_last = last_step;
        last_step = (next - place).abs();
        place = next;
        if is_newton && last_step <= tolerance.at(place) {
            return Ok(place);
        }
    }
    Err(Reason::NotConverged)
}

#[cfg(test)]
mod tests {
    use super::{Tolerance, ValueAndSlope, falling_root};
    use crate::pooling::Reason;
    use crate::pooling::tests::assert_close;

    #[test]
    fn roots_of_hostile_functions_are_found() {
        // A cubic that is flat at its root, a root far below the bracket's width, and a slope with
        // the wrong sign, which leaves bisection only.
        let cubic = |x: f64| ValueAndSlope {
            value: (1.0 - x).powi(3),
            slope: -3.0 * (1.0 - x).powi(2),
        };
        assert_close(
            falling_root((0.0, 10.0), 9.0, Tolerance::Relative(1e-13), cubic).unwrap(),
            1.0,
            1e-9,
            0.0,
        );
        let reciprocal = |x: f64| ValueAndSlope {
            value: 1.0 / x - 1e9,
            slope: -1.0 / (x * x),
        };
        assert_close(
            falling_root((0.0, 1e6), 1.0, Tolerance::Relative(1e-9), reciprocal).unwrap(),
            1e-9,
            1e-15,
            0.0,
        );
        let misled = |x: f64| ValueAndSlope {
            value: 2.0 - x,
            slope: 1.0,
        };
        assert_close(
            falling_root((0.0, 3.0), 0.5, Tolerance::Absolute(1e-9), misled).unwrap(),
            2.0,
            1e-15,
            0.0,
        );
    }

    #[test]
    fn a_function_that_is_not_a_number_is_refused() {
        let nan = |_| ValueAndSlope {
            value: f64::NAN,
            slope: f64::NAN,
        };
        assert_eq!(
            falling_root((0.0, 1.0), 0.5, Tolerance::Absolute(1e-9), nan),
            Err(Reason::OutOfRange)
        );
    }
}
