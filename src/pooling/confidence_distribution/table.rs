//! A smooth falling function of one variable, tabulated for quick inversion.
//!
//! The function is interpolated at the extreme points of a Chebyshev polynomial (Trefethen 2013,
//! Approximation Theory and Approximation Practice, chapters 3, 4 and 8; from memory). For analytic
//! functions that converges geometrically, so that doubling the degree squares the error: when the
//! interpolant of half the degree has foretold the new values to [`FORETOLD`], the next one is good
//! to about the square of that.

use std::f64::consts::PI;

use crate::pooling::reason::{Estimable, Reason};
use crate::pooling::roots::{Tolerance, ValueAndSlope, falling_root};

/// How far off, absolutely, half the degree may be.
const FORETOLD: f64 = 1e-6;

/// First and largest degree.
const FIRST_DEGREE: usize = 16;
const LARGEST_DEGREE: usize = 1_024;

/// Last step of the search for a place, as a share of half the range; its square is below
/// rounding.
const LAST_STEP: Tolerance = Tolerance::Absolute(1e-8);

/// The tabulated function on `low..high`.
#[derive(Debug)]
pub(super) struct Table {
    low: f64,
    high: f64,
    /// The values at the places of [`place`], which come from the right.
    values: Vec<f64>,
    /// Coefficients of the Chebyshev polynomials.
    coefficients: Vec<f64>,
}

impl Table {
    /// Tabulates `function`, which falls from `low` to `high`.
    ///
    /// # Errors
    /// [`Reason::NotConverged`] when the largest degree does not do, and those of the function.
    pub(super) fn new(
        (low, high): (f64, f64),
        function: impl Fn(f64) -> Estimable<f64>,
    ) -> Estimable<Self> {
        let at = |x: f64| function(0.5 * (low * (1.0 - x) + high * (1.0 + x)));
        let mut degree = FIRST_DEGREE;
        let mut values = places(degree).map(at).collect::<Estimable<Vec<f64>>>()?;
        let mut coefficients = transform(&values);
        while degree < LARGEST_DEGREE {
            degree *= 2;
            let mut worst = 0.0;
            let mut all = Vec::with_capacity(degree + 1);
            let mut known = values.iter();
            for (idx, x) in places(degree).enumerate() {
                if idx % 2 == 0 {
                    all.extend(known.next());
                    continue;
                }
                let value = at(x)?;
                let miss = (evaluate(&coefficients, x).value - value).abs();
                if worst < miss || miss.is_nan() {
                    worst = miss;
                }
                all.push(value);
            }
            values = all;
            coefficients = transform(&values);
            if worst <= FORETOLD {
                return Ok(Self {
                    low,
                    high,
                    values,
                    coefficients,
                });
            }
        }
        Err(Reason::NotConverged)
    }

    /// The place at which the function has the value `target`; `None` beyond the tabulated values.
    ///
    /// # Errors
    /// Those of [`falling_root`].
    pub(super) fn invert(&self, target: f64) -> Estimable<Option<f64>> {
        // The values come from the right and hence rise.
        let above = self.values.partition_point(|&value| value < target);
        let degree = self.values.len() - 1;
        if above == 0 || degree < above {
            return Ok(None);
        }
        // One place further on either side, so that the root is not at an end.
        let left = place(usize::min(above + 1, degree), degree);
        let bracket = (left, place(above.saturating_sub(2), degree));
        let x = falling_root(bracket, 0.5 * (bracket.0 + bracket.1), LAST_STEP, |x| {
            let ValueAndSlope { value, slope } = evaluate(&self.coefficients, x);
            ValueAndSlope {
                value: value - target,
                slope,
            }
        })?;
        Ok(Some(0.5 * (self.low * (1.0 - x) + self.high * (1.0 + x))))
    }
}

/// Place number `idx` of `degree + 1` on `-1..1`, from the right.
#[expect(clippy::cast_precision_loss, reason = "degrees are small")]
fn place(idx: usize, degree: usize) -> f64 {
    // As a sine the places are symmetric about 0 to the last bit.
    (PI * (degree as f64 - 2.0 * idx as f64) / (2.0 * degree as f64)).sin()
}

fn places(degree: usize) -> impl Iterator<Item = f64> {
    (0..=degree).map(move |idx| place(idx, degree))
}

/// Coefficients of the interpolant from its values: a cosine transform, written out.
#[expect(clippy::cast_precision_loss, reason = "degrees are small")]
fn transform(values: &[f64]) -> Vec<f64> {
    let degree = values.len() - 1;
    let cosines: Vec<f64> = (0..2 * degree)
        .map(|idx| (PI * idx as f64 / degree as f64).cos())
        .collect();
    let is_end = |idx: usize| idx == 0 || idx == degree;
    (0..=degree)
        .map(|order| {
            let sum: f64 = values
                .iter()
                .enumerate()
                .map(|(idx, value)| {
                    let cosine = cosines.get(order * idx % (2 * degree)).unwrap_or(&1.0);
                    if is_end(idx) {
                        0.5 * value * cosine
                    } else {
                        value * cosine
                    }
                })
                .sum();
            let share = if is_end(order) { 1.0 } else { 2.0 };
            share * sum / degree as f64
        })
        .collect()
}

/// Clenshaw's (1955) recurrence for a Chebyshev series and its derivative.
fn evaluate(coefficients: &[f64], x: f64) -> ValueAndSlope {
    let [mut b_1, mut b_2, mut slope_1, mut slope_2] = [0.0; 4];
    let Some((first, rest)) = coefficients.split_first() else {
        return ValueAndSlope {
            value: 0.0,
            slope: 0.0,
        };
    };
    for &coefficient in rest.iter().rev() {
        let slope = 2.0 * b_1 + 2.0 * x * slope_1 - slope_2;
        let b = coefficient + 2.0 * x * b_1 - b_2;
        (b_2, b_1) = (b_1, b);
        (slope_2, slope_1) = (slope_1, slope);
    }
    ValueAndSlope {
        value: first + x * b_1 - b_2,
        slope: b_1 + x * slope_1 - slope_2,
    }
}

#[cfg(test)]
mod tests {
    use super::{Table, evaluate};
    use crate::pooling::tests::assert_close;

    #[test]
    fn a_falling_function_is_inverted_and_its_slope_known() {
        let function = |x: f64| -x.exp() - 3.0 * x;
        let table = Table::new((-1.0, 4.0), |x| Ok(function(x))).unwrap();
        for step in 1..50 {
            let x = -1.0 + 0.1 * f64::from(step);
            let found = table.invert(function(x)).unwrap().unwrap();
            assert_close(found, x, 1e-10, 1e-10);
        }
        // Half the range is 2.5, so slopes there are 2.5 times as steep; 0 stands for 1.5.
        let middle = evaluate(&table.coefficients, 0.0);
        assert_close(middle.value, function(1.5), 1e-12, 0.0);
        assert_close(middle.slope, -2.5 * (1.5_f64.exp() + 3.0), 1e-10, 0.0);
    }

    #[test]
    fn values_beyond_the_table_are_not_guessed() {
        let table = Table::new((0.0, 1.0), |x| Ok(-x)).unwrap();
        assert_eq!(table.invert(0.5), Ok(None));
        assert_eq!(table.invert(-1.5), Ok(None));
        assert!(table.invert(-0.25).unwrap().is_some());
    }
}
