//! Rows of one analysis as tables of effects.

use super::{Row, Rows};
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
pub(super) struct Selection<'a> {
    of: &'a Rows,
    /// Their places, rising.
    places: Vec<u32>,
}

impl Rows {
    /// Those rows that `keep` holds of.
    pub(super) fn select(&self, keep: impl Fn(&Row) -> bool) -> Selection<'_> {
        let mut selection = Selection::none(self);
        for (place, row) in self.iter().enumerate() {
            if keep(&row) {
                selection.push(place);
            }
        }
        selection
    }
}

impl<'a> Selection<'a> {
    /// No rows yet.
    pub(super) const fn none(of: &'a Rows) -> Self {
        let places = Vec::new();
        Self { of, places }
    }

    /// Takes the row at a place in, after those that it holds.
    pub(super) fn push(&mut self, place: usize) {
        self.places.extend(u32::try_from(place));
    }

    /// How many there are.
    pub(super) const fn k(&self) -> usize {
        self.places.len()
    }

    pub(super) fn rows(&self) -> impl Iterator<Item = Row> + '_ {
        self.placed().map(|(_, row)| row)
    }

    /// The rows with their places among all.
    pub(super) fn placed(&self) -> impl Iterator<Item = (usize, Row)> + '_ {
        let places = self.places.iter().map(|place| *place as usize);
        places.filter_map(|place| Some((place, self.of.get(place)?)))
    }

    /// Those rows that `keep` holds of.
    pub(super) fn only(&self, keep: impl Fn(&Row) -> bool) -> Self {
        self.only_placed(|_, row| keep(row))
    }

    /// Those rows that `keep` holds of with their places among all.
    pub(super) fn only_placed(&self, keep: impl Fn(usize, &Row) -> bool) -> Self {
        let mut kept = Self::none(self.of);
        for (place, row) in self.placed() {
            if keep(place, &row) {
                kept.push(place);
            }
        }
        kept
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
        let mut groups: Vec<u32> = self.rows().map(|row| row.group).collect();
        groups.sort_unstable();
        groups.dedup();
        groups.len()
    }

    /// The rows as they are.
    pub(super) fn effects(&self) -> Result<Effects, NumericError> {
        self.changed(|_, row| (row.estimate, row.variance))
    }

    /// The rows with another estimate and variance, by their places among all and what they are.
    pub(super) fn changed(
        &self,
        figures: impl Fn(usize, &Row) -> (f64, f64),
    ) -> Result<Effects, NumericError> {
        let figures = self.placed().map(|(place, row)| figures(place, &row));
        let (estimates, variances): (Vec<f64>, Vec<f64>) = figures.unzip();
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
        let complete = self.only(|row| moderators.iter().all(|(_, value)| value(row).is_some()));
        let cells = complete.rows().flat_map(|row| {
            let cells = moderators.iter().map(move |(_, value)| value(&row));
            cells.map(|cell| cell.unwrap_or(f64::NAN))
        });
        let cells: Vec<f64> = cells.collect();
        let n_columns = moderators.len();
        let cells = Array2::from_shape_fn((complete.k(), n_columns), |(row, column)| {
            let cell = cells.get(row * n_columns + column);
            cell.copied().unwrap_or(f64::NAN)
        });
        let names: Vec<String> = moderators
            .iter()
            .map(|(name, _)| (*name).to_owned())
            .collect();
        Design::new(
            complete.estimates().view(),
            complete.variances().view(),
            Some(complete.groups().view()),
            cells.view(),
            &names,
            has_intercept,
        )
    }

    pub(super) fn estimates(&self) -> Array1<f64> {
        self.rows().map(|row| row.estimate).collect()
    }

    pub(super) fn variances(&self) -> Array1<f64> {
        self.rows().map(|row| row.variance).collect()
    }

    pub(super) fn groups(&self) -> Array1<usize> {
        let groups = self.rows().map(|row| row.group);
        groups.map(|group| group as usize).collect()
    }
}

/// A column of a regression: its name and its value for a row, where that is known.
pub(super) type Moderator<'a> = (&'static str, &'a dyn Fn(&Row) -> Option<f64>);
