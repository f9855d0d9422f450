//! How likely chance makes figures as alike as they are.
//!
//! Two figures of a player who hits alike in both sessions differ by chance with a standard
//! deviation `s`; the chance that they are at least as near to each other as they are is
//! `P(|D| <= |d| + h)`, `h` half the step in which they are entered. Where the true figures differ,
//! or shots are correlated, figures are further apart, so this chance is never too small.
//! Several such chances are combined by Fisher's method (1932, Statistical Methods for Research
//! Workers, 4th ed., section 21.1), which for discrete figures errs to the side of chance.

use crate::pooling::quantiles::{ChiSquared, Normal};

/// A chance of single figures is taken as no smaller, so that one of them alone says little.
const SMALLEST: f64 = 1e-4;

/// Up to so many figures every combination is looked at; beyond, a bound is used.
const MOST_ENUMERATED: usize = 12;

/// The chance that two figures are as near to each other as they are; `None` unless `sd` is
/// positive.
pub(super) fn closeness(difference: f64, half_step: f64, sd: f64) -> Option<f64> {
    if sd <= 0.0 || sd.is_nan() {
        return None;
    }
    let beyond = Normal::two_sided_p((difference.abs() + half_step) / sd).ok()?;
    let near = 1.0 - beyond;
    Some(if near < SMALLEST { SMALLEST } else { near })
}

/// The chance that independent figures are together as near as they are. 1 without any.
pub(super) fn combined(chances: &[f64]) -> f64 {
    let statistic: f64 = chances.iter().map(|chance| -2.0 * chance.ln()).sum();
    // Two degrees of freedom each; there are at most a few hundred.
    let df = 2.0 * chances.iter().map(|_| 1.0).sum::<f64>();
    ChiSquared::new(df)
        .and_then(|distribution| distribution.upper_tail(statistic))
        .unwrap_or(1.0)
}

/// The chance of as telling a set of events as those that happened, when each has its own chance:
/// `P(sum of -ln p over events >= the sum over those that happened)`. Exact up to
/// [`MOST_ENUMERATED`] events, beyond that a bound (Chernoff 1952, Annals of Mathematical Statistics
/// 23:493). 1 without any.
pub(super) fn as_telling(events: &[(f64, bool)]) -> f64 {
    let happened = events.iter().filter(|(_, happened)| *happened);
    let told: f64 = happened.map(|(chance, _)| -chance.ln()).sum();
    if told <= 0.0 {
        return 1.0;
    }
    let chances: Vec<f64> = events.iter().map(|(chance, _)| *chance).collect();
    if chances.len() <= MOST_ENUMERATED {
        // A rounding error must not lose the very set that happened.
        return reaching(&chances, told * (1.0 - 1e-9));
    }
    let bounds = (1..20).map(|step| {
        let s = f64::from(step) / 20.0;
        let log = |chance: f64| (1.0 - chance + chance.powf(1.0 - s)).ln();
        chances.iter().map(|chance| log(*chance)).sum::<f64>() - s * told
    });
    let least = bounds.fold(
        0.0,
        |least: f64, bound| if bound < least { bound } else { least },
    );
    least.exp()
}

/// The chance that what happens tells at least so much.
fn reaching(chances: &[f64], told: f64) -> f64 {
    if told <= 0.0 {
        return 1.0;
    }
    let Some((chance, rest)) = chances.split_first() else {
        return 0.0;
    };
    let most: f64 = chances.iter().map(|chance| -chance.ln()).sum();
    if most < told {
        return 0.0;
    }
    chance * reaching(rest, told + chance.ln()) + (1.0 - chance) * reaching(rest, told)
}

/// "less than 1 in 10,000 by chance", in powers of ten.
pub(super) fn odds(chance: f64) -> String {
    for (limit, words) in [
        (1e-6, "less than 1 in 1,000,000 by chance"),
        (1e-5, "less than 1 in 100,000 by chance"),
        (1e-4, "less than 1 in 10,000 by chance"),
        (1e-3, "less than 1 in 1,000 by chance"),
        (1e-2, "less than 1 in 100 by chance"),
    ] {
        if chance < limit {
            return words.to_owned();
        }
    }
    "1 in 100 by chance or more".to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(actual: f64, expected: f64) {
        assert!(
            (actual / expected - 1.0).abs() < 1e-9,
            "{actual} {expected}"
        );
    }

    #[test]
    fn closeness_is_the_normal_chance() {
        // 1 - P(|Z| > 1) = 0.6826894921370859 (normal table).
        near(closeness(0.5, 0.5, 1.0).unwrap(), 0.682_689_492_137_085_9);
        near(closeness(-1.0, 0.0, 1.0).unwrap(), 0.682_689_492_137_085_9);
        assert_eq!(closeness(1.0, 0.0, 0.0), None);
        assert_eq!(closeness(1.0, 0.0, f64::NAN), None);
    }

    #[test]
    fn fishers_method_on_two_figures_has_its_closed_form() {
        // On four degrees of freedom the upper tail at -2 ln w is w (1 - ln w).
        let w: f64 = 0.02 * 0.3;
        near(combined(&[0.02, 0.3]), w * (1.0 - w.ln()));
        near(combined(&[]), 1.0);
    }

    #[test]
    fn what_happens_by_chance_is_counted_exactly_and_bounded_from_above() {
        // Two fair coins: both heads has 1/4, at least one 3/4.
        near(as_telling(&[(0.5, true), (0.5, true)]), 0.25);
        near(as_telling(&[(0.5, true), (0.5, false)]), 0.75);
        near(as_telling(&[(0.5, false)]), 1.0);
        // 10 or more of 20 at 0.1 each: the binomial tail 7.1509040e-6 (exact sum in fractions).
        let events: Vec<(f64, bool)> = (0..20).map(|place| (0.1, place < 10)).collect();
        let bound = as_telling(&events);
        assert!(7.150e-6 < bound && bound < 1e-4, "{bound}");
    }
}
