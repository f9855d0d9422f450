//! The checked input of a regression.

use ndarray::{Array1, Array2, ArrayView1, ArrayView2, Axis, concatenate};

use crate::pooling::effects::{Effects, NumericError};

/// Effects and their moderators, checked and in canonical order.
#[derive(Debug, Clone, PartialEq)]
pub struct Design {
    effects: Effects,
    /// One row an effect, one column a moderator.
    moderators: Array2<f64>,
    names: Vec<String>,
    has_intercept: bool,
}

impl Design {
    /// Checks and orders effects with their moderators. `estimates`, `variances` and `clusters` are
    /// as in [`Effects::new`]; `moderators` has a row for every effect and a column for every one of
    /// `names`, in any units. Without an intercept the model goes through the origin.
    ///
    /// # Errors
    /// As [`Effects::new`]; [`NumericError::ModeratorNotFinite`]; [`NumericError::NamesDiffer`].
    pub fn new(
        estimates: ArrayView1<'_, f64>,
        variances: ArrayView1<'_, f64>,
        clusters: Option<ArrayView1<'_, usize>>,
        moderators: ArrayView2<'_, f64>,
        names: &[String],
        has_intercept: bool,
    ) -> Result<Self, NumericError> {
        if moderators.ncols() != names.len() {
            return Err(NumericError::NamesDiffer {
                n_columns: moderators.ncols(),
                n_names: names.len(),
            });
        }
        let (effects, moderators) =
            Effects::with_moderators(estimates, variances, clusters, moderators)?;
        Ok(Self {
            effects,
            moderators,
            names: names.to_vec(),
            has_intercept,
        })
    }

    /// The same with the square of a moderator as one more column at the end, for the test of
    /// curvature: the t test of that column's coefficient. `None` when there is no such column.
    ///
    /// # Errors
    /// [`NumericError::ModeratorNotFinite`] when a square overflows.
    pub fn with_square(&self, column: usize) -> Result<Option<Self>, NumericError> {
        let Some(name) = self.names.get(column) else {
            return Ok(None);
        };
        let squares = self.moderators.column(column).mapv(|x| x * x);
        let squares = squares.insert_axis(Axis(1));
        let moderators = concatenate![Axis(1), self.moderators, squares];
        let mut names = self.names.clone();
        names.push(format!("{name} squared"));
        Self::new(
            self.effects.estimates(),
            self.effects.variances(),
            self.effects.clusters(),
            moderators.view(),
            &names,
            self.has_intercept,
        )
        .map(Some)
    }

    /// The same effects without moderators: the model of one mean.
    pub(super) fn mean_only(&self) -> Self {
        Self {
            effects: self.effects.clone(),
            moderators: Array2::zeros((self.effects.k(), 0)),
            names: Vec::new(),
            has_intercept: true,
        }
    }

    /// The effects, in canonical order.
    #[must_use]
    pub const fn effects(&self) -> &Effects {
        &self.effects
    }

    /// The moderators in the canonical order of the effects, one row an effect.
    #[must_use]
    pub fn moderators(&self) -> ArrayView2<'_, f64> {
        self.moderators.view()
    }

    /// Names of the moderators.
    #[must_use]
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// Whether the model has an intercept.
    #[must_use]
    pub const fn has_intercept(&self) -> bool {
        self.has_intercept
    }

    /// Number of coefficients, the intercept among them.
    #[must_use]
    pub fn n_coefficients(&self) -> usize {
        self.names.len() + usize::from(self.has_intercept)
    }

    /// Number of each row by ascending variance, ties in canonical order.
    pub(super) fn by_variance(&self) -> Array1<usize> {
        let variances = self.effects.variances().to_vec();
        let mut order: Vec<(usize, f64)> = variances.into_iter().enumerate().collect();
        order.sort_by(|a, b| a.1.total_cmp(&b.1));
        order.into_iter().map(|(row, _)| row).collect()
    }
}
