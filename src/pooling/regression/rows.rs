//! The rows of a design, heaviest first, and what holds of them at any weights.

use nalgebra::{DMatrix, DVector};

use super::Design;
use crate::pooling::reason::{Estimable, Reason};
use crate::pooling::sums::compensated_sum;

/// A column is taken to follow from the ones before it when what is left of it is below this share
/// of its length. Entered decimals leave about 1e-16 of a sum or a constant; above this limit a
/// coefficient keeps at least six digits.
const RANK_TOLERANCE: f64 = 1e-10;

/// A row whose leverage without weights is this close to 1 carries a direction alone. Leverages are
/// squares, and rounding leaves about 1e-15 of them.
const SOLE_TOLERANCE: f64 = 1e-12;

/// Fewest clusters, or effects when there are none, for every moderator: the customary ten (Higgins
/// et al., Cochrane Handbook, section 10.11.5.1).
const CLUSTERS_PER_MODERATOR: usize = 10;

/// A design in the order in which weights fall.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Rows {
    pub(super) estimates: DVector<f64>,
    pub(super) variances: DVector<f64>,
    /// One row an effect, one column a moderator.
    pub(super) columns: DMatrix<f64>,
    pub(super) has_intercept: bool,
    /// Rows that alone carry a direction of the design: they are fitted exactly at any weights.
    pub(super) is_sole: Vec<bool>,
    /// Rows of each cluster; empty without clusters.
    pub(super) clusters: Vec<Vec<usize>>,
}

/// Why a design cannot be fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Unfit {
    pub(super) reason: Reason,
    /// The moderator that follows from the ones before it.
    pub(super) dependent: Option<usize>,
}

impl From<Reason> for Unfit {
    fn from(reason: Reason) -> Self {
        Self {
            reason,
            dependent: None,
        }
    }
}

impl Rows {
    /// # Errors
    /// [`Reason::NoEffects`]; [`Reason::NoColumns`]; [`Reason::FewerThanTenPerModerator`];
    /// [`Reason::OneEffect`]; [`Reason::RankDeficient`]; [`Reason::OutOfRange`].
    pub(super) fn new(design: &Design) -> Result<Self, Unfit> {
        let effects = design.effects();
        let n_columns = design.names().len();
        if effects.k() == 0 {
            return Err(Reason::NoEffects.into());
        }
        if design.n_coefficients() == 0 {
            return Err(Reason::NoColumns.into());
        }
        if effects.n_clusters() < CLUSTERS_PER_MODERATOR * n_columns {
            return Err(Reason::FewerThanTenPerModerator.into());
        }
        if effects.k() < 2 {
            return Err(Reason::OneEffect.into());
        }
        let order = design.by_variance();
        let k = effects.k();
        let pick = |column: ndarray::ArrayView1<'_, f64>| {
            let picked = order.iter().filter_map(|&row| column.get(row).copied());
            picked.collect::<Vec<f64>>()
        };
        let columns: Vec<f64> = design
            .moderators()
            .columns()
            .into_iter()
            .flat_map(pick)
            .collect();
        let mut clusters = Vec::new();
        if let Some(labels) = effects.clusters() {
            clusters.resize(effects.n_clusters(), Vec::new());
            for (place, &row) in order.iter().enumerate() {
                let label = labels.get(row).copied();
                let members = label.and_then(|label| clusters.get_mut(label));
                members.into_iter().for_each(|members| members.push(place));
            }
        }
        let mut rows = Self {
            estimates: DVector::from_vec(pick(effects.estimates())),
            variances: DVector::from_vec(pick(effects.variances())),
            columns: DMatrix::from_vec(k, n_columns, columns),
            has_intercept: design.has_intercept(),
            is_sole: vec![false; k],
            clusters,
        };
        rows.check_rank()?;
        Ok(rows)
    }

    /// Number of effects.
    pub(super) fn k(&self) -> usize {
        self.estimates.len()
    }

    /// `k - p`.
    #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
    pub(super) fn df(&self) -> f64 {
        self.k() as f64 - (self.columns.ncols() + usize::from(self.has_intercept)) as f64
    }

    /// The smallest sampling variance, which the first row has.
    pub(super) fn smallest_variance(&self) -> f64 {
        self.variances.get(0).copied().unwrap_or(f64::NAN)
    }

    /// The largest sampling variance.
    pub(super) fn largest_variance(&self) -> f64 {
        self.variances
            .iter()
            .next_back()
            .copied()
            .unwrap_or(f64::NAN)
    }

    /// Finds columns that follow from the ones before them, and rows that carry a direction alone.
    /// Neither depends on the weights.
    #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
    fn check_rank(&mut self) -> Result<(), Unfit> {
        let k = self.k() as f64;
        let dependent = |column| Unfit {
            reason: Reason::RankDeficient,
            dependent: Some(column),
        };
        let mut leverages =
            DVector::repeat(self.k(), if self.has_intercept { 1.0 / k } else { 0.0 });
        if self.columns.ncols() != 0 {
            let mut scaled = self.columns.clone();
            for (idx, mut column) in scaled.column_iter_mut().enumerate() {
                let largest = column.amax();
                if largest <= 0.0 {
                    return Err(dependent(idx));
                }
                column /= largest;
                let length = column.norm();
                if self.has_intercept {
                    let from = column.mean();
                    column.add_scalar_mut(-from);
                    // The second pass removes what rounding left of the first.
                    let rest = compensated_sum(column.iter().copied()) / k;
                    column.add_scalar_mut(-rest);
                }
                let centred_length = column.norm();
                if centred_length <= RANK_TOLERANCE * length {
                    return Err(dependent(idx));
                }
                column /= centred_length;
            }
            let decomposition = scaled.qr();
            for (idx, pivot) in decomposition.r().diagonal().iter().enumerate() {
                if pivot.abs() <= RANK_TOLERANCE {
                    return Err(dependent(idx));
                }
            }
            let basis = decomposition.q();
            for (leverage, row) in leverages.iter_mut().zip(basis.row_iter()) {
                *leverage += row.norm_squared();
            }
        }
        self.is_sole = leverages
            .iter()
            .map(|&leverage| 1.0 - leverage <= SOLE_TOLERANCE)
            .collect();
        Ok(())
    }

    /// The unweighted residual sum of squares.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] when it overflows.
    pub(super) fn sum_of_squares(&self) -> Estimable<f64> {
        let unweighted = Self {
            variances: DVector::repeat(self.k(), 1.0),
            ..self.clone()
        };
        let residuals = super::Projection::new(&unweighted, 0.0, None)?.raw_residuals();
        crate::pooling::reason::finite(compensated_sum(residuals.iter().map(|r| r * r)))
    }
}
