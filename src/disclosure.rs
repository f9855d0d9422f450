//! What may be shown: from counted pairs to published rows, and figures over everybody.
//!
//! - A row is published only with its player's consent to rows, and only in an analysis where at
//!   least the protocol's minimum of consenting players have one.
//! - Estimates are rounded to 0.1 of their unit, variances to three significant digits, gaps to
//!   a whole pound. The band is kept exactly, since rounding a gap could move it over an edge.
//! - Rows of one player hang together by a group number. Groups are numbered in the order of a
//!   secret-keyed hash that changes with every batch, so the number says nothing about when a
//!   player came and links to nothing across batches.
//! - Figures over everybody, row or no row, are rounded to 0.1 and shown only where the players
//!   without a row are themselves at least the minimum, since otherwise subtracting the rows
//!   would leave too few.
//!
//! Absent on purpose: frames, strings, levels, dates. No column is published here that is not
//! named in [`Row`].

use crate::effects::PairEffects;
use crate::findings::{Key, Row};
use crate::pooling::{Effects, Estimable, Interval, Level, NumericError, pool};
use crate::protocol::AnalysisRules;
use crate::vocabulary::ConsentScope;
use ndarray::Array1;
use std::collections::{BTreeMap, BTreeSet};

/// A pair that counts, with what disclosure has to know of its player.
#[derive(Clone, Debug, PartialEq)]
pub struct CountedPair {
    /// A number that is the same for all pairs of one player.
    pub player: usize,
    /// The player's place in the numbering of groups: a keyed hash, fresh for every batch.
    pub group_order: [u8; 32],
    /// What the player agreed to.
    pub scope: ConsentScope,
    /// The effects.
    pub pair: PairEffects,
}

/// Figures over everybody in one analysis, rounded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Everybody {
    /// What it is about.
    pub key: Key,
    /// At least so many players: rounded down to a multiple of the protocol's minimum.
    pub players_at_least: usize,
    /// The pooled estimate (REML), to 0.1.
    pub estimate: f64,
    /// Its cluster-robust interval, to 0.1.
    pub interval: Interval,
}

/// The rows that may be published, in order of group and content.
#[must_use]
pub fn rows(pairs: &[CountedPair], rules: &AnalysisRules) -> Vec<Row> {
    let mut consenting: Vec<([u8; 32], Row)> = Vec::new();
    for counted in pairs.iter().filter(|counted| has_row(counted)) {
        consenting.extend(coarsened(&counted.pair).map(|row| (counted.group_order, row)));
    }
    let mut players_in: BTreeMap<Key, BTreeSet<[u8; 32]>> = BTreeMap::new();
    for (player, row) in &consenting {
        players_in.entry(row.key()).or_default().insert(*player);
    }
    consenting.retain(|(_, row)| {
        players_in
            .get(&row.key())
            .is_some_and(|players| rules.minimum_players <= players.len())
    });
    let groups: BTreeSet<[u8; 32]> = consenting.iter().map(|(player, _)| *player).collect();
    let number: BTreeMap<[u8; 32], usize> = groups.into_iter().zip(1..).collect();
    let mut rows: Vec<Row> = consenting
        .into_iter()
        .filter_map(|(player, row)| {
            Some(Row {
                group: *number.get(&player)?,
                ..row
            })
        })
        .collect();
    rows.sort_by(|a, b| {
        (a.group, a.key(), a.gap_lb)
            .cmp(&(b.group, b.key(), b.gap_lb))
            .then(a.estimate.total_cmp(&b.estimate))
            .then(a.variance.total_cmp(&b.variance))
    });
    rows
}

/// Figures over everybody for each analysis where enough players are without a row.
///
/// # Errors
/// [`NumericError`] when an effect is not usable, which intake rules out.
pub fn everybody(
    pairs: &[CountedPair],
    rules: &AnalysisRules,
    level: Level,
) -> Result<Vec<Everybody>, NumericError> {
    let mut cells: BTreeMap<Key, Cell> = BTreeMap::new();
    for counted in pairs {
        for effect in &counted.pair.effects {
            let key = Key {
                outcome: effect.outcome,
                class: effect.class,
                band: counted.pair.band,
            };
            let cell = cells.entry(key).or_default();
            cell.estimates.push(effect.estimate);
            cell.variances.push(effect.variance);
            cell.players.push(counted.player);
            if !has_row(counted) {
                cell.without_row.insert(counted.player);
            }
        }
    }
    let minimum = rules.minimum_players;
    let mut shown = Vec::new();
    for (key, cell) in cells
        .into_iter()
        .filter(|(_, cell)| minimum <= cell.without_row.len())
    {
        let n_players = cell.players.iter().collect::<BTreeSet<_>>().len();
        if let Ok((estimate, interval)) = cell.pooled(level)? {
            shown.push(Everybody {
                key,
                players_at_least: n_players / minimum * minimum,
                estimate: to_tenth(estimate),
                interval: Interval {
                    low: to_tenth(interval.low),
                    high: to_tenth(interval.high),
                },
            });
        }
    }
    Ok(shown)
}

/// The effects of one analysis, over everybody.
#[derive(Default)]
struct Cell {
    estimates: Vec<f64>,
    variances: Vec<f64>,
    players: Vec<usize>,
    without_row: BTreeSet<usize>,
}

impl Cell {
    fn pooled(self, level: Level) -> Result<Estimable<(f64, Interval)>, NumericError> {
        let effects = Effects::new(
            Array1::from(self.estimates).view(),
            Array1::from(self.variances).view(),
            Some(Array1::from(self.players).view()),
        )?;
        Ok(pool(&effects, level)
            .reml
            .and_then(|model| Ok((model.estimate, model.cluster_robust?.interval()))))
    }
}

fn has_row(counted: &CountedPair) -> bool {
    counted.scope == ConsentScope::PoolingAndRows
}

fn coarsened(pair: &PairEffects) -> impl Iterator<Item = Row> + '_ {
    pair.effects.iter().map(|effect| Row {
        group: 0,
        band: pair.band,
        gap_lb: pair.gap.nearest_pound(),
        outcome: effect.outcome,
        class: effect.class,
        estimate: to_tenth(effect.estimate),
        variance: to_three_digits(effect.variance),
        source: effect.source,
    })
}

/// Rounded to one decimal; never minus zero.
#[must_use]
pub fn to_tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0 + 0.0
}

/// Rounded to three significant digits.
///
/// Through the decimal text, which is correctly rounded at any magnitude.
#[must_use]
pub fn to_three_digits(value: f64) -> f64 {
    format!("{value:.2e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_is_decimal_and_never_minus_zero() {
        assert_eq!(to_tenth(-0.04).to_bits(), 0.0_f64.to_bits());
        assert_eq!(to_tenth(1.25).to_bits(), 1.3_f64.to_bits());
        assert_eq!(to_three_digits(12_345.0).to_bits(), 12_300.0_f64.to_bits());
        assert_eq!(
            to_three_digits(0.001_234_9).to_bits(),
            0.001_23_f64.to_bits()
        );
    }
}
