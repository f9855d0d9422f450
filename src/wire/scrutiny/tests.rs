use super::*;
use crate::pooling::influence::influence;
use crate::pooling::{Effects, Level};
use ndarray::Array1;

/// Deletions of so many effects, one far out in the middle of the order they were given in.
fn deletions(k: usize) -> Vec<Deletion> {
    let estimates = Array1::from_shape_fn(k, |place| {
        if place == k / 2 {
            90.0
        } else {
            (place % 17) as f64
        }
    });
    let variances = Array1::from_shape_fn(k, |place| 1.0 + (place % 5) as f64);
    let effects = Effects::new(estimates.view(), variances.view(), None).unwrap();
    influence(&effects, Unit::Effect, Level::NINETY_FIVE)
        .deletions
        .unwrap()
}

#[test]
fn of_many_deletions_those_that_move_the_mean_most_are_listed_in_their_order() {
    let few = deletions(40);
    assert!(listed(&few).into_iter().eq(0..40));
    let many = deletions(MOST_LISTED + 100);
    let places = listed(&many);
    assert_eq!(places.len(), MOST_LISTED);
    assert!(places.is_sorted_by(|a, b| a < b));
    let cook = |place: &usize| many[*place].cook.unwrap();
    let least = places
        .iter()
        .map(cook)
        .fold(f64::INFINITY, |a, b| if b < a { b } else { a });
    let left_out = (0..many.len()).filter(|place| !places.contains(place));
    assert!(left_out.into_iter().all(|place| cook(&place) <= least));
    // The one far out has the highest estimate, hence the last place.
    assert_eq!(places.last(), Some(&(many.len() - 1)));
}
