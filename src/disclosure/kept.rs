//! Which pairs have rows: those of players who agreed, in analyses that may be shown, of players
//! whose gap bands enough others share.
//!
//! The bands of a player's pairs cannot be coarsened, since they say which analysis a row belongs
//! to. So where fewer than the minimum of players have pairs in the same bands, as with three pairs
//! in three bands, pairs are left out until they do: first of those with most pairs, each time one,
//! so that what stays is shared by most.

use super::alike::Player;
use super::cells::{self, Cells};
use super::facts::{self, Fact, Known};
use super::shown::{self, Owner};
use super::{CountedPair, has_consent};
use crate::findings::Key;
use crate::protocol::{AnalysisRules, GapBand};
use crate::vocabulary::{Outcome, ShotClass};
use std::collections::{BTreeMap, BTreeSet};

/// Everybody who is counted, with what decides who has rows: no figures.
#[derive(Debug, Default)]
pub struct Census {
    members: Vec<Member>,
    /// Which effects pairs have, each list once.
    effects: Numbered<Vec<(Outcome, ShotClass)>>,
    /// Folded names of frames.
    frames: Numbered<String>,
}

/// A counted pair.
#[derive(Debug)]
struct Member {
    /// A number that is the same for all pairs of one player.
    player: usize,
    group_order: [u8; 32],
    hiding_order: [u8; 32],
    agreed: bool,
    band: GapBand,
    /// The number of the list of its effects.
    effects: usize,
    /// With the number of its frame.
    known: Known,
}

/// The pairs that have rows.
#[derive(Clone, Debug, Default)]
pub struct Kept {
    /// For each pair, in the order given, whether it has rows.
    is_kept: Vec<bool>,
    /// Analyses that have rows.
    cells: Cells,
    /// What is shown of each pair that has rows.
    shown: Vec<Option<Known>>,
    /// The place of each pair's player in the numbering of groups.
    groups: Vec<u32>,
    /// Pairs whose players agreed to rows.
    n_agreed: usize,
    /// How many rows there will be.
    n_rows: usize,
    /// How many effects there are in each analysis, with a row or without.
    effects: BTreeMap<Key, usize>,
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

    /// What is shown of a pair; `None` when it has no rows.
    pub(super) fn shown(&self, place: usize) -> Option<&Known> {
        self.shown.get(place)?.as_ref()
    }

    /// What players with rows are numbered by: the same for all pairs of one player.
    pub(super) fn group(&self, place: usize) -> Option<u32> {
        self.groups.get(place).copied()
    }

    /// How many pairs will have rows, and how many.
    pub(super) fn expected(&self) -> (usize, usize) {
        let kept = self.is_kept.iter().filter(|is_kept| **is_kept);
        (kept.count(), self.n_rows)
    }

    /// How many effects there are in each analysis, with a row or without.
    pub(super) const fn effects(&self) -> &BTreeMap<Key, usize> {
        &self.effects
    }

    /// How many pairs have no row although their players agreed, rounded down to a multiple of the
    /// minimum.
    #[must_use]
    pub fn left_out(&self, rules: &AnalysisRules) -> usize {
        let (n_kept, _) = self.expected();
        let minimum = rules.minimum_players.max(1);
        self.n_agreed.saturating_sub(n_kept) / minimum * minimum
    }
}

impl Census {
    /// Counts one more pair. They are given in the order in which they came.
    pub fn count(&mut self, counted: &CountedPair) {
        let effects = counted.pair.all();
        let effects = effects.map(|effect| (effect.outcome, effect.class));
        let frame = counted.frame.as_deref().map(facts::folded);
        let frame = frame.map(|frame| self.frames.number(frame));
        self.members.push(Member {
            player: counted.player,
            group_order: counted.group_order,
            hiding_order: counted.hiding_order,
            agreed: has_consent(counted),
            band: counted.pair.band,
            effects: self.effects.number(effects.collect()),
            known: facts::known(counted, frame),
        });
    }

    /// Decides which pairs have rows, and what is shown of them. Estimates and variances have no
    /// part in it.
    #[must_use]
    pub fn kept(mut self, rules: &AnalysisRules) -> Kept {
        self.name_frames_in_order();
        let mut is_kept: Vec<bool> = self.members.iter().map(|member| member.agreed).collect();
        let n_agreed = is_kept.iter().filter(|agreed| **agreed).count();
        let effects = self.effects.in_order();
        let (cells, of_player) = loop {
            let cells = cells::open(&self.players_in(&effects, &is_kept), rules);
            for (member, is_kept) in self.members.iter().zip(&mut is_kept) {
                *is_kept &= 0 < n_rows(member, &effects, &cells);
            }
            let of_player = self.by_player(&is_kept);
            let dropped = self.too_rare(&of_player, rules.minimum_players);
            if dropped.is_empty() {
                break (cells, of_player);
            }
            for place in dropped {
                if let Some(is_kept) = is_kept.get_mut(place as usize) {
                    *is_kept = false;
                }
            }
        };
        let kept = self.members.iter().zip(&is_kept);
        let kept = kept.filter(|(_, is_kept)| **is_kept);
        let n_rows = kept
            .map(|(member, _)| n_rows(member, &effects, &cells))
            .sum();
        let n_effects = self.n_effects(&effects);
        let owners = of_player.into_values();
        let owners: Vec<Owner> = owners.map(|places| self.owner(places)).collect();
        let groups = self.groups();
        let n_pairs = self.members.len();
        // Copies of what is known take most of the memory.
        drop(self);
        Kept {
            is_kept,
            cells,
            shown: shown::shown(owners, n_pairs, rules.minimum_players),
            groups,
            n_agreed,
            n_rows,
            effects: n_effects,
        }
    }

    /// Puts in place of the number of each frame its place among the names of those who agreed.
    fn name_frames_in_order(&mut self) {
        let number = |known: &Known| known.get(Fact::Frame.place()).copied().flatten();
        let agreed = self.members.iter().filter(|member| member.agreed);
        let used: BTreeSet<i32> = agreed.filter_map(|member| number(&member.known)).collect();
        let by_name = self.frames.0.values();
        let used = by_name.filter_map(|number| {
            i32::try_from(*number)
                .ok()
                .filter(|number| used.contains(number))
        });
        let places: BTreeMap<i32, i32> = used.zip(0..).collect();
        for member in &mut self.members {
            let place = number(&member.known).and_then(|number| places.get(&number));
            if let Some(frame) = member.known.get_mut(Fact::Frame.place()) {
                *frame = place.copied();
            }
        }
    }

    fn players_in(
        &self,
        effects: &[&Vec<(Outcome, ShotClass)>],
        is_kept: &[bool],
    ) -> BTreeMap<Key, usize> {
        let mut alike: BTreeMap<(GapBand, usize), Vec<usize>> = BTreeMap::new();
        let kept = self.members.iter().zip(is_kept);
        for (member, _) in kept.filter(|(_, is_kept)| **is_kept) {
            let players = alike.entry((member.band, member.effects)).or_default();
            players.push(member.player);
        }
        let mut of_key: BTreeMap<Key, Vec<&[usize]>> = BTreeMap::new();
        for ((band, listed), players) in &alike {
            for (outcome, class) in effects.get(*listed).copied().into_iter().flatten() {
                let of_key = of_key.entry(key(*outcome, *class, *band)).or_default();
                of_key.push(players);
            }
        }
        let n_different = |players: Vec<&[usize]>| {
            let mut players = players.concat();
            players.sort_unstable();
            players.dedup();
            players.len()
        };
        let of_key = of_key.into_iter();
        of_key
            .map(|(key, players)| (key, n_different(players)))
            .collect()
    }

    /// How many pairs have an effect in each analysis.
    fn n_effects(&self, effects: &[&Vec<(Outcome, ShotClass)>]) -> BTreeMap<Key, usize> {
        let mut alike: BTreeMap<(GapBand, usize), usize> = BTreeMap::new();
        for member in &self.members {
            *alike.entry((member.band, member.effects)).or_default() += 1;
        }
        let mut of_key = BTreeMap::new();
        for ((band, listed), n) in alike {
            for (outcome, class) in effects.get(listed).copied().into_iter().flatten() {
                *of_key.entry(key(*outcome, *class, band)).or_default() += n;
            }
        }
        of_key
    }

    /// Places of the kept pairs of each player, by bands and by what is known of them; the key is the
    /// player's number.
    fn by_player(&self, is_kept: &[bool]) -> BTreeMap<usize, Vec<u32>> {
        let mut of_player: BTreeMap<usize, Vec<u32>> = BTreeMap::new();
        for ((place, member), is_kept) in (0..).zip(&self.members).zip(is_kept) {
            if *is_kept {
                of_player.entry(member.player).or_default().push(place);
            }
        }
        for places in of_player.values_mut() {
            // Pairs alike in everything known are told apart by when they came, which then cannot be
            // seen.
            places.sort_by_key(|place| {
                let member = self.members.get(*place as usize);
                member.map(|member| (member.band, member.known))
            });
        }
        of_player
    }

    /// The members at these places.
    fn at<'a>(&'a self, places: &'a [u32]) -> impl Iterator<Item = &'a Member> {
        let places = places.iter();
        places.filter_map(|place| self.members.get(*place as usize))
    }

    /// One pair of each player whose bands too few share, of those with most pairs alone: leaving one
    /// out may make the bands of another player common enough.
    fn too_rare(&self, of_player: &BTreeMap<usize, Vec<u32>>, minimum_players: usize) -> Vec<u32> {
        let mut sharing: BTreeMap<Vec<GapBand>, Vec<&[u32]>> = BTreeMap::new();
        for places in of_player.values() {
            let bands = self.at(places).map(|member| member.band);
            sharing.entry(bands.collect()).or_default().push(places);
        }
        let is_rare = |players: &Vec<&[u32]>| players.len() < minimum_players;
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

    fn owner(&self, places: Vec<u32>) -> Owner {
        let hash = self.at(&places).next().map(|member| member.hiding_order);
        Owner {
            player: Player {
                hash: hash.unwrap_or_default(),
                pairs: self.at(&places).map(|member| member.known).collect(),
            },
            bands: self.at(&places).map(|member| member.band).collect(),
            places,
        }
    }

    /// The place of each pair's player in the order of their keyed hashes.
    fn groups(&self) -> Vec<u32> {
        let mut in_order: Vec<([u8; 32], u32)> = (0..)
            .zip(&self.members)
            .map(|(place, member)| (member.group_order, place))
            .collect();
        in_order.sort_unstable();
        let mut groups = vec![0; self.members.len()];
        let of_players = in_order.chunk_by(|a, b| a.0 == b.0);
        for (group, of_player) in (0..).zip(of_players) {
            for (_, place) in of_player {
                if let Some(of_pair) = groups.get_mut(*place as usize) {
                    *of_pair = group;
                }
            }
        }
        groups
    }
}

/// How many of the effects of a pair are in analyses that have rows.
fn n_rows(member: &Member, effects: &[&Vec<(Outcome, ShotClass)>], cells: &Cells) -> usize {
    let is_open = |(outcome, class): &&(Outcome, ShotClass)| {
        cells.open.contains(&key(*outcome, *class, member.band))
    };
    let listed = effects.get(member.effects).copied();
    listed.into_iter().flatten().filter(is_open).count()
}

const fn key(outcome: Outcome, class: ShotClass, band: GapBand) -> Key {
    Key {
        outcome,
        class,
        band,
    }
}

/// Things numbered in the order in which they first come.
#[derive(Debug)]
struct Numbered<T>(BTreeMap<T, usize>);

impl<T> Default for Numbered<T> {
    fn default() -> Self {
        Self(BTreeMap::new())
    }
}

impl<T: Ord> Numbered<T> {
    fn number(&mut self, thing: T) -> usize {
        let next = self.0.len();
        *self.0.entry(thing).or_insert(next)
    }

    /// The things by their numbers.
    fn in_order(&self) -> Vec<&T> {
        let mut things: Vec<(usize, &T)> = self.0.iter().map(|(thing, n)| (*n, thing)).collect();
        things.sort_unstable_by_key(|(number, _)| *number);
        things.into_iter().map(|(_, thing)| thing).collect()
    }
}
