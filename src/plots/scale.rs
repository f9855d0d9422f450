//! An axis, horizontal or vertical: which values it covers, where they lie, and its ticks.

use super::parts::Summary;
use crate::numbers;

/// Values farther from zero than this are not placed: no speed, depth or share comes near
/// it, and the tick search stays finite (own bound).
const FARTHEST: f64 = 1e9;

/// Share of rows left outside at each end when the range is chosen, so that the axis covers at
/// least the central 98 % of them.
const LEFT_OUT_AT_EACH_END: f64 = 0.01;

/// Room on each side of the covered range, as a share of it, so that no mark is cut (own choice).
const MARGIN: f64 = 0.04;

/// Range drawn on each side of zero when every value is zero.
const HALF_RANGE_WHEN_EMPTY: f64 = 1.0;

/// Whether a value can be placed on an axis at all.
pub(super) fn is_placeable(value: f64) -> bool {
    value.is_finite() && value.abs() <= FARTHEST
}

/// The values that can be placed, in ascending order.
pub(super) fn ascending(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut placeable: Vec<f64> = values.filter(|value| is_placeable(*value)).collect();
    placeable.sort_by(f64::total_cmp);
    placeable
}

/// The range of values a picture must cover. Always holds zero.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cover {
    low: f64,
    high: f64,
    whole: bool,
}

impl Cover {
    /// Zero alone.
    pub(super) fn zero() -> Self {
        Self {
            low: 0.0,
            high: 0.0,
            whole: false,
        }
    }

    /// Zero alone, of values that are counts, so that ticks are whole numbers.
    pub(super) fn counts() -> Self {
        Self {
            whole: true,
            ..Self::zero()
        }
    }

    /// The largest value so far.
    pub(super) fn high(&self) -> f64 {
        self.high
    }

    /// Widens the range to hold `value`; a value that cannot be placed changes nothing.
    pub(super) fn include(&mut self, value: f64) {
        if !is_placeable(value) {
            return;
        }
        if value < self.low {
            self.low = value;
        }
        if self.high < value {
            self.high = value;
        }
    }

    /// Widens the range to hold a pooled estimate with its intervals.
    pub(super) fn include_summary(&mut self, summary: &Summary) {
        for value in [summary.low, summary.estimate, summary.high] {
            self.include(value);
        }
        if let Some((low, high)) = summary.prediction {
            self.include(low);
            self.include(high);
        }
    }

    /// Widens the range to hold the differences that are too small to be worthwhile.
    pub(super) fn include_zone(&mut self, worthwhile: Option<f64>) {
        if let Some(size) = worthwhile.filter(|size| 0.0 < *size) {
            self.include(size);
            self.include(-size);
        }
    }

    /// Widens the range to hold the central 98 % of `ascending`, which must be sorted.
    pub(super) fn include_central(&mut self, ascending: &[f64]) {
        // The count is at most a few thousand, so the product is exact enough to floor.
        let left_out = (ascending.len() as f64 * LEFT_OUT_AT_EACH_END).floor();
        let last = ascending.len() as f64 - 1.0 - left_out;
        for (rank, value) in ascending.iter().enumerate() {
            let rank = rank as f64;
            if left_out <= rank && rank <= last {
                self.include(*value);
            }
        }
    }
}

/// A linear map from values to positions, from left to right or, with `end` less than `start`, from
/// the bottom up.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    low: f64,
    high: f64,
    start: f64,
    end: f64,
    whole: bool,
}

/// One tick: where it stands and what it says.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    pub(super) at: f64,
    pub(super) label: String,
}

impl Scale {
    /// Maps `cover`, with a margin, to the positions from `start` to `end`.
    pub(super) fn new(cover: Cover, start: f64, end: f64) -> Self {
        let span = cover.high - cover.low;
        let (low, high) = if 0.0 < span {
            (cover.low - MARGIN * span, cover.high + MARGIN * span)
        } else {
            (-HALF_RANGE_WHEN_EMPTY, HALF_RANGE_WHEN_EMPTY)
        };
        Self {
            low,
            high,
            start,
            end,
            whole: cover.whole,
        }
    }

    /// Where the axis begins.
    pub(super) fn start(&self) -> f64 {
        self.start
    }

    /// Where the axis ends.
    pub(super) fn end(&self) -> f64 {
        self.end
    }

    /// Position of a value; between the ends exactly when [`Scale::holds`] is true.
    pub(super) fn at(&self, value: f64) -> f64 {
        self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)
    }

    /// Positions of the part of a range that lies inside the picture. An end may be infinite; a
    /// range that lies outside or has an end that is not a number has none.
    pub(super) fn clipped(&self, low: f64, high: f64) -> Option<(f64, f64)> {
        // Asked this way round so that a NaN fails.
        if !(low <= self.high && self.low <= high) {
            return None;
        }
        let low = if low < self.low { self.low } else { low };
        let high = if self.high < high { self.high } else { high };
        Some((self.at(low), self.at(high)))
    }

    /// Whether a value lies inside the picture.
    pub(super) fn holds(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// Ticks at multiples of 1, 2 or 5 times a power of ten, at most `most` steps apart; zero
    /// is always one of them.
    pub(super) fn ticks(&self, most: f64) -> Vec<Tick> {
        let least = (self.high - self.low) / most;
        let (step, decimals) = nice_step(if self.whole && least < 1.0 {
            1.0
        } else {
            least
        });
        let last = (self.high / step).floor();
        let mut multiple = (self.low / step).ceil();
        let mut ticks = Vec::new();
        while multiple <= last {
            let value = multiple * step;
            ticks.push(Tick {
                at: self.at(value),
                label: numbers::fixed(value, decimals),
            });
            multiple += 1.0;
        }
        ticks
    }
}

/// The smallest of 1, 2, 5 times a power of ten that is at least `least`, with the decimals
/// it needs. `least` is positive and finite.
fn nice_step(least: f64) -> (f64, usize) {
    // Multiplying and dividing by ten, and not a logarithm, keeps the result the same on
    // every machine.
    let mut power = 1.0;
    let mut decimals = 0;
    while power * 10.0 <= least {
        power *= 10.0;
    }
    while least < power {
        power /= 10.0;
        decimals += 1;
    }
    for factor in [1.0, 2.0, 5.0] {
        if least <= factor * power {
            return (factor * power, decimals);
        }
    }
    (10.0 * power, if decimals == 0 { 0 } else { decimals - 1 })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(low: f64, high: f64, most: f64) -> Vec<String> {
        let mut cover = Cover::zero();
        cover.include(low);
        cover.include(high);
        Scale::new(cover, 0.0, 100.0)
            .ticks(most)
            .into_iter()
            .map(|tick| tick.label)
            .collect()
    }

    #[test]
    fn steps_are_one_two_or_five_times_a_power_of_ten() {
        for (least, step, decimals) in [
            (0.7, 1.0, 0),
            (1.0, 1.0, 0),
            (1.1, 2.0, 0),
            (2.5, 5.0, 0),
            (6.0, 10.0, 0),
            (0.12, 0.2, 1),
            (0.04, 0.05, 2),
            (430.0, 500.0, 0),
        ] {
            let (actual, places) = nice_step(least);
            assert!((actual - step).abs() < 1e-12 * step, "{least}: {actual}");
            assert_eq!(places, decimals, "{least}");
        }
    }

    #[test]
    fn zero_is_a_tick_even_when_every_value_is_on_one_side() {
        assert_eq!(labels(3.0, 9.0, 5.0), ["0", "2", "4", "6", "8"]);
        assert!(labels(-9.0, -3.0, 5.0).contains(&"0".to_owned()));
        assert_eq!(
            labels(0.0, 0.0, 5.0),
            ["\u{2212}1.0", "\u{2212}0.5", "0.0", "0.5", "1.0"]
        );
    }

    #[test]
    fn the_central_98_percent_are_covered_and_the_rest_may_lie_outside() {
        let mut ascending = vec![-1.0; 300];
        for outer in ascending.iter_mut().take(3) {
            *outer = -50.0;
        }
        let mut cover = Cover::zero();
        cover.include_central(&ascending);
        let scale = Scale::new(cover, 0.0, 100.0);
        assert!(scale.holds(-1.0));
        assert!(!scale.holds(-50.0));

        let mut few = Cover::zero();
        few.include_central(&[-50.0, 1.0, 2.0]);
        assert!(Scale::new(few, 0.0, 100.0).holds(-50.0));
    }

    #[test]
    fn a_range_is_cut_at_the_edges_and_one_outside_has_no_place() {
        let mut cover = Cover::zero();
        cover.include(100.0);
        let scale = Scale::new(cover, 0.0, 108.0);
        let (left, right) = scale.clipped(f64::NEG_INFINITY, 50.0).unwrap();
        assert!(left.abs() < 1e-9 && (right - 54.0).abs() < 1e-9);
        assert_eq!(scale.clipped(200.0, 300.0), None);
        assert_eq!(scale.clipped(f64::NAN, 50.0), None);
        assert_eq!(scale.clipped(0.0, f64::NAN), None);
    }

    #[test]
    fn counts_have_whole_ticks_and_an_upright_axis_grows_from_the_bottom() {
        let mut cover = Cover::counts();
        cover.include(2.0);
        let scale = Scale::new(cover, 100.0, 0.0);
        let ticks = scale.ticks(9.0);
        let labels: Vec<&str> = ticks.iter().map(|tick| tick.label.as_str()).collect();
        assert_eq!(labels, ["0", "1", "2"]);
        assert!(ticks.is_sorted_by(|a, b| b.at < a.at));
    }

    #[test]
    fn what_is_too_small_to_be_worthwhile_lies_inside_whole() {
        let mut cover = Cover::zero();
        cover.include_zone(Some(2.0));
        let scale = Scale::new(cover, 0.0, 1.0);
        assert!(scale.holds(-2.0) && scale.holds(2.0));
        cover.include_zone(Some(-9.0));
        cover.include_zone(Some(f64::NAN));
        assert!(!Scale::new(cover, 0.0, 1.0).holds(-9.0));
    }

    #[test]
    fn values_that_cannot_be_placed_leave_the_range_alone() {
        let mut cover = Cover::zero();
        for value in [f64::NAN, f64::INFINITY, -1e300] {
            cover.include(value);
        }
        cover.include(2.0);
        let scale = Scale::new(cover, 0.0, 100.0);
        assert!(scale.holds(2.0) && !scale.holds(3.0) && !scale.holds(f64::NAN));
    }
}
