//! Weighted least squares at one set of weights.
//!
//! An intercept is taken out first: effects and moderators are taken about their weighted means
//! (the theorem of Frisch & Waugh 1933, Econometrica 1:387), so an offset of either costs no
//! digits. What is left, every column scaled to unit length and every row multiplied by the root of
//! its weight, is decomposed by Householder QR with column pivoting. The rows come heaviest first;
//! with that order and pivoting the decomposition is stable row by row, however much the weights
//! differ (Cox & Higham 1998, in Griffiths, Higham & Watson, Numerical Analysis 1997, p. 57).

use nalgebra::{DMatrix, DVector};

use super::rows::Rows;
use crate::pooling::reason::{Estimable, Reason};
use crate::pooling::sums::compensated_sum;

/// A weighted least squares fit. Weights are relative, `u = b / (v + tau_squared)` with
/// `b = v_min + tau_squared`, so they lie in `(0, 1]`; `M` below is `(X'UX)^-1`.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Projection {
    /// Relative weights; 0 for an effect that is left out.
    pub(super) weights: DVector<f64>,
    /// Sum of the weights; `None` without an intercept.
    pub(super) total_weight: Option<f64>,
    /// Weighted mean of the effects; 0 without an intercept.
    pub(super) centre: f64,
    /// Weighted means of the moderators; 0 without an intercept.
    pub(super) column_centres: DVector<f64>,
    /// Effects less their mean.
    effects: DVector<f64>,
    /// Moderators less their means.
    pub(super) columns: DMatrix<f64>,
    /// Orthonormal basis of the weighted columns.
    pub(super) basis: DMatrix<f64>,
    /// Its triangle: the scaled columns are the basis times this, but for their order.
    triangle: DMatrix<f64>,
    /// Lengths by which the weighted columns were divided.
    lengths: DVector<f64>,
    /// `F` with `M = F F'` for the moderators about their means.
    pub(super) factor: DMatrix<f64>,
    /// Coefficients of the moderators.
    pub(super) slopes: DVector<f64>,
}

impl Projection {
    /// Fits all rows but `left_out`.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] when a column has no length or more than the arithmetic holds.
    pub(super) fn new(rows: &Rows, tau_squared: f64, left_out: Option<usize>) -> Estimable<Self> {
        let base = rows.smallest_variance() + tau_squared;
        let mut weights = rows
            .variances
            .map(|variance| base / (variance + tau_squared));
        if let Some(place) = left_out.and_then(|row| weights.get_mut(row)) {
            *place = 0.0;
        }
        let total_weight = rows
            .has_intercept
            .then(|| compensated_sum(weights.iter().copied()));
        // The heaviest row that is left is the origin: if it outweighs the rest, its own distance
        // from the mean is then known to full relative precision.
        let origin = usize::from(left_out == Some(0));
        let centred = |column: DVector<f64>| match (total_weight, column.get(origin).copied()) {
            (Some(total), Some(from)) => {
                let distances = column.map(|value| value - from);
                let products = distances.iter().zip(&weights).map(|(d, u)| d * u);
                let offset = compensated_sum(products) / total;
                (from + offset, distances.map(|distance| distance - offset))
            }
            _ => (0.0, column),
        };
        let (centre, effects) = centred(rows.estimates.clone());
        let mut columns = rows.columns.clone();
        let mut column_centres = DVector::zeros(columns.ncols());
        for (idx, place) in column_centres.iter_mut().enumerate() {
            let (mean, distances) = centred(columns.column(idx).into_owned());
            columns.set_column(idx, &distances);
            *place = mean;
        }
        let mut fit = Self {
            total_weight,
            centre,
            column_centres,
            effects,
            basis: DMatrix::zeros(columns.nrows(), columns.ncols()),
            triangle: DMatrix::zeros(columns.ncols(), columns.ncols()),
            lengths: DVector::zeros(columns.ncols()),
            factor: DMatrix::zeros(columns.ncols(), columns.ncols()),
            slopes: DVector::zeros(columns.ncols()),
            columns,
            weights,
        };
        fit.decompose()?;
        Ok(fit)
    }

    fn decompose(&mut self) -> Estimable<()> {
        let n_columns = self.columns.ncols();
        if n_columns == 0 {
            return Ok(());
        }
        let roots = self.weights.map(f64::sqrt);
        let mut scaled = self.columns.clone();
        for (mut column, length) in scaled.column_iter_mut().zip(self.lengths.iter_mut()) {
            column.component_mul_assign(&roots);
            let largest = column.amax();
            column /= largest;
            let norm = column.norm();
            column /= norm;
            *length = largest * norm;
        }
        if !self
            .lengths
            .iter()
            .all(|&length| length.is_finite() && 0.0 < length)
        {
            return Err(Reason::OutOfRange);
        }
        let decomposition = scaled.col_piv_qr();
        self.basis = decomposition.q();
        self.triangle = decomposition.r();
        let mut factor = self
            .triangle
            .solve_upper_triangular(&DMatrix::identity(n_columns, n_columns))
            .ok_or(Reason::OutOfRange)?;
        decomposition.p().inv_permute_rows(&mut factor);
        for (mut row, length) in factor.row_iter_mut().zip(self.lengths.iter()) {
            row /= *length;
        }
        self.factor = factor;
        // The second pass corrects the first by what it leaves (iterative refinement).
        for _ in 0..2 {
            let left = self.raw_residuals().component_mul(&roots);
            let correction = &self.factor * self.basis.tr_mul(&left);
            self.slopes += correction;
        }
        Ok(())
    }

    /// Effects less fitted values, for rows left out too.
    pub(super) fn raw_residuals(&self) -> DVector<f64> {
        &self.effects - &self.columns * &self.slopes
    }

    /// Leverage of a row, between 0 and 1.
    pub(super) fn leverage(&self, row: usize) -> f64 {
        let of_mean = match (self.total_weight, self.weights.get(row)) {
            (Some(total), Some(weight)) => weight / total,
            _ => 0.0,
        };
        of_mean + self.basis.row(row).norm_squared()
    }

    /// `x'Mx` for a row, left out or not.
    pub(super) fn spread(&self, row: usize) -> f64 {
        let of_mean = self.total_weight.map_or(0.0, f64::recip);
        of_mean + (self.columns.row(row) * &self.factor).norm_squared()
    }

    /// The moderators about their means with, when there is an intercept, a first column of ones.
    pub(super) fn whole_columns(&self) -> DMatrix<f64> {
        match self.total_weight {
            Some(_) => self.columns.clone().insert_column(0, 1.0),
            None => self.columns.clone(),
        }
    }

    /// `F` with `M = F F'` for [`Projection::whole_columns`].
    pub(super) fn whole_factor(&self) -> DMatrix<f64> {
        let Some(total) = self.total_weight else {
            return self.factor.clone();
        };
        let factor = self.factor.clone().insert_column(0, 0.0);
        let mut factor = factor.insert_row(0, 0.0);
        if let Some(corner) = factor.get_mut((0, 0)) {
            *corner = total.sqrt().recip();
        }
        factor
    }

    /// The coefficients of [`Projection::whole_columns`].
    pub(super) fn solved(&self) -> DVector<f64> {
        match self.total_weight {
            Some(_) => self.slopes.clone().insert_row(0, self.centre),
            None => self.slopes.clone(),
        }
    }

    /// The basis with, when there is an intercept, the direction of the mean as one more column.
    pub(super) fn full_basis(&self) -> DMatrix<f64> {
        let Some(total) = self.total_weight else {
            return self.basis.clone();
        };
        let n_columns = self.basis.ncols();
        let mut full = self.basis.clone().insert_column(n_columns, 0.0);
        full.set_column(
            n_columns,
            &self.weights.map(|weight| (weight / total).sqrt()),
        );
        full
    }

    /// `ln det (X'UX)`.
    pub(super) fn log_determinant(&self) -> f64 {
        let lengths = self.lengths.iter().map(|length| length.ln());
        let pivots = self.triangle.diagonal();
        let pivots = pivots.iter().map(|pivot| pivot.abs().ln());
        self.total_weight.map_or(0.0, f64::ln) + 2.0 * compensated_sum(lengths.chain(pivots))
    }

    /// Ratio of the largest to the smallest singular value of the weighted design, its columns
    /// about their weighted means (when there is an intercept) and scaled to unit length, as Belsley,
    /// Kuh & Welsch 1980, chapter 3, do without the means.
    pub(super) fn condition(&self) -> f64 {
        let mut values: Vec<f64> = if self.triangle.is_empty() {
            Vec::new()
        } else {
            self.triangle.singular_values().iter().copied().collect()
        };
        // The column of the intercept is orthogonal to the others and has unit length.
        if self.total_weight.is_some() {
            values.push(1.0);
        }
        let largest = values
            .iter()
            .fold(0.0, |best, &v| if best < v { v } else { best });
        values.iter().fold(1.0, |best, &v| {
            if best < largest / v {
                largest / v
            } else {
                best
            }
        })
    }

    /// `b' M^-1 b` for the coefficients of the moderators.
    pub(super) fn explained(&self) -> f64 {
        // The fitted part of the weighted effects about their mean, as seen along the basis.
        let roots = self.weights.map(f64::sqrt);
        let fitted = (&self.columns * &self.slopes).component_mul(&roots);
        compensated_sum(fitted.iter().map(|value| value * value))
    }
}
