//! What many runs say: how often an interval held the truth, and how far the estimate is off.

use super::table::{number, signed};
use tautpool::pooling::{Estimable, Interval};

/// Monte Carlo standard errors by which a target is widened.
const ALLOWANCE: f64 = 3.0;

/// How often something held, over the runs in which it could be told.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Share {
    /// Runs in which it could be told.
    pub(crate) n_estimable: usize,
    /// Runs in which it could not.
    pub(crate) n_not_estimable: usize,
    /// Runs in which it held.
    pub(crate) n_held: usize,
}

/// What a share is to reach, in percent.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Target {
    /// Not below the first nor above the second.
    Between(f64, f64),
    /// Not below.
    AtLeast(f64),
    /// Not above.
    AtMost(f64),
}

/// A mean with its Monte Carlo standard error.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Mean {
    /// The mean; NaN of no runs.
    pub(crate) value: f64,
    /// Its standard error; NaN of fewer than two runs.
    pub(crate) se: f64,
}

/// Whether an interval holds the truth, if there is one.
pub(crate) fn holds(interval: Estimable<Interval>, truth: f64) -> Estimable<bool> {
    interval.map(|interval| interval.low <= truth && truth <= interval.high)
}

impl FromIterator<Estimable<bool>> for Share {
    fn from_iter<I: IntoIterator<Item = Estimable<bool>>>(runs: I) -> Self {
        let mut share = Self::default();
        for held in runs {
            match held {
                Ok(held) => {
                    share.n_estimable += 1;
                    share.n_held += usize::from(held);
                }
                Err(_) => share.n_not_estimable += 1,
            }
        }
        share
    }
}

impl Share {
    /// All runs.
    pub(crate) const fn n_runs(&self) -> usize {
        self.n_estimable + self.n_not_estimable
    }

    /// In percent of the estimable runs; NaN when there are none.
    pub(crate) fn percent(&self) -> f64 {
        100.0 * self.n_held as f64 / self.n_estimable as f64
    }

    /// Whether the target is met when its limits are widened by three standard errors, those that
    /// a share exactly at the limit has over as many runs. Of no runs it is not.
    pub(crate) fn meets(&self, target: Target) -> bool {
        let n = self.n_estimable as f64;
        let allowance = |limit: f64| ALLOWANCE * (limit * (100.0 - limit) / n).sqrt();
        let above = |limit: f64| limit - allowance(limit) <= self.percent();
        let below = |limit: f64| self.percent() <= limit + allowance(limit);
        match target {
            Target::Between(low, high) => above(low) && below(high),
            Target::AtLeast(low) => above(low),
            Target::AtMost(high) => below(high),
        }
    }

    /// For a table: the percentage, and whether it meets the target if it has one.
    pub(crate) fn cell(&self, target: Option<Target>) -> String {
        let percent = number(self.percent(), 1);
        match target {
            None => percent,
            Some(target) if self.meets(target) => format!("{percent} met"),
            Some(_) => format!("{percent} MISSED"),
        }
    }
}

impl FromIterator<f64> for Mean {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Self {
        let values: Vec<f64> = values.into_iter().collect();
        let n = values.len() as f64;
        let value = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|x| (x - value).powi(2)).sum();
        Self {
            value,
            se: (squares / (n - 1.0) / n).sqrt(),
        }
    }
}

impl Mean {
    /// The mean error of estimates of `truth`, over the runs that have one.
    pub(crate) fn error(estimates: impl Iterator<Item = Estimable<f64>>, truth: f64) -> Self {
        estimates
            .flatten()
            .map(|estimate| estimate - truth)
            .collect()
    }

    /// For a table.
    pub(crate) fn cell(&self) -> String {
        format!("{} ± {}", signed(self.value, 3), number(self.se, 3))
    }
}
