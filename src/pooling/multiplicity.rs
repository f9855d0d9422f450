//! p values of several tests read together.
//!
//! * Holm 1979 (Scand J Stat 6:65): `max over j <= i of min(1, (m - j + 1) p_(j))`, which holds the
//!   chance of any false rejection, whatever the dependence.
//! * Benjamini & Hochberg 1995 (J R Stat Soc B 57:289): `min over j >= i of min(1, m p_(j) / j)`,
//!   which holds the expected share of false ones among the rejections when the tests are
//!   independent or positively dependent.
//!
//! `p_(1) <= ... <= p_(m)` are the `m` p values that exist; the others do not count.

#[cfg(test)]
mod tests;

use super::reason::{Estimable, Reason};

/// Adjusted p values.
#[derive(Debug, Clone, PartialEq)]
pub struct Adjusted {
    /// `m`, the number of tests whose p value exists.
    pub family_size: usize,
    /// By Holm, in the order of the input; a p value that does not exist keeps its reason.
    pub holm: Vec<Estimable<f64>>,
    /// By Benjamini and Hochberg, in the order of the input.
    pub benjamini_hochberg: Vec<Estimable<f64>>,
}

/// Adjusts p values for each other. A number that is no probability counts as one that does not
/// exist, [`Reason::OutOfRange`].
#[must_use]
pub fn adjust(p_values: &[Estimable<f64>]) -> Adjusted {
    let checked: Vec<Estimable<f64>> = p_values
        .iter()
        .map(|p| p.and_then(|p| probability(p).ok_or(Reason::OutOfRange)))
        .collect();
    let known = checked.iter().enumerate();
    let mut family: Vec<(usize, f64)> =
        known.filter_map(|(at, p)| Some((at, (*p).ok()?))).collect();
    family.sort_by(|a, b| a.1.total_cmp(&b.1));
    let m = family.len();
    let ranked = || (1..).zip(&family).map(|(rank, &(at, p))| (rank, at, p));
    let mut holm = checked.clone();
    let mut largest = 0.0;
    for (rank, at, p) in ranked() {
        let own = at_most_one(count(m - rank + 1) * p);
        largest = if largest < own { own } else { largest };
        put(&mut holm, at, largest);
    }
    let mut benjamini_hochberg = checked;
    let mut smallest = 1.0;
    let ascending: Vec<(usize, usize, f64)> = ranked().collect();
    for &(rank, at, p) in ascending.iter().rev() {
        let own = at_most_one(count(m) * p / count(rank));
        smallest = if own < smallest { own } else { smallest };
        put(&mut benjamini_hochberg, at, smallest);
    }
    Adjusted {
        family_size: m,
        holm,
        benjamini_hochberg,
    }
}

fn probability(p: f64) -> Option<f64> {
    (0.0..=1.0).contains(&p).then_some(p)
}

fn at_most_one(p: f64) -> f64 {
    if p < 1.0 { p } else { 1.0 }
}

fn put(list: &mut [Estimable<f64>], at: usize, p: f64) {
    list.get_mut(at)
        .into_iter()
        .for_each(|place| *place = Ok(p));
}

#[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
const fn count(n: usize) -> f64 {
    n as f64
}
