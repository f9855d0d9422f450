//! From kept pairs to published rows.

use super::alike::{self, Player};
use super::facts::{Fact, Known, sessions, value_of, whole};
use super::kept::{Kept, bands_of};
use super::{CountedPair, to_tenth, to_three_digits};
use crate::effects::Effect;
use crate::findings::{Circumstances, LevelBand, Month, Order, Row};
use crate::protocol::{AnalysisRules, GapBand};
use crate::vocabulary::StringFamily;
use std::cmp::Ordering;
use std::collections::BTreeMap;

/// Rows with what analyses of more than the rows are made from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rows {
    /// The rows, in order of group, pair and content.
    pub rows: Vec<Row>,
    /// The place of each row's pair among those given.
    pub pairs: Vec<usize>,
    /// Names of frames that rows point to.
    pub frames: Vec<String>,
}

/// The rows that may be published of the pairs that are kept. `pairs` are in the order in which they
/// came.
#[must_use]
pub fn rows(pairs: &[CountedPair], kept: &Kept, rules: &AnalysisRules) -> Rows {
    let shown = shown(pairs, kept, rules.minimum_players);
    let rows_of = |place: usize| -> Vec<Row> {
        let both = pairs.get(place).zip(shown.get(place).copied().flatten());
        let Some((counted, known)) = both else {
            return Vec::new();
        };
        let of_pair = counted
            .pair
            .all()
            .map(|effect| row(counted, effect, &known));
        let of_pair = of_pair.filter(|row| kept.has_row(place, &row.key()));
        let mut rows: Vec<Row> = of_pair.collect();
        rows.sort_by(by_content);
        rows
    };
    let mut found = Rows::default();
    let places = in_order(pairs, rows_of);
    // Exactly as long as they become, since they are what takes the memory of a study.
    let n_rows = places.iter().map(|place| rows_of(*place).len()).sum();
    found.rows.reserve_exact(n_rows);
    found.pairs.reserve_exact(n_rows);
    let mut before = None;
    let (mut group, mut pair) = (0, 0);
    for place in places {
        let player = pairs.get(place).map(|counted| counted.group_order);
        (group, pair) = if player == before {
            (group, pair + 1)
        } else {
            (group + 1, 1)
        };
        before = player;
        for row in rows_of(place) {
            found.rows.push(Row { group, pair, ..row });
            found.pairs.push(place);
        }
    }
    found.frames = named_frames(pairs, &mut found);
    found
}

/// What is shown of each pair; `None` of those that are not kept.
fn shown(pairs: &[CountedPair], kept: &Kept, minimum_players: usize) -> Vec<Option<Known>> {
    let places: Vec<&Vec<usize>> = kept.of_player.values().collect();
    let players: Vec<Player> = places
        .iter()
        .map(|places| {
            let first = places.first().and_then(|place| pairs.get(*place));
            let known = places.iter().filter_map(|place| kept.known.get(*place));
            Player {
                hash: first
                    .map(|counted| counted.hiding_order)
                    .unwrap_or_default(),
                pairs: known.copied().collect(),
            }
        })
        .collect();
    let mut sharing: BTreeMap<Vec<GapBand>, Vec<usize>> = BTreeMap::new();
    for (player, places) in places.iter().enumerate() {
        let bands = bands_of(pairs, places);
        sharing.entry(bands).or_default().push(player);
    }
    let mut shown = vec![None; pairs.len()];
    for members in sharing.into_values() {
        for class in alike::classes(&players, members, Fact::ALL.len(), minimum_players) {
            let means = mean_gaps(&players, &class.members);
            for member in &class.members {
                let pairs = players.get(*member).map(|player| player.pairs.as_slice());
                let places = places.get(*member).map(|places| places.as_slice());
                let of_pairs = pairs.unwrap_or_default().iter().zip(&means);
                for (place, (known, mean)) in places.unwrap_or_default().iter().zip(of_pairs) {
                    if let Some(shown) = shown.get_mut(*place) {
                        *shown = Some(as_shown(known, &class.shown, *mean));
                    }
                }
            }
        }
    }
    shown
}

fn as_shown(known: &Known, is_shown: &[bool], mean_gap: i32) -> Known {
    let mut shown = *known;
    for (value, is_shown) in shown.iter_mut().zip(is_shown) {
        if !is_shown {
            *value = None;
        }
    }
    if let Some(gap) = shown.get_mut(Fact::Gap.place()) {
        *gap = gap.or(Some(mean_gap));
    }
    shown
}

/// The mean gap over the players of a class, to a whole pound, of each of their pairs in turn
/// (microaggregation; Domingo-Ferrer & Mateo-Sanz 2002, IEEE Transactions on Knowledge and Data
/// Engineering 14:189). In place of the gap itself it leaves the slope of a linear regression where
/// it is but for the rounding, because what it is off by is unrelated to it (Berkson 1950, Journal of
/// the American Statistical Association 45:164).
#[expect(clippy::cast_precision_loss, reason = "gaps of at most 85 lb")]
fn mean_gaps(players: &[Player], members: &[usize]) -> Vec<i32> {
    let pairs = |member: &usize| players.get(*member).map(|player| player.pairs.as_slice());
    let n_pairs = members.first().and_then(pairs).map_or(0, <[Known]>::len);
    (0..n_pairs)
        .map(|pair| {
            let gaps = members.iter().filter_map(|member| {
                let known = pairs(member)?.get(pair)?;
                known.get(Fact::Gap.place()).copied().flatten()
            });
            let sum: i64 = gaps.map(i64::from).sum();
            whole(sum as f64 / members.len() as f64)
        })
        .collect()
}

fn row(counted: &CountedPair, effect: &Effect, known: &Known) -> Row {
    let value = |fact: Fact| known.get(fact.place()).copied().flatten();
    let is_true = |fact: Fact| value(fact).map(|number| number == 1);
    let pace = counted.moderators.partner_pace;
    Row {
        group: 0,
        pair: 0,
        band: counted.pair.band,
        gap_lb: value(Fact::Gap).unwrap_or_default(),
        outcome: effect.outcome,
        class: effect.class,
        estimate: to_tenth(effect.estimate),
        variance: to_three_digits(effect.variance),
        imputed_variance: to_three_digits(effect.imputed_variance),
        source: effect.source,
        circumstances: Circumstances {
            planned: is_true(Fact::Planned),
            order: value(Fact::Order).and_then(|number| value_of(Order::ALL, number)),
            blinded: is_true(Fact::Blinded),
            sessions: value(Fact::Sessions).and_then(sessions),
            partner_pace_kmh: pace.map(whole),
            string_age_hours: value(Fact::StringAge),
            level: value(Fact::Level).and_then(|number| value_of(LevelBand::ALL, number)),
            string_family: value(Fact::StringFamily)
                .and_then(|number| value_of(StringFamily::ALL, number)),
            month: value(Fact::Month).and_then(Month::of_number),
            // Its place among all names, until those that are shown are numbered.
            frame: value(Fact::Frame).and_then(|number| u32::try_from(number).ok()),
        },
    }
}

/// Numbers the frames that rows show in the order of their names, and gives the names: each as most
/// of those who share it spell it.
fn named_frames(pairs: &[CountedPair], found: &mut Rows) -> Vec<String> {
    let mut spellings: BTreeMap<u32, BTreeMap<&str, usize>> = BTreeMap::new();
    for (row, place) in found.rows.iter().zip(&found.pairs) {
        let name = pairs
            .get(*place)
            .and_then(|counted| counted.frame.as_deref());
        if let (Some(frame), Some(name)) = (row.circumstances.frame, name) {
            let times = spellings.entry(frame).or_default().entry(name.trim());
            *times.or_default() += 1;
        }
    }
    let most_used = |spellings: &BTreeMap<&str, usize>| {
        let most = spellings.iter().rev().max_by_key(|(_, times)| **times);
        most.map(|(name, _)| (*name).to_owned()).unwrap_or_default()
    };
    let named: BTreeMap<u32, String> = spellings
        .iter()
        .map(|(frame, spellings)| (*frame, most_used(spellings)))
        .collect();
    let mut names: Vec<String> = named.values().cloned().collect();
    names.sort_unstable();
    for row in &mut found.rows {
        let frame = &mut row.circumstances.frame;
        let name = frame.and_then(|frame| named.get(&frame));
        let place = name.and_then(|name| names.binary_search(name).ok());
        *frame = place.and_then(|place| u32::try_from(place).ok());
    }
    names
}

/// What orders rows of one pair: nothing that they do not show. Estimates in the order of their bits,
/// which is some fixed order and no more is needed.
fn by_content(a: &Row, b: &Row) -> Ordering {
    let content = |row: &Row| {
        let figures = [row.estimate.to_bits(), row.variance.to_bits()];
        (row.key(), row.gap_lb, figures)
    };
    content(a).cmp(&content(b))
}

/// The places of pairs with rows, by the numbering of their players. Pairs of one player are told
/// apart by what is shown of them; where that is the same, by which came first, which then cannot be
/// seen.
fn in_order(pairs: &[CountedPair], rows_of: impl Fn(usize) -> Vec<Row>) -> Vec<usize> {
    let player = |place: &usize| pairs.get(*place).map(|counted| counted.group_order);
    let mut places: Vec<usize> = (0..pairs.len()).collect();
    places.retain(|place| !rows_of(*place).is_empty());
    places.sort_by_key(player);
    for of_player in places.chunk_by_mut(|a, b| player(a) == player(b)) {
        if 1 < of_player.len() {
            of_player.sort_by(|a, b| {
                let (a, b) = (rows_of(*a), rows_of(*b));
                let orders = a.iter().zip(&b).map(|(a, b)| by_content(a, b));
                let first = orders.into_iter().find(|order| order.is_ne());
                first.unwrap_or_else(|| a.len().cmp(&b.len()))
            });
        }
    }
    places
}

#[cfg(test)]
mod tests;
