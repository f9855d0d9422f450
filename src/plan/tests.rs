use super::*;
use std::collections::BTreeMap;

/// Bytes of a block that depend on a seed and the block, spread by the finaliser of `SplitMix64`
/// (Steele, Lea & Flood 2014; constants from memory).
fn bytes(seed: u64) -> impl Fn(u64) -> [u8; 32] {
    move |block| {
        let mut state =
            seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ block.wrapping_mul(0xD1B5_4A32_D192_ED03);
        let mut bytes = [0; 32];
        for chunk in bytes.chunks_mut(8) {
            state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
            let mut mixed = state;
            mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            chunk.copy_from_slice(&(mixed ^ (mixed >> 31)).to_le_bytes());
        }
        bytes
    }
}

#[test]
fn every_block_holds_as_many_of_both_orders() {
    for seed in 0..500 {
        for block in 0..10 {
            let places = one_block(&bytes(seed)(block));
            assert!(SIZES.contains(&places.len()));
            let n_second = places.iter().filter(|is_second| **is_second).count();
            assert_eq!(2 * n_second, places.len());
        }
    }
}

#[test]
fn every_number_has_equally_many_bytes_to_come_from() {
    for n in 2..=LARGEST {
        let mut counts = vec![0; n];
        let mut n_passed_over = 0;
        for byte in 0..=u8::MAX {
            // What is passed over takes the next byte, which is told apart by being the last.
            let mut two = [byte, 0].into_iter();
            let number = below(n, &mut two);
            if two.next().is_some() {
                counts[number] += 1;
            } else {
                n_passed_over += 1;
            }
        }
        assert_eq!(counts, vec![256 / n; n]);
        assert_eq!(n_passed_over, 256 % n);
    }
    assert_eq!(below(6, &mut [255, 254, 253].into_iter()), 0);
}

/// Every list of choices that a shuffle of so many places can meet.
fn choices(size: usize) -> Vec<Vec<usize>> {
    (2..=size).rev().fold(vec![Vec::new()], |lists, n| {
        let longer = |list: &Vec<usize>| -> Vec<Vec<usize>> {
            (0..n)
                .map(|choice| [list.as_slice(), &[choice]].concat())
                .collect()
        };
        lists.iter().flat_map(longer).collect()
    })
}

#[test]
fn every_arrangement_is_equally_likely() {
    for (size, n_arrangements) in [(2, 2), (4, 6), (6, 20)] {
        let mut counts: BTreeMap<Vec<bool>, usize> = BTreeMap::new();
        let lists = choices(size);
        let n_lists = lists.len();
        for list in lists {
            let mut places: Vec<bool> = (0..size).map(|place| size / 2 <= place).collect();
            let mut list = list.into_iter();
            shuffle(&mut places, |n| {
                let choice = list.next().unwrap();
                assert!(choice < n);
                choice
            });
            *counts.entry(places).or_default() += 1;
        }
        assert_eq!(counts.len(), n_arrangements);
        assert!(
            counts
                .values()
                .all(|count| *count == n_lists / n_arrangements)
        );
    }
}

#[test]
fn the_two_orders_never_drift_apart_by_more_than_three() {
    for kind in Kind::ALL {
        let [first, second] = kind.sequences();
        let mut furthest = 0;
        for seed in 0..40 {
            let mut ahead: i32 = 0;
            for position in 0..120 {
                let sequence = sequence_at(*kind, position, bytes(seed));
                assert!([first, second].contains(&sequence));
                ahead += if sequence == first { 1 } else { -1 };
                furthest = furthest.max(ahead.abs());
            }
        }
        assert_eq!(furthest, 3, "{kind:?}");
    }
}

#[test]
fn a_position_keeps_its_order_and_another_secret_gives_others() {
    let draw = |seed| -> Vec<Sequence> {
        (0..60)
            .map(|position| sequence_at(Kind::TwoSessions, position, bytes(seed)))
            .collect()
    };
    assert_eq!(draw(1), draw(1));
    assert_ne!(draw(1), draw(2));
}

#[test]
fn one_order_comes_as_often_as_the_other_at_every_position() {
    // 4,000 secrets: the share of one order has a standard error of 0.0079; five of them.
    for position in 0..12 {
        let n_first = (0..4000)
            .map(|seed| sequence_at(Kind::TwoSessions, position, bytes(seed)))
            .filter(|sequence| *sequence == Sequence::LooserTighter)
            .count();
        assert!((1842..=2158).contains(&n_first), "{position}: {n_first}");
    }
}

#[test]
fn block_sizes_come_equally_often() {
    // Expected 2,000 of 6,000 each; chi-squared on 2 degrees of freedom is above 18.42 in 1 of
    // 10,000 (-2 ln 0.0001).
    let mut counts: BTreeMap<usize, f64> = BTreeMap::new();
    for seed in 0..6000 {
        *counts.entry(one_block(&bytes(seed)(0)).len()).or_default() += 1.0;
    }
    let chi_squared: f64 = counts.values().map(|n| (n - 2000.0).powi(2) / 2000.0).sum();
    assert_eq!(counts.len(), 3);
    assert!(chi_squared < 18.42, "{counts:?}");
}

#[test]
fn flows_add_up() {
    let one = Flow {
        drawn: 4,
        opened: 3,
        sent: 2,
        withdrawn: 1,
    };
    let both = one + one;
    assert_eq!(
        (both.drawn, both.opened, both.sent, both.withdrawn),
        (8, 6, 4, 2)
    );
    assert_eq!(both.unsent(), 2);
}
