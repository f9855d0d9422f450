//! Laws and edges of pairs of counts.

mod inside;

use super::{Arm, CountPair, CountPairs, ExactOddsRatio, MOST_TRIALS, exact_odds_ratio};
use crate::pooling::tests::assert_close;
use crate::pooling::{Level, NumericError, Reason};

fn pairs(rows: &[[u64; 4]]) -> Vec<CountPair> {
    let pair = |&[x_1, n_1, x_2, n_2]: &[u64; 4]| CountPair {
        first: Arm {
            events: x_1,
            trials: n_1,
        },
        second: Arm {
            events: x_2,
            trials: n_2,
        },
    };
    rows.iter().map(pair).collect()
}

fn exact(rows: &[[u64; 4]]) -> ExactOddsRatio {
    exact_odds_ratio(&CountPairs::new(&pairs(rows)).unwrap(), Level::NINETY_FIVE)
}

const MIXED: [[u64; 4]; 6] = [
    [0, 12, 5, 11],
    [7, 15, 2, 14],
    [1, 9, 6, 10],
    [10, 30, 11, 28],
    [4, 8, 0, 9],
    [3, 40, 9, 38],
];

#[test]
fn impossible_counts_are_refused_by_row() {
    let refusal = |row| CountPairs::new(&pairs(&[[1, 2, 1, 2], row])).unwrap_err();
    assert_eq!(refusal([0, 0, 1, 2]), NumericError::NoTrials { row: 2 });
    assert_eq!(
        refusal([1, 2, 3, 2]),
        NumericError::EventsExceedTrials { row: 2 }
    );
    assert_eq!(
        refusal([1, 2, 1, MOST_TRIALS + 1]),
        NumericError::TooManyTrials { row: 2 }
    );
}

#[test]
fn woolf_adds_a_half_only_where_a_cell_is_empty() {
    let given = CountPairs::new(&pairs(&[[2, 10, 5, 12], [0, 10, 3, 12], [0, 5, 0, 7]])).unwrap();
    let ratios = given.log_odds_ratios().unwrap();
    assert_eq!(
        (given.k(), ratios.n_corrected, ratios.n_left_out),
        (2, 1, 1)
    );
    // Effects come in ascending order.
    let y = ratios.effects.estimates();
    let v = ratios.effects.variances();
    assert_close(y[0], (0.5 * 9.5 / (10.5 * 3.5_f64)).ln(), 1e-15, 0.0);
    assert_close(v[0], 2.0 + 1.0 / 10.5 + 1.0 / 3.5 + 1.0 / 9.5, 1e-15, 0.0);
    assert_close(y[1], (2.0 * 7.0 / (8.0 * 5.0_f64)).ln(), 1e-15, 0.0);
    assert_close(v[1], 0.5 + 0.125 + 0.2 + 1.0 / 7.0, 1e-15, 0.0);
}

#[test]
fn permutations_give_identical_bits() {
    let before = exact(&MIXED);
    for turn in 1..MIXED.len() {
        let mut rows = MIXED;
        rows.rotate_left(turn);
        assert_eq!(exact(&rows), before);
        rows.reverse();
        assert_eq!(exact(&rows), before);
    }
}

#[test]
fn swapping_arms_or_events_changes_the_sign() {
    let before = exact(&MIXED);
    let swapped = MIXED.map(|[x_1, n_1, x_2, n_2]| [x_2, n_2, x_1, n_1]);
    let misses = MIXED.map(|[x_1, n_1, x_2, n_2]| [n_1 - x_1, n_1, n_2 - x_2, n_2]);
    for rows in [swapped, misses] {
        let after = exact(&rows);
        let (a, b) = (after.common.unwrap(), before.common.clone().unwrap());
        assert_close(a.estimate, -b.estimate, 1e-12, 1e-12);
        assert_close(a.log_likelihood, b.log_likelihood, 1e-12, 0.0);
        let (a, b) = (after.random.unwrap(), before.random.clone().unwrap());
        assert_close(a.estimate, -b.estimate, 1e-10, 0.0);
        assert_close(a.tau_squared, b.tau_squared, 1e-10, 0.0);
        assert_close(a.se, b.se, 1e-10, 0.0);
        let (a, b) = (a.likelihood_ratio.unwrap(), b.likelihood_ratio.unwrap());
        assert_close(a.low, -b.high, 1e-9, 0.0);
        assert_close(a.high, -b.low, 1e-9, 0.0);
    }
}

#[test]
fn the_general_model_is_no_less_likely_than_the_common_ratio() {
    for rows in [&MIXED[..], &MIXED[..3], &[[5, 20, 9, 22], [4, 20, 8, 22]]] {
        let found = exact(rows);
        let (common, random) = (found.common.unwrap(), found.random.unwrap());
        assert!(common.log_likelihood <= random.log_likelihood);
        let interval = random.likelihood_ratio.unwrap();
        assert!(interval.low < random.estimate && random.estimate < interval.high);
        if random.tau_squared <= 0.0 {
            assert_close(common.estimate, random.estimate, 0.0, 0.0);
            assert_close(common.se, random.se, 0.0, 0.0);
            assert_eq!(random.tau_squared_se, Err(Reason::AtBoundary));
        }
    }
}

#[test]
fn identical_pairs_have_no_spread() {
    let found = exact(&[[3, 20, 8, 25]; 5]);
    let (common, random) = (found.common.unwrap(), found.random.unwrap());
    assert_close(random.tau_squared, 0.0, 0.0, 0.0);
    let one = exact(&[[3, 20, 8, 25]]).common.unwrap();
    assert_close(common.estimate, one.estimate, 1e-12, 0.0);
    assert_close(common.se, one.se / 5.0_f64.sqrt(), 1e-12, 0.0);
}

#[test]
fn too_little_and_endless_likelihoods_have_their_reasons() {
    let reasons = |rows: &[[u64; 4]]| {
        let found = exact(rows);
        (found.common.err(), found.random.err())
    };
    let both = |reason| (Some(reason), Some(reason));
    assert_eq!(reasons(&[]), both(Reason::NoInformativeCounts));
    assert_eq!(
        reasons(&[[0, 5, 0, 7], [5, 5, 7, 7]]),
        both(Reason::NoInformativeCounts)
    );
    assert_eq!(
        reasons(&[[0, 10, 3, 10], [0, 10, 2, 10]]),
        both(Reason::OddsRatioInfinite)
    );
    assert_eq!(
        reasons(&[[10, 10, 3, 10], [5, 5, 2, 10]]),
        both(Reason::OddsRatioInfinite)
    );
    assert_eq!(reasons(&[[2, 10, 3, 10]]), (None, Some(Reason::OneEffect)));
    assert_eq!(
        reasons(&[[0, 10, 10, 10], [10, 10, 0, 10]]),
        (None, Some(Reason::CountsAtTheirEnds))
    );
    let none = CountPairs::new(&pairs(&[[0, 5, 0, 7]])).unwrap();
    assert_eq!(
        none.log_odds_ratios().unwrap_err(),
        Reason::NoInformativeCounts
    );
}

#[test]
fn extremes_give_numbers_or_reasons() {
    let cases: [&[[u64; 4]]; 5] = [
        &[[0, 100, 100, 100], [100, 100, 0, 100], [50, 100, 40, 100]],
        &[[1, 1, 0, 1], [0, 1, 1, 1], [1, 2, 1, 2]],
        &[[1, 1_000_000, 900_000, 1_000_000], [3, 8, 2, 9]],
        &[[1, 1, 500, 1_000], [0, 1, 500, 1_000], [1, 2, 7, 900]],
        &[
            [4_000, 10_000, 4_100, 10_000],
            [5_000, 10_000, 5_100, 10_000],
        ],
    ];
    for rows in cases {
        let found = exact(rows);
        let common = found.common.unwrap();
        assert!(common.estimate.is_finite() && 0.0 < common.se);
        let random = found.random.unwrap();
        assert!(random.estimate.is_finite() && 0.0 < random.se, "{rows:?}");
        assert!(0.0 <= random.tau_squared && random.tau_squared.is_finite());
        for interval in random.likelihood_ratio.iter() {
            assert!(interval.low < interval.high && interval.high.is_finite());
        }
    }
    // Against two pairs at opposite ends of 9,000 the third hardly holds tau_squared back.
    let endless = exact(&[
        [0, 9_000, 9_000, 9_000],
        [9_000, 9_000, 1, 9_000],
        [9, 10, 1, 12],
    ]);
    assert_eq!(endless.random.unwrap_err(), Reason::NotConverged);
}

#[test]
fn a_sample_of_many_pairs_has_the_mean_of_all_and_fewer_stay_as_they_are() {
    let rows: Vec<[u64; 4]> = (0..3_000_u64)
        .map(|n| [20 + n * 7 % 21, 60, 15 + n * 11 % 23, 50 + n % 20])
        .collect();
    let all = CountPairs::new(&pairs(&rows)).unwrap();
    assert_eq!(all.thinned(3_000), all);
    let sample = all.thinned(500);
    assert_eq!(sample.k(), 500);
    let mean = |pairs: &CountPairs| {
        let ratios = pairs.log_odds_ratios().unwrap();
        ratios.effects.estimates().mean().unwrap()
    };
    // By chance alone it would be 0.03 off.
    assert_close(mean(&sample), mean(&all), 0.0, 0.005);
    assert_eq!(all.thinned(0).k(), 0);
}
