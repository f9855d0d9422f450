//! Quantities as entered, held exactly.
//!
//! Every number a contributor types has at most two decimals, so it is an integer count of
//! hundredths. Conversions are exact by definition (international yard and pound agreement, 1959:
//! 1 lb = 0.45359237 kg, 1 mi = 1.609344 km), so in a small enough unit every entered quantity is
//! an integer again and comparisons need no tolerance. Converting a tension from lb to kg in
//! floating point first would push most whole 5 lb gaps below 5 lb.
//!
//! Sign convention of the project: a difference is always looser minus tighter; a gap is tighter
//! minus looser, so that it is positive.

mod reader;

pub use reader::{KILOGRAMS_PER_POUND, Units};

use crate::vocabulary::word_list;

/// A number as entered, in hundredths.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hundredths(i64);

impl Hundredths {
    /// Largest magnitude that can be held, far above any bound of the schemas, so that every product
    /// below stays inside 64 bits.
    pub const LARGEST: f64 = 1e6;

    /// Reads a decimal number with at most two decimals; `None` when it has more, is not finite
    /// or is beyond one million.
    ///
    /// A decimal text becomes the double nearest to it, and n/100 computed by one correctly
    /// rounded division is the double nearest to n/100, so equality decides exactly.
    #[must_use]
    #[expect(
        clippy::float_cmp,
        clippy::cast_possible_truncation,
        reason = "exact equality is the test itself, and the magnitude is checked before the cast"
    )]
    pub fn from_decimal(value: f64) -> Option<Self> {
        if !value.is_finite() || Self::LARGEST < value.abs() {
            return None;
        }
        let nearest = (value * 100.0).round() as i64;
        (Self::from_count(nearest).to_f64() == value).then_some(Self(nearest))
    }

    /// So many hundredths.
    #[must_use]
    pub const fn from_count(hundredths: i64) -> Self {
        Self(hundredths)
    }

    /// The count of hundredths.
    #[must_use]
    pub const fn count(self) -> i64 {
        self.0
    }

    /// The nearest double.
    #[must_use]
    #[expect(
        clippy::cast_precision_loss,
        reason = "bounded by LARGEST, far below 2^53"
    )]
    pub fn to_f64(self) -> f64 {
        self.0 as f64 / 100.0
    }
}

word_list! {
    /// Unit of a tension as entered.
    TensionUnit {
        /// Pounds (force).
        Pound = "lb",
        /// Kilograms (force).
        Kilogram = "kg",
    }
}

impl TensionUnit {
    /// Half of one hundredth of this unit, in nanograms: 0.01 lb = 4.5359237 g.
    const fn half_hundredth_nanograms(self) -> i64 {
        match self {
            Self::Pound => 2_267_961_850,
            Self::Kilogram => 5_000_000_000,
        }
    }
}

/// A tension, or a difference of tensions, exact to the nanogram(-force).
///
/// The nanogram is fine enough for the mean of two tensions entered to 0.01 lb or 0.01 kg.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Tension {
    nanograms: i64,
}

impl Tension {
    /// A tension as entered.
    #[must_use]
    pub const fn new(value: Hundredths, unit: TensionUnit) -> Self {
        Self {
            nanograms: value.count() * 2 * unit.half_hundredth_nanograms(),
        }
    }

    /// The mean of the tensions of mains and crosses: the reference tension.
    #[must_use]
    pub const fn mean(mains: Hundredths, crosses: Hundredths, unit: TensionUnit) -> Self {
        Self {
            nanograms: (mains.count() + crosses.count()) * unit.half_hundredth_nanograms(),
        }
    }

    /// This tension minus another.
    #[must_use]
    pub const fn minus(self, other: Self) -> Self {
        Self {
            nanograms: self.nanograms - other.nanograms,
        }
    }

    /// Nanograms, exact.
    #[must_use]
    pub const fn nanograms(self) -> i64 {
        self.nanograms
    }

    /// The nearest double in pounds.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "below 1e14, under 2^53")]
    pub fn pounds(self) -> f64 {
        self.nanograms as f64 / 453_592_370_000.0
    }

    /// The nearest double in kilograms.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "below 1e14, under 2^53")]
    pub fn kilograms(self) -> f64 {
        self.nanograms as f64 / 1e12
    }

    /// The nearest whole pound; a half goes up.
    #[must_use]
    pub const fn nearest_pound(self) -> i64 {
        let pound = 2 * 100 * TensionUnit::Pound.half_hundredth_nanograms();
        (2 * self.nanograms + pound).div_euclid(2 * pound)
    }
}

word_list! {
    /// Unit of a speed as entered.
    SpeedUnit {
        /// Kilometres per hour.
        KilometrePerHour = "km/h",
        /// Statute miles per hour.
        MilePerHour = "mph",
    }
}

/// A speed, exact to 10^-8 km/h (0.01 mph = 0.01609344 km/h).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Speed {
    hundred_millionths_kmh: i64,
}

impl Speed {
    /// A speed as entered.
    #[must_use]
    pub const fn new(value: Hundredths, unit: SpeedUnit) -> Self {
        let per_hundredth = match unit {
            SpeedUnit::KilometrePerHour => 1_000_000,
            SpeedUnit::MilePerHour => 1_609_344,
        };
        Self {
            hundred_millionths_kmh: value.count() * per_hundredth,
        }
    }

    /// The number and unit it was entered with. A speed that is whole hundredths in both units is
    /// given in km/h; below 251.46 km/h there is none but 0.
    #[must_use]
    pub const fn as_entered(self) -> (Hundredths, SpeedUnit) {
        if self.hundred_millionths_kmh % 1_000_000 == 0 {
            let hundredths = self.hundred_millionths_kmh / 1_000_000;
            (
                Hundredths::from_count(hundredths),
                SpeedUnit::KilometrePerHour,
            )
        } else {
            let hundredths = self.hundred_millionths_kmh / 1_609_344;
            (Hundredths::from_count(hundredths), SpeedUnit::MilePerHour)
        }
    }

    /// Hundred-millionths of 1 km/h, exact.
    #[must_use]
    pub const fn hundred_millionths_kmh(self) -> i64 {
        self.hundred_millionths_kmh
    }

    /// The nearest double in km/h.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "below 1e14, under 2^53")]
    pub fn kmh(self) -> f64 {
        self.hundred_millionths_kmh as f64 / 1e8
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lb(value: f64) -> Tension {
        Tension::new(Hundredths::from_decimal(value).unwrap(), TensionUnit::Pound)
    }

    #[test]
    fn every_two_decimal_number_reads_back_and_finer_ones_are_refused() {
        for count in -30_000..=100_000 {
            let value: f64 = format!("{}.{:02}", count / 100, count % 100)
                .parse()
                .unwrap_or(f64::NAN);
            if 0 <= count {
                assert_eq!(Hundredths::from_decimal(value).unwrap().count(), count);
            }
        }
        for bad in [0.001, 52.355, f64::NAN, f64::INFINITY, 1e12, 1e-300] {
            assert_eq!(Hundredths::from_decimal(bad), None, "{bad}");
        }
    }

    #[test]
    fn every_whole_and_half_five_pound_gap_is_exactly_five_pounds() {
        // In floating point kilograms most of these come out below 5 lb.
        let five = lb(5.0);
        for half_pounds in 60..=190 {
            let looser = lb(f64::from(half_pounds) / 2.0);
            let tighter = lb(f64::from(half_pounds) / 2.0 + 5.0);
            assert_eq!(tighter.minus(looser), five);
        }
    }

    #[test]
    fn conversions_are_the_definitions() {
        assert_eq!(lb(1.0).nanograms(), 453_592_370_000);
        let kg = Tension::new(Hundredths::from_count(100), TensionUnit::Kilogram);
        assert_eq!(kg.nanograms(), 1_000_000_000_000);
        let mile = Speed::new(Hundredths::from_count(100), SpeedUnit::MilePerHour);
        assert_eq!(mile.kmh().to_bits(), 1.609_344_f64.to_bits());
    }

    #[test]
    fn a_speed_tells_how_it_was_entered() {
        for unit in [SpeedUnit::KilometrePerHour, SpeedUnit::MilePerHour] {
            for count in 1..=15_000 {
                let entered = (Hundredths::from_count(count), unit);
                assert_eq!(Speed::new(entered.0, unit).as_entered(), entered);
            }
        }
    }

    #[test]
    fn nearest_pound_rounds_halves_up() {
        assert_eq!(lb(5.49).nearest_pound(), 5);
        assert_eq!(lb(5.5).nearest_pound(), 6);
        assert_eq!(lb(0.2).nearest_pound(), 0);
    }

    #[test]
    fn mean_of_mains_and_crosses_is_exact() {
        let mean = Tension::mean(
            Hundredths::from_count(5201),
            Hundredths::from_count(5000),
            TensionUnit::Pound,
        );
        assert_eq!(mean.nanograms(), 10_201 * 2_267_961_850);
    }
}
