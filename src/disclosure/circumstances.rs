//! What else may be known of a pair, coarsened, and when it came.
//!
//! - Differences of pace and of the strings' age are whole numbers; a level is one of three bands.
//! - A level, a string family, or that somebody did not know the string bed, stands in rows only
//!   where at least the protocol's minimum of consenting players share it. Each is looked at alone;
//!   combinations are not.
//! - Arrival is told in at most eight groups, each of at least the minimum of consenting players.

use super::CountedPair;
use crate::contribution::Moderators;
use crate::findings::{Circumstances, LevelBand, Order};
use std::collections::{BTreeMap, BTreeSet};

/// The project's choice: enough steps to see an estimate settle, too few to tell a day.
const MOST_ARRIVALS: usize = 8;

/// The circumstances of each pair, in the order of the pairs.
pub(super) fn of_pairs(pairs: &[&CountedPair], minimum_players: usize) -> Vec<Circumstances> {
    let mut known: Vec<Circumstances> = pairs
        .iter()
        .map(|counted| coarsened(&counted.moderators, counted.planned))
        .collect();
    hide_rare(pairs, &mut known, minimum_players, |known| &mut known.level);
    hide_rare(pairs, &mut known, minimum_players, |known| {
        &mut known.string_family
    });
    hide_rare(pairs, &mut known, minimum_players, |known| {
        &mut known.blinded
    });
    known
}

fn coarsened(moderators: &Moderators, planned: bool) -> Circumstances {
    Circumstances {
        planned,
        order: moderators.order.map(|order| {
            if 0.0 < order {
                Order::LooserFirst
            } else if order < 0.0 {
                Order::TighterFirst
            } else {
                Order::Balanced
            }
        }),
        blinded: moderators.blinded,
        partner_pace_kmh: moderators.partner_pace.map(whole),
        string_age_hours: moderators.bed_age_hours.map(|age| whole(age.to_f64())),
        level: moderators.itn.map(|itn| match itn {
            ..=3 => LevelBand::Strong,
            4..=6 => LevelBand::Middling,
            7.. => LevelBand::Beginning,
        }),
        string_family: moderators.mains_family,
    }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "intake bounds speeds by 500 km/h and ages by 500 hours"
)]
fn whole(value: f64) -> i64 {
    value.round() as i64
}

/// Takes a value away wherever too few players share it.
fn hide_rare<T: Copy + Ord>(
    pairs: &[&CountedPair],
    known: &mut [Circumstances],
    minimum_players: usize,
    column: impl Fn(&mut Circumstances) -> &mut Option<T>,
) {
    let mut players: BTreeMap<T, BTreeSet<usize>> = BTreeMap::new();
    for (counted, known) in pairs.iter().zip(known.iter_mut()) {
        if let Some(value) = *column(known) {
            players.entry(value).or_default().insert(counted.player);
        }
    }
    for known in known {
        let value = column(known);
        *value = value.filter(|value| {
            let sharing = players.get(value).map_or(0, BTreeSet::len);
            minimum_players <= sharing
        });
    }
}

/// The group of arrival of each pair, from 1; pairs are given in the order in which they came.
///
/// Only players with a row are counted, so that nobody else's coming or going shows in it.
pub(super) fn arrivals(pairs: &[&CountedPair], minimum_players: usize) -> Vec<usize> {
    let everyone: BTreeSet<usize> = pairs.iter().map(|counted| counted.player).collect();
    let share = everyone.len().div_ceil(MOST_ARRIVALS);
    let in_group = share.max(minimum_players).max(1);
    // What is left at the end may be too few to stand alone, and joins the group before.
    let last = (everyone.len() / in_group).max(1);
    let mut seen = BTreeSet::new();
    let groups = pairs.iter().map(|counted| {
        seen.insert(counted.player);
        ((seen.len() - 1) / in_group + 1).min(last)
    });
    groups.collect()
}

#[cfg(test)]
mod tests;
