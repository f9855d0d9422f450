//! Which analyses may have rows at all.
//!
//! An analysis of fewer than the minimum of players is suppressed. Classes of shots add up: all
//! forehands are those crosscourt, down the line and to the middle, and all shots down the line are
//! those of every stroke. Where exactly one part of a sum that is shown were suppressed, the figures
//! of each player in the others would give it away, so another part is suppressed with it, the one
//! with the fewest players, and that again until nothing can be worked out (complementary
//! suppression; Hundepool et al. 2012, "Statistical Disclosure Control", ch. 4).

use crate::findings::Key;
use crate::protocol::AnalysisRules;
use crate::vocabulary::{Direction, ShotClass, Stroke};
use std::collections::{BTreeMap, BTreeSet};

/// Analyses with and without rows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Cells {
    /// Those that have rows.
    pub(super) open: BTreeSet<Key>,
    /// How many were suppressed only because another one could have been worked out.
    pub(super) n_complementary: usize,
}

/// Decides which analyses have rows, from the number of players in each.
pub(super) fn open(players: &BTreeMap<Key, usize>, rules: &AnalysisRules) -> Cells {
    let is_enough = |n: &usize| rules.minimum_players <= *n;
    let mut open: BTreeSet<Key> = players
        .iter()
        .filter_map(|(key, n)| is_enough(n).then_some(*key))
        .collect();
    let mut n_complementary = 0;
    while let Some(key) = players
        .keys()
        .flat_map(sums)
        .find_map(|sum| given_away(&sum, players, &open, rules))
    {
        open.remove(&key);
        n_complementary += 1;
    }
    Cells {
        open,
        n_complementary,
    }
}

/// The sums that an analysis is the total of.
fn sums(total: &Key) -> Vec<Sum> {
    let class = total.class;
    let part = |stroke, direction| Key {
        class: ShotClass { stroke, direction },
        ..*total
    };
    let mut sums = Vec::new();
    if class.direction == Direction::All {
        let directions = Direction::ALL
            .iter()
            .filter(|part| **part != Direction::All);
        sums.push(Sum {
            total: *total,
            parts: directions.map(|part_| part(class.stroke, *part_)).collect(),
        });
    }
    if class.stroke == Stroke::All {
        let strokes = Stroke::ALL.iter().filter(|part| **part != Stroke::All);
        sums.push(Sum {
            total: *total,
            parts: strokes.map(|part_| part(*part_, class.direction)).collect(),
        });
    }
    sums
}

/// A class of shots with the classes that it is made of.
struct Sum {
    total: Key,
    parts: Vec<Key>,
}

/// What has to be suppressed so that a sum gives nothing away; `None` when it does not.
fn given_away(
    sum: &Sum,
    players: &BTreeMap<Key, usize>,
    open: &BTreeSet<Key>,
    rules: &AnalysisRules,
) -> Option<Key> {
    let sent = |key: &&Key| players.contains_key(key);
    let parts: Vec<&Key> = sum.parts.iter().filter(sent).collect();
    let shown: Vec<&Key> = parts
        .iter()
        .copied()
        .filter(|key| open.contains(key))
        .collect();
    let is_given_away =
        open.contains(&sum.total) && shown.len() + 1 == parts.len() && !shown.is_empty();
    if !is_given_away {
        return None;
    }
    let is_declared = |key: &Key| {
        let mut primary = rules.primary.iter();
        primary.any(|primary| (primary.outcome, primary.class) == (key.outcome, key.class))
    };
    // What the protocol asks goes last.
    let members = shown.into_iter().chain([&sum.total]);
    let members = members.map(|key| (is_declared(key), players.get(key), *key));
    members.min().map(|(_, _, key)| key)
}

#[cfg(test)]
mod tests;
