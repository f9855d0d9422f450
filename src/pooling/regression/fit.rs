//! The fit at one value of `tau_squared`, and the sums from which that value is found.

use nalgebra::DVector;

use super::projection::Projection;
use super::rows::Rows;
use crate::pooling::reason::{Estimable, finite};
use crate::pooling::roots::ValueAndSlope;
use crate::pooling::sums::compensated_sum;

/// Above this leverage, `1 - h` and the residual are taken from a fit without the row. Leverages
/// add up to the number of coefficients `p`, so that there are never more than `2 p` such rows.
const HIGH_LEVERAGE: f64 = 0.5;

/// Residuals this many units of rounding of their terms are rounding: the values entered, and every
/// product of a moderator and its coefficient, are each off by up to half a unit.
const ROUNDING_UNITS: f64 = 4.0;

/// Residuals and leverages at one `tau_squared`. Weights are relative to the largest, as in
/// [`Projection`].
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fit {
    /// `v_min + tau_squared`, the variance that a relative weight of 1 stands for.
    pub(super) base: f64,
    pub(super) projection: Projection,
    /// Effect less fitted value, heaviest row first.
    pub(super) residuals: DVector<f64>,
    /// `1 - h`; 0 for a row that alone carries a direction.
    pub(super) complements: DVector<f64>,
    /// Whether every effect lies on the fitted line; the residuals are then exactly 0.
    pub(super) is_exact: bool,
}

impl Fit {
    /// # Errors
    /// [`crate::pooling::Reason::OutOfRange`].
    pub(super) fn new(rows: &Rows, tau_squared: f64) -> Estimable<Self> {
        let projection = Projection::new(rows, tau_squared, None)?;
        let mut residuals = projection.raw_residuals();
        let mut complements = DVector::zeros(rows.k());
        let places = residuals.iter_mut().zip(complements.iter_mut());
        for (row, ((residual, complement), &sole)) in places.zip(&rows.is_sole).enumerate() {
            let leverage = projection.leverage(row);
            if sole {
                *residual = 0.0;
            } else if leverage <= HIGH_LEVERAGE {
                *complement = 1.0 - leverage;
            } else {
                // 1 - h = 1 / (1 + u x'Mx) and r = (1 - h) (y - x'b) with M and b of the other rows
                // (Belsley, Kuh & Welsch 1980, chapter 2), which subtracts no nearly equal numbers.
                let others = Projection::new(rows, tau_squared, Some(row))?;
                let weight = projection.weights.get(row).copied().unwrap_or(0.0);
                *complement = 1.0 / (1.0 + weight * others.spread(row));
                let deleted = others.raw_residuals().get(row).copied();
                *residual = *complement * deleted.unwrap_or(f64::NAN);
            }
        }
        let is_exact = is_exact(rows, &projection, &residuals);
        if is_exact {
            residuals.fill(0.0);
        }
        Ok(Self {
            base: finite(rows.smallest_variance() + tau_squared)?,
            projection,
            residuals,
            complements,
            is_exact,
        })
    }

    /// The residual sum of squares `sum w r^2`.
    pub(super) fn q(&self) -> f64 {
        let weighted = self.weighted_residuals();
        let terms = weighted.iter().zip(&self.residuals).map(|(ur, r)| ur * r);
        compensated_sum(terms) / self.base
    }

    /// `tr P = sum w (1 - h)`.
    pub(super) fn trace(&self) -> f64 {
        self.relative_trace() / self.base
    }

    /// `1 - tr P / y'PPy` and its derivative, as `pooling::profile` has them for one mean. Only the
    /// value need be exact; the slope guides Newton's method.
    pub(super) fn score(&self) -> ValueAndSlope {
        let weighted = self.weighted_residuals();
        let projected = compensated_sum(weighted.iter().map(|ur| ur * ur));
        let roots = self.projection.weights.map(f64::sqrt);
        let basis = self.projection.full_basis();
        let rooted = weighted.component_mul(&roots);
        let projected_twice = rooted.norm_squared() - basis.tr_mul(&rooted).norm_squared();
        let trace = self.relative_trace();
        // P = U^{1/2} (I - QQ') U^{1/2}, hence tr PP = sum u^2 (1 - 2 h) + |Q'UQ|^2.
        let weights = &self.projection.weights;
        let diagonal = weights.zip_map(&self.complements, |u, c| u * u * (2.0 * c - 1.0));
        let mut heavy = basis.clone();
        for mut column in heavy.column_iter_mut() {
            column.component_mul_assign(weights);
        }
        let trace_of_square = diagonal.sum() + basis.tr_mul(&heavy).norm_squared();
        ValueAndSlope {
            value: 1.0 - self.base * trace / projected,
            slope: trace_of_square / projected
                - (trace / projected) * (2.0 * projected_twice / projected),
        }
    }

    /// `1 - target / Q`, which has the sign of `Q - target`, and its derivative.
    pub(super) fn q_excess(&self, target: f64) -> ValueAndSlope {
        let weighted = self.weighted_residuals();
        let projected = compensated_sum(weighted.iter().map(|ur| ur * ur)) / self.base;
        let q = self.q();
        ValueAndSlope {
            value: 1.0 - target / q,
            slope: -(target / q) * (projected / q) / self.base,
        }
    }

    /// Twice the restricted log-likelihood up to a constant (Harville 1977):
    /// `-sum ln(v + tau_squared) - ln det (X'WX) - Q`.
    pub(super) fn log_likelihood(&self, n_coefficients: f64) -> f64 {
        let logarithms = compensated_sum(self.projection.weights.iter().map(|u| u.ln()));
        #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
        let df = self.residuals.len() as f64 - n_coefficients;
        logarithms - df * self.base.ln() - self.projection.log_determinant() - self.q()
    }

    fn weighted_residuals(&self) -> DVector<f64> {
        self.projection.weights.component_mul(&self.residuals)
    }

    fn relative_trace(&self) -> f64 {
        let weights = &self.projection.weights;
        compensated_sum(weights.iter().zip(&self.complements).map(|(u, c)| u * c))
    }
}

/// Whether every residual is within the rounding of what it was formed from.
fn is_exact(rows: &Rows, projection: &Projection, residuals: &DVector<f64>) -> bool {
    let slopes = projection.slopes.map(f64::abs);
    let sizes = rows.estimates.map(f64::abs) + rows.columns.map(f64::abs) * slopes;
    residuals
        .iter()
        .zip(&sizes)
        .all(|(residual, size)| residual.abs() <= ROUNDING_UNITS * f64::EPSILON * size)
}
