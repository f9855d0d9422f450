use super::*;
use crate::findings::own::tests::rows;
use std::mem::size_of;

/// Rows of one player's pairs, one row each unless said otherwise, of these estimates.
fn of_pairs(group: u32, pairs: &[&[f64]]) -> Vec<Row> {
    let template = rows(1)[0];
    let outcomes = [Outcome::Speed, Outcome::DeepShare];
    let numbered = (1..).zip(pairs);
    let rows = numbered.flat_map(|(pair, estimates)| {
        let of_pair = estimates.iter().zip(outcomes);
        of_pair.map(move |(&estimate, outcome)| Row {
            group,
            pair: 100 * group + pair,
            outcome,
            estimate,
            ..template
        })
    });
    rows.collect()
}

fn by_estimate(a: &Row, b: &Row) -> Ordering {
    a.estimate.total_cmp(&b.estimate)
}

#[test]
fn what_is_put_in_comes_out_in_any_order() {
    let mut all = rows(40);
    for (place, row) in all.iter_mut().enumerate() {
        row.group = u32::try_from(place * 7 % 5).unwrap();
        row.circumstances.planned = [None, Some(true)][place % 2];
    }
    let kept: Rows = all.iter().copied().collect();
    assert_eq!(kept.iter().collect::<Vec<Row>>(), all);
    assert_eq!(kept.iter().next_back(), all.last().copied());
    assert_eq!((kept.len(), kept.get(40)), (40, None));
    assert_eq!(kept.get(7), Some(all[7]));
}

#[test]
fn nine_rows_of_a_pair_take_less_than_a_third_of_the_memory() {
    assert!(size_of::<Pair>() + 9 * size_of::<Figures<Decimal>>() < 9 * size_of::<Row>() / 3);
}

#[test]
fn one_figure_that_is_no_decimal_changes_none_of_the_others() {
    let mut all = of_pairs(1, &[&[5.1, 1.0], &[-4.7], &[0.0, 1_234.5]]);
    let kept: Rows = all.iter().copied().collect();
    assert!(matches!(kept.figures, AllFigures::Decimal(_)));
    assert_eq!(kept.iter().collect::<Vec<Row>>(), all);
    all.extend(of_pairs(2, &[&[1.0 / 3.0], &[2.5]]));
    let mut kept: Rows = all.iter().copied().collect();
    assert!(matches!(kept.figures, AllFigures::Any(_)));
    assert_eq!(kept.iter().collect::<Vec<Row>>(), all);
    kept.arrange(by_estimate);
    let found = kept.iter().map(|row| (row.group, row.pair, row.estimate));
    let first = [
        (1, 1, -4.7),
        (1, 2, 0.0),
        (1, 2, 1_234.5),
        (1, 3, 5.1),
        (1, 3, 1.0),
    ];
    assert_eq!(
        found.collect::<Vec<_>>(),
        [&first[..], &[(2, 1, 1.0 / 3.0), (2, 2, 2.5)]].concat()
    );
}

#[test]
fn players_and_pairs_are_put_in_order_and_numbered_without_gaps() {
    let mut kept: Rows = [
        of_pairs(9, &[&[5.0, 1.0], &[4.0], &[4.0, 3.0], &[4.0]]),
        of_pairs(2, &[&[8.0, 7.0]]),
        of_pairs(4, &[&[6.0]]),
    ]
    .concat()
    .into_iter()
    .collect();
    // Of the two that are alike, the one that stood first; the shorter of two that begin alike.
    assert_eq!(kept.arrange(by_estimate), [4, 5, 1, 3, 2, 0]);
    let found = kept.iter().map(|row| (row.group, row.pair, row.estimate));
    assert_eq!(
        found.collect::<Vec<_>>(),
        [
            (1, 1, 8.0),
            (1, 1, 7.0),
            (2, 1, 6.0),
            (3, 1, 4.0),
            (3, 2, 4.0),
            (3, 3, 4.0),
            (3, 3, 3.0),
            (3, 4, 5.0),
            (3, 4, 1.0),
        ]
    );
    assert!(kept.pairs().eq([0, 0, 1, 2, 3, 4, 4, 5, 5]));
}
