//! Worked by hand, and the edges.

use super::adjust;
use crate::pooling::tests::assert_close;
use crate::pooling::{Estimable, Reason};

fn assert_list(actual: &[Estimable<f64>], expected: &[f64]) {
    assert_eq!(actual.len(), expected.len());
    for (actual, &expected) in actual.iter().zip(expected) {
        assert_close(actual.unwrap(), expected, 1e-15, 0.0);
    }
}

#[test]
fn three_by_hand() {
    let found = adjust(&[Ok(0.01), Ok(0.04), Ok(0.03)]);
    assert_eq!(found.family_size, 3);
    assert_list(&found.holm, &[0.03, 0.06, 0.06]);
    assert_list(&found.benjamini_hochberg, &[0.03, 0.04, 0.04]);
}

#[test]
fn what_is_missing_stays_missing_and_does_not_count() {
    let found = adjust(&[
        Err(Reason::OneEffect),
        Ok(0.5),
        Ok(f64::NAN),
        Ok(1.5),
        Ok(-0.1),
    ]);
    assert_eq!(found.family_size, 1);
    for list in [found.holm, found.benjamini_hochberg] {
        assert_eq!(list[0], Err(Reason::OneEffect));
        assert_eq!(list[1], Ok(0.5));
        assert!(list[2..].iter().all(|p| *p == Err(Reason::OutOfRange)));
    }
    assert_eq!(adjust(&[]).family_size, 0);
}

#[test]
fn adjusted_values_keep_the_order_and_never_fall_below_the_raw_ones() {
    let p = [0.2, 0.001, 0.6, 0.001, 0.04, 1.0, 0.0];
    let found = adjust(&p.map(Ok));
    for (at, &raw) in p.iter().enumerate() {
        let (holm, bh) = (
            found.holm[at].unwrap(),
            found.benjamini_hochberg[at].unwrap(),
        );
        assert!(raw <= bh && bh <= holm && holm <= 1.0);
        for (other, &raw_other) in p.iter().enumerate() {
            if raw <= raw_other {
                assert!(holm <= found.holm[other].unwrap());
                assert!(bh <= found.benjamini_hochberg[other].unwrap());
            }
        }
    }
}
