//! Players who cannot be told apart by what others may know of them.
//!
//! k-anonymity (Samarati 2001, IEEE Transactions on Knowledge and Data Engineering 13:1010; Sweeney
//! 2002, International Journal of Uncertainty, Fuzziness and Knowledge-Based Systems 10:557): every
//! combination of published facts is that of at least k players. Reached from the top (as `LeFevre`,
//! `DeWitt` & Ramakrishnan 2006, "Mondrian multidimensional k-anonymity", ICDE): all players with
//! pairs in the same gap bands begin as one class; fact after fact, in a fixed order, a class is
//! divided by the fact's value wherever at least k share it, and the fact is hidden of the rest.
//! The rest is k players or nobody, so whoever knows a rare value is left with k to choose from.
//!
//! A rest that is too small is filled up with players whose value could have been shown. They are
//! chosen by a keyed hash that is the same in every batch, so that laying batches side by side does
//! not show who was only filled in.
//!
//! The order is fixed, not chosen by the data, so that a later publication mostly divides further
//! what an earlier one divided, instead of dividing across it.

use super::facts::Known;
use std::collections::BTreeMap;

/// A player: a keyed hash that is the same in every batch, and what is known of each of their
/// pairs.
#[derive(Clone, Debug)]
pub(super) struct Player {
    pub(super) hash: [u8; 32],
    /// In an order that the same facts always give.
    pub(super) pairs: Vec<Known>,
}

/// Players who are alike in everything that is shown of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Class {
    /// Their places among all players.
    pub(super) members: Vec<usize>,
    /// For each fact whether it is shown.
    pub(super) shown: Vec<bool>,
}

/// Divides players with pairs in the same bands, at least `minimum` of them, by each of `n_facts`
/// facts in turn.
pub(super) fn classes(
    players: &[Player],
    members: Vec<usize>,
    n_facts: usize,
    minimum: usize,
) -> Vec<Class> {
    let mut classes = vec![Class {
        members,
        shown: Vec::new(),
    }];
    for fact in 0..n_facts {
        classes = classes
            .into_iter()
            .flat_map(|class| divided(players, class, fact, minimum))
            .collect();
    }
    classes
}

/// The values of one fact of all pairs of a player.
type Values = Vec<Option<i32>>;

fn divided(players: &[Player], class: Class, fact: usize, minimum: usize) -> Vec<Class> {
    let mut sharing: BTreeMap<Values, Vec<usize>> = BTreeMap::new();
    let mut rest = Vec::new();
    for member in class.members {
        let pairs = players.get(member).map(|player| player.pairs.as_slice());
        let values = pairs.unwrap_or_default().iter();
        let values: Values = values
            .map(|known| known.get(fact).copied().flatten())
            .collect();
        if values.iter().all(Option::is_none) {
            rest.push(member);
        } else {
            sharing.entry(values).or_default().push(member);
        }
    }
    let mut shown = Vec::new();
    for members in sharing.into_values() {
        if members.len() < minimum {
            rest.extend(members);
        } else {
            shown.push(members);
        }
    }
    fill_up(players, &mut rest, &mut shown, minimum);
    let with = |members: Vec<usize>, is_shown: bool| Class {
        members,
        shown: [class.shown.as_slice(), &[is_shown]].concat(),
    };
    let mut classes: Vec<Class> = shown
        .into_iter()
        .map(|members| with(members, true))
        .collect();
    if !rest.is_empty() {
        classes.push(with(rest, false));
    }
    classes
}

/// Makes the rest either empty or as large as the minimum: from those who can spare players, the
/// largest first, and where nobody can, by giving up the smallest.
fn fill_up(players: &[Player], rest: &mut Vec<usize>, shown: &mut Vec<Vec<usize>>, minimum: usize) {
    let hash = |member: &usize| players.get(*member).map(|player| player.hash);
    for members in shown.iter_mut() {
        members.sort_by_key(hash);
    }
    while !rest.is_empty() && rest.len() < minimum {
        // The first of the largest, and of the smallest, in the order of their values.
        let largest = shown.iter_mut().rev().max_by_key(|members| members.len());
        match largest {
            Some(members) if minimum < members.len() => rest.push(members.remove(0)),
            Some(_) => {
                let smallest = (0..shown.len()).min_by_key(|place| shown.get(*place).map(Vec::len));
                rest.extend(
                    smallest
                        .map(|place| shown.remove(place))
                        .unwrap_or_default(),
                );
            }
            None => return,
        }
    }
}

#[cfg(test)]
mod tests;
