//! What is shown of pairs besides their figures, so that enough players are alike in it.

use super::alike::{self, Player};
use super::facts::{Fact, Known, whole};
use crate::protocol::GapBand;
use std::collections::BTreeMap;

/// A player with pairs that have rows.
pub(super) struct Owner {
    /// The player, with what is known of each pair.
    pub(super) player: Player,
    /// The gap band of each pair.
    pub(super) bands: Vec<GapBand>,
    /// The place of each pair.
    pub(super) places: Vec<u32>,
}

/// What is shown of each of `n_pairs` pairs; `None` of those that nobody here owns.
pub(super) fn shown(
    owners: Vec<Owner>,
    n_pairs: usize,
    minimum_players: usize,
) -> Vec<Option<Known>> {
    let mut sharing: BTreeMap<Vec<GapBand>, Vec<usize>> = BTreeMap::new();
    let (mut players, mut places) = (Vec::new(), Vec::new());
    for (number, owner) in owners.into_iter().enumerate() {
        sharing.entry(owner.bands).or_default().push(number);
        players.push(owner.player);
        places.push(owner.places);
    }
    let mut shown = vec![None; n_pairs];
    for members in sharing.into_values() {
        for class in alike::classes(&players, members, Fact::ALL.len(), minimum_players) {
            let means = mean_gaps(&players, &class.members);
            for member in &class.members {
                let pairs = players.get(*member).map(|player| player.pairs.as_slice());
                let places = places.get(*member).map(Vec::as_slice);
                let of_pairs = pairs.unwrap_or_default().iter().zip(&means);
                for (place, (known, mean)) in places.unwrap_or_default().iter().zip(of_pairs) {
                    if let Some(shown) = shown.get_mut(*place as usize) {
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

#[cfg(test)]
mod tests;
