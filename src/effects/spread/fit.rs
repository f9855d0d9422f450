//! The coefficient of variation borrowed from a set of players.

use super::reports::{Reporter, mean};
use crate::effects::to_f64;
use crate::vocabulary::ShotClass;
use std::collections::{BTreeMap, BTreeSet};

/// How many contributors the mean over all classes counts for.
pub const PRIOR_CONTRIBUTORS: f64 = 10.0;

/// What a set of players says about the spread of ball speed.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Fit {
    /// Number of players and their mean ln CV, where enough report the class.
    by_class: BTreeMap<ShotClass, (f64, f64)>,
    /// Mean ln CV over players and classes.
    all: f64,
}

impl Fit {
    /// One value per player and class: the mean of the ln CV of all that player's sessions. A
    /// class that fewer than `minimum_players` report has no mean of its own. `None` when nobody
    /// reports anything.
    pub(super) fn of(reporters: &[&Reporter], minimum_players: usize) -> Option<Self> {
        let classes: BTreeSet<ShotClass> = reporters
            .iter()
            .flat_map(|reporter| reporter.lines().map(|line| line.class))
            .collect();
        let mut every_value = Vec::new();
        let mut by_class = BTreeMap::new();
        for class in classes {
            let values: Vec<f64> = reporters
                .iter()
                .filter_map(|reporter| reporter.log_cv(class))
                .collect();
            every_value.extend_from_slice(&values);
            if minimum_players <= values.len()
                && let (Ok(n), Some(mean)) = (i64::try_from(values.len()), mean(values))
            {
                by_class.insert(class, (to_f64(n), mean));
            }
        }
        Some(Self {
            by_class,
            all: mean(every_value)?,
        })
    }

    /// `ln CV_class = (m mean_class + 10 mean_all)/(m + 10)`.
    pub(super) fn log_cv(&self, class: ShotClass) -> f64 {
        let (n, own) = self.by_class.get(&class).copied().unwrap_or_default();
        (n * own + PRIOR_CONTRIBUTORS * self.all) / (n + PRIOR_CONTRIBUTORS)
    }
}
