//! Figures over everybody, row or no row.
//!
//! Whoever has the rows can subtract them, so what is left must be of many. A figure is shown when
//!
//! - at least the minimum of players in the analysis are without a row in it;
//! - none of them has more than half of their weight (dominance; Hundepool et al. 2012,
//!   "Statistical Disclosure Control", ch. 4.2);
//! - against every figure that was shown of the same analysis before, either nothing has changed
//!   among those without a row, or at least the minimum of players have come, gone or mended, and
//!   then at least a tenth of them: else subtracting one publication from the other would leave too
//!   few (differencing).
//!
//! Where only the last condition fails, and nobody behind the figure shown last has gone or mended
//! since, that one stays; else there is none, and nothing says why.

use super::kept::Kept;
use super::{CountedPair, to_tenth};
use crate::findings::Key;
use crate::pooling::{Effects, Estimable, Interval, Level, NumericError, RandomMean};
use crate::protocol::AnalysisRules;
use ndarray::Array1;
use std::collections::{BTreeMap, BTreeSet};

/// Figures over everybody in one analysis, rounded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Everybody {
    /// What it is about.
    pub key: Key,
    /// The batch that it is of: the newest, or an earlier one while too few have come since.
    pub batch: i64,
    /// At least so many players: rounded down to a multiple of the protocol's minimum.
    pub players_at_least: usize,
    /// The pooled estimate (REML), to 0.1.
    pub estimate: f64,
    /// Its cluster-robust interval, to 0.1.
    pub interval: Interval,
}

/// A version of a contribution without a row in an analysis.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Outsider {
    /// Names its player.
    pub player: u128,
    /// Names the contribution.
    pub contribution: u128,
    /// Which version of it.
    pub version: i64,
}

/// Those without a row behind one figure that was shown.
pub type Outsiders = BTreeSet<Outsider>;

/// A figure with those without a row behind it.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// The figure.
    pub figure: Everybody,
    /// Who of those behind it has no row.
    pub outsiders: Outsiders,
}

/// The effects of everybody, as they are gathered pair by pair.
#[derive(Debug, Default)]
pub struct Everyone {
    cells: BTreeMap<Key, Cell>,
    /// Every pair that is without a row somewhere.
    outsiders: Vec<Outsider>,
}

impl Everyone {
    /// Nobody yet, with room for as many effects as there will be: growing copies them.
    pub(super) fn new(kept: &Kept) -> Self {
        let expected = kept.effects().iter();
        Self {
            cells: expected
                .map(|(key, n)| (*key, Cell::with_capacity(*n)))
                .collect(),
            outsiders: Vec::new(),
        }
    }

    pub(super) fn take(&mut self, place: usize, counted: &CountedPair, kept: &Kept) {
        let outsider = u32::try_from(self.outsiders.len());
        let mut has_all = true;
        for (key, effect) in counted.keys().zip(counted.pair.all()) {
            let cell = self.cells.entry(key).or_default();
            if !kept.has_row(place, &key) {
                let effect = u32::try_from(cell.players.len());
                cell.outside.extend(effect.ok().zip(outsider.ok()));
                has_all = false;
            }
            cell.estimates.push(effect.estimate);
            cell.variances.push(effect.variance);
            cell.players.extend(u32::try_from(counted.player));
        }
        if !has_all {
            self.outsiders.push(counted.identity);
        }
    }

    /// The analyses that anybody has effects in.
    pub fn keys(&self) -> impl Iterator<Item = &Key> {
        self.cells.keys()
    }

    /// The figure of each analysis where it gives nobody away. `before` has every figure that was
    /// shown before this batch, the oldest first.
    ///
    /// # Errors
    /// [`NumericError`] when an effect is not usable, which intake rules out.
    pub fn shown(
        self,
        rules: &AnalysisRules,
        level: Level,
        batch: i64,
        before: &BTreeMap<Key, Vec<Shown>>,
    ) -> Result<Vec<Shown>, NumericError> {
        let minimum = rules.minimum_players;
        let mut shown = Vec::new();
        for (key, cell) in self.cells {
            let earlier = before.get(&key).map(Vec::as_slice).unwrap_or_default();
            let weights = cell.weights_outside();
            if weights.len() < minimum || is_dominated(&weights) {
                continue;
            }
            let outsiders = cell.outside.iter();
            let outsiders: Outsiders = outsiders
                .filter_map(|(_, outsider)| self.outsiders.get(*outsider as usize).copied())
                .collect();
            let is_told_apart =
                |earlier: &Shown| tells_apart(&outsiders, &earlier.outsiders, minimum);
            if earlier.iter().any(is_told_apart) {
                let last = earlier.last();
                shown.extend(
                    last.filter(|last| last.outsiders.is_subset(&outsiders))
                        .cloned(),
                );
                continue;
            }
            let n_players = cell.n_players();
            if let Ok((estimate, interval)) = cell.pooled(level)? {
                let figure = Everybody {
                    key,
                    batch,
                    players_at_least: n_players / minimum * minimum,
                    estimate: to_tenth(estimate),
                    interval: Interval {
                        low: to_tenth(interval.low),
                        high: to_tenth(interval.high),
                    },
                };
                shown.push(Shown { figure, outsiders });
            }
        }
        Ok(shown)
    }
}

/// Whether two figures side by side would tell of too few: somebody came, went or mended between
/// the two, and not enough did.
fn tells_apart(now: &Outsiders, then: &Outsiders, minimum: usize) -> bool {
    let changed: BTreeSet<u128> = now
        .symmetric_difference(then)
        .map(|outsider| outsider.player)
        .collect();
    let all: BTreeSet<u128> = now.union(then).map(|outsider| outsider.player).collect();
    let least = minimum.max(all.len().div_ceil(LEAST_CHANGE));
    !changed.is_empty() && changed.len() < least
}

/// One part in so many has to change: keeps figures apart, and few what has to be remembered of
/// them.
const LEAST_CHANGE: usize = 10;

/// Whether one player has more than half of the weight.
fn is_dominated(weights: &BTreeMap<u32, f64>) -> bool {
    let all: f64 = weights.values().sum();
    weights.values().any(|weight| 0.5 * all < *weight)
}

/// The effects of one analysis, over everybody: 20 bytes each, and 8 more without a row.
#[derive(Debug, Default)]
struct Cell {
    estimates: Vec<f64>,
    variances: Vec<f64>,
    players: Vec<u32>,
    /// The place of each effect without a row, and of its pair among outsiders.
    outside: Vec<(u32, u32)>,
}

impl Cell {
    fn with_capacity(n: usize) -> Self {
        Self {
            estimates: Vec::with_capacity(n),
            variances: Vec::with_capacity(n),
            players: Vec::with_capacity(n),
            outside: Vec::new(),
        }
    }

    /// Weights by sampling error of the players without a row.
    fn weights_outside(&self) -> BTreeMap<u32, f64> {
        let mut weights = BTreeMap::new();
        for (place, _) in &self.outside {
            let place = *place as usize;
            let of_effect = self.players.get(place).zip(self.variances.get(place));
            if let Some((player, variance)) = of_effect {
                *weights.entry(*player).or_default() += 1.0 / variance;
            }
        }
        weights
    }

    fn n_players(&self) -> usize {
        let mut players = self.players.clone();
        players.sort_unstable();
        players.dedup();
        players.len()
    }

    fn pooled(&self, level: Level) -> Result<Estimable<(f64, Interval)>, NumericError> {
        let effects = Effects::new(
            Array1::from_iter(self.estimates.iter().copied()).view(),
            Array1::from_iter(self.variances.iter().copied()).view(),
            Some(Array1::from_iter(self.players.iter().map(|player| *player as usize)).view()),
        )?;
        Ok(RandomMean::new(&effects, level)
            .and_then(|mean| Ok((mean.estimate, mean.cluster_robust?.interval()))))
    }
}
