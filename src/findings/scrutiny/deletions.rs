//! Which deletions are kept of many, once all were looked at.

use super::Scrutiny;
use crate::pooling::influence::Deletion;

/// Most deletions that are kept: else they would outgrow everything else.
const MOST_KEPT: usize = 500;

impl Scrutiny {
    /// Keeps all deletions, or those that move the mean most, in their order.
    pub(super) fn shorten(mut self) -> Self {
        let Ok(deletions) = &mut self.influence.deletions else {
            return self;
        };
        let places = kept(deletions);
        if places.len() < deletions.len() {
            *deletions = places
                .iter()
                .filter_map(|place| deletions.get(*place).copied())
                .collect();
            let left_out = places.iter().filter_map(|place| self.left_out.get(*place));
            self.left_out = left_out.cloned().collect();
        }
        self
    }
}

fn kept(deletions: &[Deletion]) -> Vec<usize> {
    let mut places: Vec<usize> = (0..deletions.len()).collect();
    if MOST_KEPT < places.len() {
        let moved = |place: &usize| {
            let deletion = deletions.get(*place);
            deletion.map_or(0.0, |deletion| deletion.cook.unwrap_or(0.0))
        };
        places.sort_by(|a, b| moved(b).total_cmp(&moved(a)));
        places.truncate(MOST_KEPT);
        places.sort_unstable();
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pooling::influence::{Unit, influence};
    use crate::pooling::{Effects, Level};
    use ndarray::Array1;

    /// So many effects, one far out in the middle of the order they were given in.
    fn effects(k: u32) -> Effects {
        let estimate = |n: u32| f64::from(if n == k / 2 { 90 } else { n % 17 });
        let estimates: Array1<f64> = (0..k).map(estimate).collect();
        let variances: Array1<f64> = (0..k).map(|n| 1.0 + f64::from(n % 5)).collect();
        Effects::new(estimates.view(), variances.view(), None).unwrap()
    }

    #[test]
    fn of_many_deletions_those_that_move_the_mean_most_are_kept_in_their_order() {
        let deletions = |k| influence(&effects(k), Unit::Effect, Level::NINETY_FIVE).deletions;
        assert!(kept(&deletions(40).unwrap()).into_iter().eq(0..40));
        let many = deletions(600).unwrap();
        let places = kept(&many);
        assert_eq!(places.len(), MOST_KEPT);
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

    #[test]
    fn what_was_left_out_stays_beside_its_deletion() {
        let scrutiny = Scrutiny::of_table(&effects(600), Level::NINETY_FIVE);
        let deletions = scrutiny.influence.deletions.unwrap();
        assert_eq!(deletions.len(), scrutiny.left_out.len());
        assert_eq!(scrutiny.left_out.last(), Some(&vec![(90.0, 1.0)]));
        // Whatever was kept, the range is that of all of them.
        assert_eq!(scrutiny.influence.k, 600);
    }
}
