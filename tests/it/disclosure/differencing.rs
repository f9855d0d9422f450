//! Publications side by side: subtracting one from another isolates nobody without a row.

use super::{consenting, counted, gathered, players, pooling_only};
use crate::corpus;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use tautpool::disclosure::{CountedPair, Outsiders, Shown};
use tautpool::findings::Key;
use tautpool::pooling::Level;

const K: usize = 5;

/// What each of several publications shows over everybody, one after the other.
fn one_after_another(publications: &[Vec<CountedPair>]) -> Vec<Vec<Shown>> {
    let rules = corpus::study().protocol.analysis;
    let mut before: BTreeMap<Key, Vec<Shown>> = BTreeMap::new();
    let mut all = Vec::new();
    for (batch, pairs) in (1..).zip(publications) {
        let everyone = gathered(pairs, &rules).everyone;
        let shown = everyone
            .shown(&rules, Level::NINETY_FIVE, batch, &before)
            .unwrap();
        for shown in &shown {
            let earlier = before.entry(shown.figure.key).or_default();
            if shown.figure.batch == batch {
                earlier.push(shown.clone());
            }
        }
        all.push(shown);
    }
    all
}

/// Players behind one of two figures and not, or not alike, behind the other.
fn between(one: &Outsiders, other: &Outsiders) -> usize {
    let changed: BTreeSet<u128> = one
        .symmetric_difference(other)
        .map(|outsider| outsider.player)
        .collect();
    changed.len()
}

/// Eight players with rows and thirty without, in one order.
fn crowd() -> Vec<CountedPair> {
    let pairs = [players(0, 8, consenting), players(8, 30, pooling_only)].concat();
    counted(&pairs, 1)
}

#[test]
fn a_figure_waits_until_enough_have_come_and_stays_meanwhile() {
    let crowd = crowd();
    let publications: Vec<Vec<CountedPair>> =
        [14, 15, 18, 19, 38].map(|n| crowd[..n].to_vec()).to_vec();
    let shown = one_after_another(&publications);
    let batches: Vec<i64> = shown.iter().map(|shown| shown[0].figure.batch).collect();
    // Six without a row, then seven, ten, eleven and thirty.
    assert_eq!(batches, [1, 1, 1, 4, 5]);
    assert_eq!(shown[0][0].figure, shown[2][0].figure);
}

#[test]
fn a_figure_goes_when_somebody_behind_it_has_gone() {
    let crowd = crowd();
    let all = crowd[..16].to_vec();
    let one_gone: Vec<CountedPair> = all
        .iter()
        .filter(|pair| pair.player != 9)
        .cloned()
        .collect();
    let mut one_mended = all.clone();
    one_mended[10].identity.version = 2;
    for next in [one_gone, one_mended] {
        let shown = one_after_another(&[all.clone(), next]);
        assert_eq!(shown[0].len(), 3);
        assert_eq!(shown[1], []);
    }
}

#[test]
fn a_figure_that_one_player_dominates_is_not_shown() {
    let mut crowd = crowd()[..16].to_vec();
    for effect in &mut crowd[9].pair.effects {
        effect.variance /= 1000.0;
    }
    assert_eq!(one_after_another(&[crowd])[0], []);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Whoever comes, goes, mends or takes their rows back: any two figures that were ever shown of
    /// one analysis rest on the same players without a row, or differ by at least five.
    #[test]
    fn any_two_figures_differ_by_nobody_or_by_five(
        changes in prop::collection::vec(prop::collection::vec((0_usize..38, 0_u8..4), 0..9), 1..8),
    ) {
        let crowd = crowd();
        let mut present: BTreeMap<usize, CountedPair> = (0..20).map(|at| (at, crowd[at].clone())).collect();
        let mut publications = vec![present.values().cloned().collect::<Vec<_>>()];
        for changes in changes {
            for (at, what) in changes {
                match what {
                    0 => { present.remove(&at); }
                    1 => if let Some(pair) = present.get_mut(&at) {
                        pair.identity.version += 1;
                    },
                    2 => if let Some(pair) = present.get_mut(&at) {
                        pair.scope = crowd[8].scope;
                    },
                    _ => { present.entry(at).or_insert_with(|| crowd[at].clone()); }
                }
            }
            publications.push(present.values().cloned().collect());
        }
        let shown = one_after_another(&publications);
        let mut of_key: BTreeMap<Key, Vec<Outsiders>> = BTreeMap::new();
        for shown in shown.into_iter().flatten() {
            prop_assert!(K <= shown.outsiders.len());
            of_key.entry(shown.figure.key).or_default().push(shown.outsiders);
        }
        for sets in of_key.values() {
            for (place, one) in sets.iter().enumerate() {
                for other in &sets[place + 1..] {
                    let changed = between(one, other);
                    prop_assert!(changed == 0 || K <= changed, "{changed}");
                }
            }
        }
    }
}
