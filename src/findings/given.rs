//! Figures about players with a row that rows alone do not give: they are worked out when a study
//! is published, rounded, and taken as they are from then on.
//!
//! When a pair came, and what was sent of it first, stand in no row, because either would tell
//! whose it is. What can be said of all pairs of an analysis together is said here instead.

use super::selection::Selection;
use super::sensitivity::Brief;
use super::{Key, Publication};
use crate::pooling::cumulative::cumulate;
use crate::pooling::{Interval, NumericError, RandomMean};
use ndarray::Array1;
use std::collections::{BTreeMap, BTreeSet};

/// Most steps in which an estimate is shown to settle; the project's choice.
const MOST_STEPS: usize = 8;

/// An analysis with first versions in place of corrected ones.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FirstVersions {
    /// What it is about.
    pub key: Key,
    /// At least so many players corrected a pair in it, and at least the minimum.
    pub corrected_at_least: usize,
    /// What would have been found.
    pub found: Brief,
}

/// An analysis after so many of its players had come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reached {
    /// What it is about.
    pub key: Key,
    /// Players so far.
    pub players: usize,
    /// Their pairs.
    pub k: usize,
    /// Pooled estimate (REML).
    pub estimate: f64,
    /// Its interval, chosen as for the analysis.
    pub interval: Interval,
}

/// Estimate and variance of a row's effect in the version first sent; `None` when that has no such
/// effect in the row's analysis.
pub type FirstFigures = Option<(f64, f64)>;

impl Publication {
    /// Declared analyses in which at least the minimum of players corrected a pair, with what was
    /// sent first in its place. `first` has an entry for each row of a corrected pair, by the row's
    /// place. A first version that has no effect in the analysis is left out. Nothing is rounded
    /// yet.
    ///
    /// # Errors
    /// [`NumericError`] when a figure is not usable.
    pub fn with_first_versions(
        &self,
        first: &BTreeMap<usize, FirstFigures>,
    ) -> Result<Vec<FirstVersions>, NumericError> {
        let minimum = self.rules.minimum_players;
        let mut found = Vec::new();
        for (key, rows) in self.declared_cells() {
            let (_, primary) = rows.primary();
            let corrected = primary.only_placed(|place, _| first.contains_key(&place));
            let sent = primary.only_placed(|place, _| first.get(&place) != Some(&None));
            if corrected.n_players() < minimum || sent.n_players() < minimum {
                continue;
            }
            let effects = sent.changed(|place, row| {
                let first = first.get(&place).copied().flatten();
                first.unwrap_or((row.estimate, row.variance))
            })?;
            if let Ok(brief) = RandomMean::new(&effects, self.level)
                .and_then(|mean| Brief::of(&mean, effects.has_repeats()))
            {
                found.push(FirstVersions {
                    key,
                    corrected_at_least: corrected.n_players() / minimum * minimum,
                    found: brief,
                });
            }
        }
        Ok(found)
    }

    /// How each declared analysis settled as its players came: at most eight steps, each of at least
    /// the minimum of players more than the one before. `came` has for each row a number that rises
    /// with the time at which its pair came. Nothing is rounded yet.
    ///
    /// # Errors
    /// [`NumericError`] when a figure is not usable.
    pub fn reached(&self, came: &[u32]) -> Result<Vec<Reached>, NumericError> {
        let minimum = self.rules.minimum_players;
        let mut found = Vec::new();
        for (key, rows) in self.declared_cells() {
            let (_, primary) = rows.primary();
            if primary.n_players() < minimum {
                continue;
            }
            let steps = steps_of(&primary, minimum, came);
            let cumulative = cumulate(
                primary.estimates().view(),
                primary.variances().view(),
                Some(primary.groups().view()),
                steps.view(),
                self.level,
            )?;
            for step in cumulative.steps {
                let brief = step
                    .mean
                    .and_then(|mean| Brief::of(&mean, step.has_repeats));
                if let Ok(brief) = brief {
                    found.push(Reached {
                        key,
                        players: step.n_clusters,
                        k: step.k,
                        estimate: brief.estimate,
                        interval: brief.interval,
                    });
                }
            }
        }
        Ok(found)
    }

    fn declared_cells(&self) -> Vec<(Key, Selection<'_>)> {
        let cells = self.cells().into_iter();
        cells
            .filter(|(key, _)| super::declared(key, &self.rules).is_some())
            .collect()
    }
}

/// The step of each row, from 1: so many players at a time, as their first pairs came. A further pair
/// belongs to the step that had been reached when it came.
fn steps_of(rows: &Selection<'_>, minimum: usize, came: &[u32]) -> Array1<usize> {
    let placed = rows.placed().enumerate();
    let mut in_order: Vec<(Option<u32>, u32, usize)> = placed
        .map(|(place, (among_all, row))| (came.get(among_all).copied(), row.group, place))
        .collect();
    in_order.sort_unstable();
    let n_players = rows.n_players();
    let share = n_players.div_ceil(MOST_STEPS).max(minimum).max(1);
    // What is left at the end may be too few for a step, and joins the one before.
    let last = (n_players / share).max(1);
    let mut seen = BTreeSet::new();
    let mut steps = Array1::from_elem(in_order.len(), 1);
    for (_, group, place) in in_order {
        seen.insert(group);
        if let Some(step) = steps.get_mut(place) {
            *step = ((seen.len() - 1) / share + 1).min(last);
        }
    }
    steps
}
