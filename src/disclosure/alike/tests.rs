use super::*;
use crate::disclosure::facts::Fact;
use proptest::prelude::*;
use std::collections::BTreeSet;

const MINIMUM: usize = 5;

fn player(number: usize, pairs: Vec<Known>) -> Player {
    let mut hash = [0; 32];
    // In another order than the numbers.
    hash[0] = u8::try_from(number * 37 % 251).unwrap();
    hash[1] = u8::try_from(number % 251).unwrap();
    Player { hash, pairs }
}

fn with(values: &[Option<i32>]) -> Known {
    let mut known = [None; Fact::ALL.len()];
    for (place, value) in known.iter_mut().zip(values) {
        *place = *value;
    }
    known
}

fn divide(players: &[Player]) -> Vec<Class> {
    classes(
        players,
        (0..players.len()).collect(),
        Fact::ALL.len(),
        MINIMUM,
    )
}

/// What is shown of a player.
fn shown(player: &Player, class: &Class) -> Vec<Vec<Option<i32>>> {
    let pairs = player.pairs.iter();
    pairs
        .map(|known| {
            let facts = known.iter().zip(&class.shown);
            facts
                .map(|(value, is_shown)| value.filter(|_| *is_shown))
                .collect()
        })
        .collect()
}

#[test]
fn a_value_that_enough_share_is_shown_and_the_rest_is_enough_too() {
    let of_value = |first: usize, n: usize, value: Option<i32>| {
        (first..first + n).map(move |number| player(number, vec![with(&[value])]))
    };
    let players: Vec<Player> = of_value(0, 9, Some(1))
        .chain(of_value(9, 6, Some(2)))
        .chain(of_value(15, 3, Some(3)))
        .collect();
    let classes = divide(&players);
    // Three of a rare value are filled up with two of the most frequent one.
    let sizes: Vec<usize> = classes.iter().map(|class| class.members.len()).collect();
    assert_eq!(sizes, [7, 6, 5]);
    let hidden = &classes[2];
    assert!(!hidden.shown[0]);
    assert!((15..18).all(|rare| hidden.members.contains(&rare)));
    // Nobody is filled in where the rest is empty or large enough.
    let without: Vec<Player> = players[..15].to_vec();
    assert_eq!(divide(&without).len(), 2);
    // Who did not tell is of the rest.
    let untold: Vec<Player> = of_value(0, 5, Some(1))
        .chain(of_value(5, 5, None))
        .collect();
    assert_eq!(divide(&untold).len(), 2);
}

#[test]
fn a_value_is_given_up_where_nobody_can_be_spared() {
    let players: Vec<Player> = (0..11)
        .map(|number| {
            let value = if number < 5 {
                1
            } else if number < 10 {
                2
            } else {
                3
            };
            player(number, vec![with(&[Some(value)])])
        })
        .collect();
    let classes = divide(&players);
    let sizes: Vec<usize> = classes.iter().map(|class| class.members.len()).collect();
    assert_eq!(sizes, [5, 6]);
}

#[test]
fn who_is_filled_in_stays_the_same_when_more_come() {
    let crowd = |n: usize| -> Vec<Player> {
        let usual = (0..n).map(|number| player(number, vec![with(&[Some(1)])]));
        let rare = (200..203).map(|number| player(number, vec![with(&[Some(2)])]));
        usual.chain(rare).collect()
    };
    let filled_in = |n: usize| -> BTreeSet<[u8; 32]> {
        let players = crowd(n);
        let classes = divide(&players);
        let rest = classes.into_iter().find(|class| !class.shown[0]).unwrap();
        let members = rest.members.into_iter();
        members.map(|member| players[member].hash).collect()
    };
    // The same two until somebody with a smaller hash comes.
    let small = filled_in(8);
    assert_eq!(small.len(), 5);
    let shared = small.intersection(&filled_in(9)).count();
    assert!(4 <= shared, "{shared}");
}

proptest! {
    /// Whatever is known of players, everything shown of each is shown alike of at least the
    /// minimum, and nobody is lost.
    #[test]
    fn at_least_the_minimum_are_alike(
        values in prop::collection::vec(
            prop::collection::vec(prop::option::weighted(0.8, 0_i32..4), Fact::ALL.len()),
            MINIMUM..80,
        ),
        n_pairs in 1_usize..3,
    ) {
        let players: Vec<Player> = values
            .chunks(n_pairs)
            .filter(|chunk| chunk.len() == n_pairs)
            .enumerate()
            .map(|(number, chunk)| player(number, chunk.iter().map(|known| with(known)).collect()))
            .collect();
        prop_assume!(MINIMUM <= players.len());
        let classes = divide(&players);
        let mut seen: Vec<usize> = Vec::new();
        for class in &classes {
            prop_assert!(MINIMUM <= class.members.len());
            let alike: BTreeSet<_> = class
                .members
                .iter()
                .map(|member| shown(&players[*member], class))
                .collect();
            prop_assert_eq!(alike.len(), 1);
            seen.extend(&class.members);
        }
        seen.sort_unstable();
        prop_assert_eq!(seen, (0..players.len()).collect::<Vec<_>>());
    }
}
