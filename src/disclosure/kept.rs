//! Which pairs have rows: those of players who agreed, in analyses that may be shown, of players
//! whose gap bands enough others share.
//!
//! The bands of a player's pairs cannot be coarsened, since they say which analysis a row belongs
//! to. So where fewer than the minimum of players have pairs in the same bands, as with three pairs
//! in three bands, pairs are left out until they do: first of those with most pairs, each time one,
//! so that what stays is shared by most.

use super::cells::{self, Cells};
use super::facts::{self, Known};
use super::{CountedPair, has_consent};
use crate::findings::Key;
use crate::protocol::{AnalysisRules, GapBand};
use std::collections::{BTreeMap, BTreeSet};

/// The pairs that have rows.
#[derive(Clone, Debug, Default)]
pub struct Kept {
    /// For each pair, in the order given, whether it has rows.
    pub(super) is_kept: Vec<bool>,
    /// Analyses that have rows.
    pub(super) cells: Cells,
    /// What is known of each pair, coarsened.
    pub(super) known: Vec<Known>,
    /// Places of the kept pairs of each player, by bands and by what is known of them; the key is
    /// the player's number.
    pub(super) of_player: BTreeMap<usize, Vec<usize>>,
}

impl Kept {
    /// Whether each pair has rows, in the order given.
    #[must_use]
    pub fn pairs(&self) -> &[bool] {
        &self.is_kept
    }

    /// Whether a pair has a row in an analysis, if it has an effect in it.
    pub(super) fn has_row(&self, place: usize, key: &Key) -> bool {
        self.is_kept.get(place) == Some(&true) && self.cells.open.contains(key)
    }
}

/// Decides which pairs have rows. Estimates and variances have no part in it.
#[must_use]
pub fn kept(pairs: &[CountedPair], rules: &AnalysisRules) -> Kept {
    let frames = frame_names(pairs);
    let known: Vec<Known> = pairs
        .iter()
        .map(|counted| facts::known(counted, &frames))
        .collect();
    let mut kept = Kept {
        is_kept: pairs.iter().map(has_consent).collect(),
        known,
        ..Kept::default()
    };
    loop {
        kept.cells = cells::open(&players_in(pairs, &kept.is_kept), rules);
        for (place, counted) in pairs.iter().enumerate() {
            let mut keys = counted.keys();
            if !keys.any(|key| kept.cells.open.contains(&key))
                && let Some(is_kept) = kept.is_kept.get_mut(place)
            {
                *is_kept = false;
            }
        }
        kept.of_player = by_player(pairs, &kept);
        let dropped = too_rare(pairs, &kept.of_player, rules.minimum_players);
        if dropped.is_empty() {
            return kept;
        }
        for place in dropped {
            if let Some(is_kept) = kept.is_kept.get_mut(place) {
                *is_kept = false;
            }
        }
    }
}

/// Folded names of the frames of everybody who agreed, sorted.
pub(super) fn frame_names(pairs: &[CountedPair]) -> Vec<String> {
    let agreed = pairs.iter().filter(|counted| has_consent(counted));
    let names: BTreeSet<String> = agreed
        .filter_map(|counted| counted.frame.as_deref().map(facts::folded))
        .collect();
    names.into_iter().collect()
}

fn players_in(pairs: &[CountedPair], is_kept: &[bool]) -> BTreeMap<Key, usize> {
    let mut players: BTreeMap<Key, Vec<usize>> = BTreeMap::new();
    let kept = pairs.iter().zip(is_kept).filter(|(_, is_kept)| **is_kept);
    for (counted, _) in kept {
        for key in counted.keys() {
            players.entry(key).or_default().push(counted.player);
        }
    }
    let n_different = |mut players: Vec<usize>| {
        players.sort_unstable();
        players.dedup();
        players.len()
    };
    let counted = players.into_iter();
    counted
        .map(|(key, players)| (key, n_different(players)))
        .collect()
}

fn by_player(pairs: &[CountedPair], kept: &Kept) -> BTreeMap<usize, Vec<usize>> {
    let mut of_player: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (place, (counted, is_kept)) in pairs.iter().zip(&kept.is_kept).enumerate() {
        if *is_kept {
            of_player.entry(counted.player).or_default().push(place);
        }
    }
    for places in of_player.values_mut() {
        // Pairs alike in everything known are told apart by when they came, which then cannot be
        // seen.
        places.sort_by_key(|place| {
            let band = pairs.get(*place).map(|counted| counted.pair.band);
            (band, kept.known.get(*place).copied())
        });
    }
    of_player
}

/// The gap bands of a player's pairs, sorted.
pub(super) fn bands_of(pairs: &[CountedPair], places: &[usize]) -> Vec<GapBand> {
    let counted = places.iter().filter_map(|place| pairs.get(*place));
    counted.map(|counted| counted.pair.band).collect()
}

/// One pair of each player whose bands too few share, of those with most pairs alone: leaving one
/// out may make the bands of another player common enough.
fn too_rare(
    pairs: &[CountedPair],
    of_player: &BTreeMap<usize, Vec<usize>>,
    minimum_players: usize,
) -> Vec<usize> {
    let mut sharing: BTreeMap<Vec<GapBand>, Vec<&[usize]>> = BTreeMap::new();
    for places in of_player.values() {
        let bands = bands_of(pairs, places);
        sharing.entry(bands).or_default().push(places);
    }
    let is_rare = |players: &Vec<&[usize]>| players.len() < minimum_players;
    let rare = || sharing.iter().filter(|(_, players)| is_rare(players));
    let most_pairs = rare().map(|(bands, _)| bands.len()).max();
    let worst = rare().filter(|(bands, _)| Some(bands.len()) == most_pairs);
    worst
        .flat_map(|(bands, players)| {
            let without = |left_out: usize| -> Vec<GapBand> {
                let mut others = bands.clone();
                others.remove(left_out);
                others
            };
            let n_sharing = |left_out: &usize| sharing.get(&without(*left_out)).map(Vec::len);
            // The last of several: the wider gap, since small gaps are the commoner ones.
            let left_out = (0..bands.len()).max_by_key(n_sharing).unwrap_or_default();
            players
                .iter()
                .filter_map(move |places| places.get(left_out))
        })
        .copied()
        .collect()
}
