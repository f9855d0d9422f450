//! Rows of one analysis as tables of effects.

use super::Row;
use crate::pooling::regression::Design;
use crate::pooling::{Effects, NumericError};
use crate::vocabulary::word_list;
use ndarray::{Array1, Array2};

/// Planned pairs become the primary analysis once so many players have played to a plan.
pub const PLANNED_PLAYERS: usize = 10;

word_list! {
    /// Which pairs an analysis rests on.
    Basis {
        /// Every pair, because too few are planned.
        All = "all_pairs",
        /// Planned pairs alone: their order was drawn before anyone hit.
        Planned = "planned_pairs",
    }
}

impl Basis {
    /// Whether an analysis on this basis rests on a row, if it is one of its own.
    #[must_use]
    pub const fn holds(self, row: &Row) -> bool {
        match self {
            Self::All => true,
            Self::Planned => matches!(row.circumstances.planned, Some(true)),
        }
    }
}

/// Some of a study's rows.
#[derive(Clone, Debug)]
pub(super) struct Selection<'a>(Vec<&'a Row>);

impl<'a> FromIterator<&'a Row> for Selection<'a> {
    fn from_iter<I: IntoIterator<Item = &'a Row>>(rows: I) -> Self {
        Self(rows.into_iter().collect())
    }
}

impl<'a> Selection<'a> {
    pub(super) fn rows(&self) -> &[&'a Row] {
        &self.0
    }

    /// Those rows that `keep` holds of.
    pub(super) fn only(&self, keep: impl Fn(&Row) -> bool) -> Self {
        self.0.iter().copied().filter(|row| keep(row)).collect()
    }

    /// Rows that are known to be planned, or not to be.
    pub(super) fn planned(&self, planned: bool) -> Self {
        self.only(|row| row.circumstances.planned == Some(planned))
    }

    /// Planned rows where they are of enough players, else all.
    pub(super) fn primary(&self) -> (Basis, Self) {
        let planned = self.planned(true);
        if planned.n_players() < PLANNED_PLAYERS {
            (Basis::All, self.clone())
        } else {
            (Basis::Planned, planned)
        }
    }

    pub(super) fn n_players(&self) -> usize {
        let mut groups: Vec<u32> = self.0.iter().map(|row| row.group).collect();
        groups.sort_unstable();
        groups.dedup();
        groups.len()
    }

    /// The rows as they are.
    pub(super) fn effects(&self) -> Result<Effects, NumericError> {
        self.changed(|row| (row.estimate, row.variance))
    }

    /// The rows with another estimate and variance.
    pub(super) fn changed(
        &self,
        figures: impl Fn(&Row) -> (f64, f64),
    ) -> Result<Effects, NumericError> {
        let (estimates, variances): (Vec<f64>, Vec<f64>) =
            self.0.iter().map(|row| figures(row)).unzip();
        Effects::new(
            Array1::from(estimates).view(),
            Array1::from(variances).view(),
            Some(self.groups().view()),
        )
    }

    /// A regression over the rows in which every moderator is known.
    pub(super) fn design(
        &self,
        moderators: &[Moderator<'_>],
        has_intercept: bool,
    ) -> Result<Design, NumericError> {
        let complete: Vec<(&Row, Vec<f64>)> = self
            .0
            .iter()
            .filter_map(|row| {
                let cells = moderators.iter().map(|(_, value)| value(row));
                Some((*row, cells.collect::<Option<Vec<f64>>>()?))
            })
            .collect();
        let kept: Selection<'_> = complete.iter().map(|(row, _)| *row).collect();
        let cells = Array2::from_shape_fn((complete.len(), moderators.len()), |(row, place)| {
            let cells = complete.get(row).and_then(|(_, cells)| cells.get(place));
            cells.copied().unwrap_or(f64::NAN)
        });
        let names: Vec<String> = moderators
            .iter()
            .map(|(name, _)| (*name).to_owned())
            .collect();
        Design::new(
            kept.estimates().view(),
            kept.variances().view(),
            Some(kept.groups().view()),
            cells.view(),
            &names,
            has_intercept,
        )
    }

    pub(super) fn estimates(&self) -> Array1<f64> {
        self.0.iter().map(|row| row.estimate).collect()
    }

    pub(super) fn variances(&self) -> Array1<f64> {
        self.0.iter().map(|row| row.variance).collect()
    }

    pub(super) fn groups(&self) -> Array1<usize> {
        let groups = self.0.iter().map(|row| row.group);
        groups.map(|group| group as usize).collect()
    }
}

/// A column of a regression: its name and its value for a row, where that is known.
pub(super) type Moderator<'a> = (&'static str, &'a dyn Fn(&Row) -> Option<f64>);
