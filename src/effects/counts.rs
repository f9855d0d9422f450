//! From a percentage back to the count behind it.
//!
//! A percentage printed with d decimals and the number n it is taken of allow only some whole
//! counts, often exactly one or none (the GRIM argument of Brown & Heathers 2017, Social
//! Psychological and Personality Science 8:363, applied to percentages). All comparisons are in
//! integers. JSON numbers have no trailing zeros, so `75.0` is read as a percentage with no
//! decimals.

use crate::units::Hundredths;

/// The count that a percentage stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Resolved {
    /// The nearest whole count; the lower one when two are equally near.
    pub count: i64,
    /// Whether some whole count is printed as this percentage; either way of rounding a tie is
    /// allowed.
    pub consistent: bool,
}

/// The count behind a percentage of `n`; `None` unless `n` is positive.
#[must_use]
pub const fn from_percent(percent: Hundredths, n: i64) -> Option<Resolved> {
    if n <= 0 {
        return None;
    }
    // count = percent/100 * n/100, so the exact count is numerator / 10,000.
    let numerator = percent.count() * n;
    let lower = numerator.div_euclid(10_000);
    let rest = numerator.rem_euclid(10_000);
    let count = if rest <= 5_000 { lower } else { lower + 1 };
    // |100 count/n - percent| <= half a unit of the last printed decimal, times 200 n.
    let last_decimal = if percent.count() % 100 == 0 {
        100
    } else if percent.count() % 10 == 0 {
        10
    } else {
        1
    };
    let miss = (10_000 * count - numerator).abs();
    Some(Resolved {
        count,
        consistent: 2 * miss <= last_decimal * n,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn resolve(hundredths: i64, n: i64) -> Resolved {
        from_percent(Hundredths::from_count(hundredths), n).unwrap()
    }

    #[test]
    fn every_printed_percentage_of_every_count_is_consistent_and_reads_back() {
        for n in 1..=100_i64 {
            for count in 0..=n {
                for unit in [100, 10, 1] {
                    // Rounded half up to the unit, in hundredths of a percent.
                    let printed = (2 * 10_000 * count + unit * n).div_euclid(2 * unit * n) * unit;
                    let resolved = resolve(printed, n);
                    assert!(resolved.consistent, "{count}/{n} at {unit}");
                    assert_eq!(resolved.count, count, "{count}/{n} at {unit}");
                }
            }
        }
    }

    #[test]
    fn impossible_percentages_take_the_nearest_count() {
        // Of 20 shots every percentage is a multiple of 5.
        assert_eq!(
            resolve(7_300, 20),
            Resolved {
                count: 15,
                consistent: false
            }
        );
        // Half way between 3 and 4 of 20: the lower.
        assert_eq!(resolve(1_750, 20).count, 3);
    }

    #[test]
    fn no_shots_no_count() {
        assert_eq!(from_percent(Hundredths::from_count(5_000), 0), None);
    }
}
