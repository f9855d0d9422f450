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
//! - Circumstances that may explain an effect are coarsened, and hidden where too few share them.
//! - How much sessions differ, and models of counts, are figures over many players, rounded.
//! - That a pair was corrected, and what its effect was in the version first sent, stands in the
//!   row, however few were corrected: otherwise nobody could ask whether an answer rests on
//!   corrections. It tells whoever knew the first figures, or was told of the slip, which row it
//!   is, and it ties the row to that of an earlier download; the consent text has to say so. Of
//!   pairs without a row nothing is told, and no figure over everybody rests on a first version.
//! - Plans are counted by order, rounded down. What was sent, held, declined, withdrawn and pooled is
//!   told in steps as wide as the minimum, over the whole study.
//!
//! Absent on purpose: frames, exact levels, dates, counts of shots. No column is published here
//! that is not named in [`Row`].

mod circumstances;
mod figures;
mod flow;
mod plans;

pub use figures::{count_models, session_spreads};
pub use flow::{ExactFlow, flow};
pub use plans::plan_counts;

use crate::contribution::{Contribution, Moderators};
use crate::effects::repeats::{self, RepeatedArm};
use crate::effects::spread::CrowdSpread;
use crate::effects::{Effect, PairEffects, ShareCounts, share_counts};
use crate::findings::{Circumstances, Key, Row};
use crate::pooling::{Effects, Estimable, Interval, Level, NumericError, pool};
use crate::protocol::AnalysisRules;
use crate::vocabulary::{ConsentScope, Outcome, ShotClass};
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
    /// Whether it was played to a plan.
    pub planned: bool,
    /// The effects.
    pub pair: PairEffects,
    /// What else is known of the pair.
    pub moderators: Moderators,
    /// Arms that were played more than once.
    pub repeats: Vec<RepeatedArm>,
    /// Counts behind the shares that a protocol may declare.
    pub counts: Vec<(Outcome, ShotClass, ShareCounts)>,
    /// The effects of the version first sent, with the gap and band that it had; `None` when the
    /// pair was never corrected. Everything else here is of the version that counts.
    pub first: Option<PairEffects>,
}

impl CountedPair {
    /// A counted pair of a contribution with its effects; the rest is what is known of its player.
    #[must_use]
    pub fn new(
        contribution: &Contribution,
        pair: PairEffects,
        crowd: &CrowdSpread,
        player: CountedPlayer,
    ) -> Self {
        let counts = pair.effects.iter().filter_map(|effect| {
            let (outcome, class) = (effect.outcome, effect.class);
            let counts = share_counts(contribution, outcome, class)?;
            Outcome::PRIMARY
                .contains(&outcome)
                .then_some((outcome, class, counts))
        });
        Self {
            player: player.number,
            group_order: player.group_order,
            planned: player.planned,
            scope: contribution.consent_scope,
            moderators: Moderators::of(contribution),
            repeats: repeats::of_pair(contribution, crowd),
            counts: counts.collect(),
            first: None,
            pair,
        }
    }

    /// The pair as corrected after its player had seen an answer. `first` has the effects of the
    /// version first sent, however often it was corrected since, made with the same protocol and
    /// with [`CrowdSpread::for_version`] of the crowd behind those that count: else a spread that
    /// has to be imputed would differ between the two without having been corrected. The crowd
    /// itself holds no first versions.
    #[must_use]
    pub fn corrected_from(self, first: PairEffects) -> Self {
        Self {
            first: Some(first),
            ..self
        }
    }
}

/// What disclosure has to know of the player of a pair.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CountedPlayer {
    /// See [`CountedPair::player`].
    pub number: usize,
    /// See [`CountedPair::group_order`].
    pub group_order: [u8; 32],
    /// See [`CountedPair::planned`].
    pub planned: bool,
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

/// The rows that may be published, in order of group, pair and content. `pairs` are in the order in
/// which they came.
#[must_use]
pub fn rows(pairs: &[CountedPair], rules: &AnalysisRules) -> Vec<Row> {
    let minimum_players = rules.minimum_players;
    let consenting: Vec<&CountedPair> = pairs.iter().filter(|counted| has_row(counted)).collect();
    let circumstances = circumstances::of_pairs(&consenting, minimum_players);
    let arrivals = circumstances::arrivals(&consenting, minimum_players);
    let mut rows: Vec<Unnumbered> = Vec::new();
    let known = circumstances.into_iter().zip(arrivals);
    for (pair, (counted, (circumstances, arrival))) in consenting.into_iter().zip(known).enumerate()
    {
        let of_pair = coarsened(counted, circumstances, arrival);
        rows.extend(of_pair.into_iter().map(|row| Unnumbered {
            player: counted.group_order,
            pair,
            row,
        }));
    }
    let mut players_in: BTreeMap<Key, BTreeSet<[u8; 32]>> = BTreeMap::new();
    for row in &rows {
        players_in
            .entry(row.row.key())
            .or_default()
            .insert(row.player);
    }
    rows.retain(|row| {
        players_in
            .get(&row.row.key())
            .is_some_and(|players| minimum_players <= players.len())
    });
    let mut contents: BTreeMap<usize, Vec<Content>> = BTreeMap::new();
    for row in &rows {
        contents
            .entry(row.pair)
            .or_default()
            .push(content(&row.row));
    }
    contents
        .values_mut()
        .for_each(|content| content.sort_unstable());
    // Pairs of one player are told apart by what is shown of them. Where that is the same, by which
    // came first, which then cannot be seen.
    rows.sort_by(|a, b| {
        let place = |row: &Unnumbered| (row.player, contents.get(&row.pair).cloned(), row.pair);
        place(a)
            .cmp(&place(b))
            .then_with(|| content(&a.row).cmp(&content(&b.row)))
    });
    numbered(rows)
}

/// A row before its player and pair have numbers.
struct Unnumbered {
    player: [u8; 32],
    /// Place of its pair among those given.
    pair: usize,
    row: Row,
}

/// What orders rows: nothing that they do not show.
type Content = (Key, i64, [u64; 2], bool, Option<[u64; 2]>);

/// Estimates in the order of their bits, which is some fixed order and no more is needed.
fn content(row: &Row) -> Content {
    let bits = |(estimate, variance): (f64, f64)| [estimate.to_bits(), variance.to_bits()];
    let own = bits((row.estimate, row.variance));
    let first = row.first.map(bits);
    (row.key(), row.gap_lb, own, row.corrected, first)
}

fn numbered(rows: Vec<Unnumbered>) -> Vec<Row> {
    let (mut group, mut pair) = (0, 0);
    let mut before: Option<([u8; 32], usize)> = None;
    let mut numbered = Vec::with_capacity(rows.len());
    for unnumbered in rows {
        let this = (unnumbered.player, unnumbered.pair);
        match before {
            Some((player, _)) if player != this.0 => (group, pair) = (group + 1, 1),
            Some((_, place)) if place != this.1 => pair += 1,
            Some(_) => {}
            None => (group, pair) = (1, 1),
        }
        before = Some(this);
        numbered.push(Row {
            group,
            pair,
            ..unnumbered.row
        });
    }
    numbered
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
        for effect in counted.pair.all() {
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

fn coarsened(counted: &CountedPair, circumstances: Circumstances, arrival: usize) -> Vec<Row> {
    let sessions = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
    let pair = &counted.pair;
    let one = |effect: &Effect| Row {
        group: 0,
        pair: 0,
        arrival,
        band: pair.band,
        gap_lb: pair.gap.nearest_pound(),
        outcome: effect.outcome,
        class: effect.class,
        estimate: to_tenth(effect.estimate),
        variance: to_three_digits(effect.variance),
        imputed_variance: to_three_digits(effect.imputed_variance),
        source: effect.source,
        sessions: (
            sessions(counted.moderators.looser_sessions),
            sessions(counted.moderators.tighter_sessions),
        ),
        circumstances,
        corrected: counted.first.is_some(),
        first: first_figures(counted, effect),
    };
    pair.all().map(one).collect()
}

/// An effect in the version first sent, where that falls into the same analysis.
fn first_figures(counted: &CountedPair, effect: &Effect) -> Option<(f64, f64)> {
    let first = counted.first.as_ref()?;
    let is_same = |other: &&Effect| (other.outcome, other.class) == (effect.outcome, effect.class);
    let found = first.all().find(is_same)?;
    (first.band == counted.pair.band)
        .then(|| (to_tenth(found.estimate), to_three_digits(found.variance)))
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
