//! What a hand does when it picks or types a figure.

use super::Draw;
use serde::{Serialize, Serializer};
use tautpool::units::Hundredths;

/// A number as typed: at most two decimals, a whole one without any.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Figure(Hundredths);

impl Figure {
    /// Rounded to so many decimals, at most two; a number that no figure can hold becomes 0, which
    /// the door refuses wherever a speed or a tension is asked for.
    pub(super) fn new(value: f64, decimals: i32) -> Self {
        let scale = 10.0_f64.powi(decimals);
        let rounded = Hundredths::from_decimal((value * scale).round() / scale);
        Self(rounded.unwrap_or(Hundredths::from_count(0)))
    }

    pub(super) fn value(self) -> f64 {
        self.0.to_f64()
    }

    /// Decimals that are seen.
    pub(super) const fn decimals(self) -> i32 {
        match self.0.count() {
            count if count % 100 == 0 => 0,
            count if count % 10 == 0 => 1,
            _ => 2,
        }
    }

    /// Another value to the same decimals.
    pub(super) fn like(self, value: f64) -> Self {
        Self::new(value, self.decimals())
    }

    /// Multiplied, to the same decimals.
    pub(super) fn times(self, factor: f64) -> Self {
        self.like(self.value() * factor)
    }
}

impl Serialize for Figure {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if self.decimals() == 0 {
            serializer.serialize_i64(self.0.count() / 100)
        } else {
            serializer.serialize_f64(self.value())
        }
    }
}

/// The nearest whole number.
pub(super) fn whole(value: f64) -> i64 {
    Figure::new(value, 0).0.count() / 100
}

/// The nearest multiple of a whole step.
pub(super) fn to_step(value: f64, step: i64) -> i64 {
    whole(value / step as f64) * step
}

/// To one decimal whose digit looks measured: people who invent avoid 0 and 5 at the end.
pub(super) fn odd_looking(value: f64, draw: &mut Draw) -> Figure {
    let tenths = whole(value * 10.0);
    let tenths = if tenths % 5 == 0 {
        tenths + pick(draw, -2, &[-1, 2, 3])
    } else {
        tenths
    };
    Figure::new(tenths as f64 / 10.0, 1)
}

/// A whole number that does not end in 0 or 5.
pub(super) fn odd_count(value: f64, draw: &mut Draw) -> i64 {
    let count = whole(value);
    if count % 5 == 0 {
        count + pick(draw, -2, &[-1, 2, 3])
    } else {
        count
    }
}

/// One of some values.
pub(super) fn pick<T: Copy>(draw: &mut Draw, first: T, others: &[T]) -> T {
    match place(draw, others.len() + 1).checked_sub(1) {
        Some(place) => others.get(place).copied().unwrap_or(first),
        None => first,
    }
}

/// One of some items, to be changed; `None` when there are none.
pub(super) fn any<'a, T>(draw: &mut Draw, items: &'a mut [T]) -> Option<&'a mut T> {
    let place = place(draw, items.len());
    items.get_mut(place)
}

/// A place among so many.
fn place(draw: &mut Draw, n: usize) -> usize {
    let last = i64::try_from(n).map_or(0, |n| n - 1);
    usize::try_from(draw.whole(0, last.max(0))).unwrap_or(0)
}
