//! The units, brought to a common size.

use std::f64::consts::{LN_2, PI};

use ndarray::ArrayView1;

use super::symmetric::Symmetric;
use super::{Likelihood, WithinCorrelation};
use crate::pooling::paired_effects::PairedEffects;
use crate::pooling::reason::{Estimable, Reason};
use crate::pooling::sums::Double;

/// The units in normalised outcomes, for searching in `f64` and for results in [`Double`].
///
/// Each outcome is taken from the estimate with its smallest variance, so that a unit that
/// outweighs the rest keeps the digits of its residual, and divided by the power of two that
/// brings that variance into `[1, 4)`, so that scaling by powers of two changes no digit.
#[derive(Debug)]
pub(super) struct Units {
    pub(super) quick: Vec<Unit<f64>>,
    pub(super) precise: Vec<Unit<Double>>,
    pub(super) scales: [Scale; 2],
    pub(super) likelihood: Likelihood,
}

/// One unit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Unit<T> {
    /// The estimates from the centres.
    pub(super) distance: [T; 2],
    /// `S_i`, the covariance of the sampling errors.
    pub(super) within: Symmetric<T>,
    /// `|S_i|`, known better than from the entries.
    pub(super) determinant: T,
}

/// How an outcome was normalised.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    pub(super) centre: f64,
    /// Binary exponent of the outcome's unit.
    pub(super) exponent: i32,
}

impl Units {
    /// # Errors
    /// [`Reason::NoEffects`] without units; [`Reason::OutOfRange`] where a variance vanishes
    /// beside another.
    pub(super) fn new(
        paired: &PairedEffects,
        correlation: WithinCorrelation,
        likelihood: Likelihood,
    ) -> Estimable<Self> {
        let ([y_a, y_b], [v_a, v_b]) = (paired.estimates(), paired.variances());
        let scales = [scale(y_a, v_a)?, scale(y_b, v_b)?];
        let r = Double::from(correlation.value());
        let independent = (Double::ONE - r) * (Double::ONE + r);
        let precise: Vec<Unit<Double>> = y_a
            .iter()
            .zip(y_b)
            .zip(v_a.iter().zip(v_b))
            .map(|((&y_a, &y_b), (&v_a, &v_b))| {
                let [first, second] = &scales;
                let (v_a, v_b) = (first.variance(v_a), second.variance(v_b));
                let product = Double::from(v_a) * Double::from(v_b);
                Unit {
                    distance: [first.distance(y_a), second.distance(y_b)],
                    within: Symmetric {
                        aa: Double::from(v_a),
                        ab: r * root(product),
                        bb: Double::from(v_b),
                    },
                    determinant: product * independent,
                }
            })
            .collect();
        let quick: Vec<Unit<f64>> = precise
            .iter()
            .map(|unit| Unit {
                distance: unit.distance.map(Double::value),
                within: unit.within.cast(Double::value),
                determinant: unit.determinant.value(),
            })
            .collect();
        if quick.iter().any(|unit| !unit.is_finite()) {
            return Err(Reason::OutOfRange);
        }
        Ok(Self {
            quick,
            precise,
            scales,
            likelihood,
        })
    }

    /// The log-likelihood in the units of the outcomes, from twice its value in normalised ones.
    pub(super) fn log_likelihood(&self, value: f64) -> f64 {
        let exponents: i32 = self.scales.iter().map(|scale| scale.exponent).sum();
        let per_contrast = (2.0 * PI).ln() + f64::from(exponents) * LN_2;
        0.5 * value - self.n_contrasts() * per_contrast
    }

    /// Number of units.
    #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
    pub(super) fn n_units(&self) -> f64 {
        self.quick.len() as f64
    }

    /// Number of units, less one under restriction: for each outcome the dimension of the data
    /// that the likelihood is the density of.
    pub(super) fn n_contrasts(&self) -> f64 {
        let k = self.n_units();
        match self.likelihood {
            Likelihood::Restricted => k - 1.0,
            Likelihood::Full => k,
        }
    }
}

impl Unit<f64> {
    fn is_finite(&self) -> bool {
        let Symmetric { aa, ab, bb } = self.within;
        let [a, b] = self.distance;
        let numbers = [aa, ab, bb, a * a, b * b, self.determinant];
        numbers.into_iter().all(f64::is_finite) && 0.0 < self.determinant
    }
}

impl Scale {
    fn distance(&self, estimate: f64) -> Double {
        let unit = 2.0_f64.powi(-self.exponent);
        Double::sum(estimate, -self.centre) * Double::from(unit)
    }

    /// A variance in normalised units.
    pub(super) fn variance(&self, variance: f64) -> f64 {
        let unit = 2.0_f64.powi(-self.exponent);
        variance * unit * unit
    }
}

fn scale(estimates: ArrayView1<'_, f64>, variances: ArrayView1<'_, f64>) -> Estimable<Scale> {
    let rows = estimates.iter().copied().zip(variances.iter().copied());
    let (centre, smallest) = rows
        .reduce(|best, row| if row.1 < best.1 { row } else { best })
        .ok_or(Reason::NoEffects)?;
    // The exponent field is read off, since a logarithm may round differently at each power of 2.
    let field = i32::try_from((smallest.to_bits() >> 52) & 0x7ff).unwrap_or_default();
    Ok(Scale {
        centre,
        exponent: (field - 1023).div_euclid(2),
    })
}

/// The square root: one step of Newton's method doubles the digits of the `f64` root.
fn root(square: Double) -> Double {
    let first = Double::from(square.value().sqrt());
    first + (square - first * first) / (first + first)
}
