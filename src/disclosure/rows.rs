//! From kept pairs to published rows.

use super::alike::{self, Player};
use super::facts::{Fact, Known, sessions, value_of, whole};
use super::kept::{Kept, bands_of};
use super::{CountedPair, to_tenth, to_three_digits};
use crate::effects::Effect;
use crate::findings::{Circumstances, Key, LevelBand, Month, Order, Row};
use crate::protocol::{AnalysisRules, GapBand};
use crate::vocabulary::StringFamily;
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
    let mut rows: Vec<Unnumbered> = Vec::new();
    for (place, counted) in pairs.iter().enumerate() {
        let Some(known) = shown.get(&place) else {
            continue;
        };
        let of_pair = counted.pair.all().map(|effect| row(counted, effect, known));
        let of_pair = of_pair.filter(|row| kept.has_row(place, &row.key()));
        rows.extend(of_pair.map(|row| Unnumbered {
            player: counted.group_order,
            place,
            row,
        }));
    }
    let frames = named_frames(pairs, &mut rows);
    in_order(&mut rows);
    let (rows, pairs) = numbered(rows);
    Rows {
        rows,
        pairs,
        frames,
    }
}

/// What is shown of each kept pair, by its place.
fn shown(pairs: &[CountedPair], kept: &Kept, minimum_players: usize) -> BTreeMap<usize, Known> {
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
    let mut shown = BTreeMap::new();
    for members in sharing.into_values() {
        for class in alike::classes(&players, members, Fact::ALL.len(), minimum_players) {
            let means = mean_gaps(&players, &class.members);
            for member in &class.members {
                let pairs = players.get(*member).map(|player| player.pairs.as_slice());
                let places = places.get(*member).map(|places| places.as_slice());
                let of_pairs = pairs.unwrap_or_default().iter().zip(&means);
                for (place, (known, mean)) in places.unwrap_or_default().iter().zip(of_pairs) {
                    shown.insert(*place, as_shown(known, &class.shown, *mean));
                }
            }
        }
    }
    shown
}

fn as_shown(known: &Known, is_shown: &[bool], mean_gap: i64) -> Known {
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
fn mean_gaps(players: &[Player], members: &[usize]) -> Vec<i64> {
    let pairs = |member: &usize| players.get(*member).map(|player| player.pairs.as_slice());
    let n_pairs = members.first().and_then(pairs).map_or(0, <[Known]>::len);
    (0..n_pairs)
        .map(|pair| {
            let gaps = members.iter().filter_map(|member| {
                let known = pairs(member)?.get(pair)?;
                known.get(Fact::Gap.place()).copied().flatten()
            });
            let sum: i64 = gaps.sum();
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
            sessions: value(Fact::Sessions).map(sessions),
            partner_pace_kmh: pace.map(whole),
            string_age_hours: value(Fact::StringAge),
            level: value(Fact::Level).and_then(|number| value_of(LevelBand::ALL, number)),
            string_family: value(Fact::StringFamily)
                .and_then(|number| value_of(StringFamily::ALL, number)),
            month: value(Fact::Month).and_then(Month::of_number),
            // Its place among all names, until those that are shown are numbered.
            frame: value(Fact::Frame).and_then(|number| usize::try_from(number).ok()),
        },
    }
}

/// A row before its player and pair have numbers.
struct Unnumbered {
    player: [u8; 32],
    /// Place of its pair among those given.
    place: usize,
    row: Row,
}

/// Numbers the frames that rows show in the order of their names, and gives the names: each as most
/// of those who share it spell it.
fn named_frames(pairs: &[CountedPair], rows: &mut [Unnumbered]) -> Vec<String> {
    let mut spellings: BTreeMap<usize, BTreeMap<&str, usize>> = BTreeMap::new();
    for row in rows.iter() {
        let name = pairs
            .get(row.place)
            .and_then(|counted| counted.frame.as_deref());
        if let (Some(frame), Some(name)) = (row.row.circumstances.frame, name) {
            let times = spellings.entry(frame).or_default().entry(name.trim());
            *times.or_default() += 1;
        }
    }
    let most_used = |spellings: &BTreeMap<&str, usize>| {
        let most = spellings.iter().rev().max_by_key(|(_, times)| **times);
        most.map(|(name, _)| (*name).to_owned()).unwrap_or_default()
    };
    let named: BTreeMap<usize, String> = spellings
        .iter()
        .map(|(frame, spellings)| (*frame, most_used(spellings)))
        .collect();
    let mut names: Vec<String> = named.values().cloned().collect();
    names.sort_unstable();
    for row in rows {
        let frame = &mut row.row.circumstances.frame;
        let name = frame.and_then(|frame| named.get(&frame));
        *frame = name.and_then(|name| names.binary_search(name).ok());
    }
    names
}

/// What orders rows: nothing that they do not show.
type Content = (Key, i64, [u64; 2]);

/// Estimates in the order of their bits, which is some fixed order and no more is needed.
fn content(row: &Row) -> Content {
    let figures = [row.estimate.to_bits(), row.variance.to_bits()];
    (row.key(), row.gap_lb, figures)
}

fn in_order(rows: &mut [Unnumbered]) {
    let mut contents: BTreeMap<usize, Vec<Content>> = BTreeMap::new();
    for row in rows.iter() {
        contents
            .entry(row.place)
            .or_default()
            .push(content(&row.row));
    }
    contents
        .values_mut()
        .for_each(|content| content.sort_unstable());
    // Pairs of one player are told apart by what is shown of them. Where that is the same, by which
    // came first, which then cannot be seen.
    rows.sort_by(|a, b| {
        let place = |row: &Unnumbered| (row.player, contents.get(&row.place), row.place);
        place(a)
            .cmp(&place(b))
            .then_with(|| content(&a.row).cmp(&content(&b.row)))
    });
}

fn numbered(rows: Vec<Unnumbered>) -> (Vec<Row>, Vec<usize>) {
    let (mut group, mut pair) = (0, 0);
    let mut before: Option<([u8; 32], usize)> = None;
    let mut numbered = Vec::with_capacity(rows.len());
    for unnumbered in rows {
        let this = (unnumbered.player, unnumbered.place);
        match before {
            Some((player, _)) if player != this.0 => (group, pair) = (group + 1, 1),
            Some((_, place)) if place != this.1 => pair += 1,
            Some(_) => {}
            None => (group, pair) = (1, 1),
        }
        before = Some(this);
        let row = Row {
            group,
            pair,
            ..unnumbered.row
        };
        numbered.push((row, unnumbered.place));
    }
    numbered.into_iter().unzip()
}

#[cfg(test)]
mod tests;
