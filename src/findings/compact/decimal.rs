//! Decimals of few digits in four bytes.

/// A decimal of at most six digits with at most 22 places, or of seven up to 8,388,607: its digits
/// as a whole number with a sign, and behind them the places.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Decimal(i32);

/// Powers of ten that are exact in binary.
const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// Bits of the places.
const PLACES: u32 = 8;

/// The first whole number that is too large.
const LIMIT: f64 = 8_388_608.0;

impl Decimal {
    /// `None` when there is no such decimal that is this number bit for bit.
    pub(super) fn of(number: f64) -> Option<Self> {
        for (places, power) in (0..).zip(POWERS) {
            let digits = (number * power).round();
            // What is not a number is no decimal either.
            if digits.is_nan() || LIMIT <= digits.abs() {
                return None;
            }
            #[expect(clippy::cast_possible_truncation, reason = "whole and below the limit")]
            let decimal = Self((digits as i32) << PLACES | places);
            if decimal.value().to_bits() == number.to_bits() {
                return Some(decimal);
            }
        }
        None
    }

    /// The number: one division of two exact numbers, as it was when it was taken in.
    pub(super) fn value(self) -> f64 {
        let places = self.0 & ((1 << PLACES) - 1);
        let power = usize::try_from(places).ok();
        let power = power.and_then(|places| POWERS.get(places).copied());
        f64::from(self.0 >> PLACES) / power.unwrap_or(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disclosure::{to_tenth, to_three_digits};

    #[test]
    fn rounded_figures_come_out_as_they_went_in() {
        let mut number = 1.0e-19;
        while number < 800_000.0 {
            for value in [to_three_digits(number), to_tenth(-number), to_tenth(number)] {
                let kept = Decimal::of(value).unwrap();
                assert_eq!(kept.value().to_bits(), value.to_bits(), "{value}");
            }
            number *= 1.000_7;
        }
        for value in [0.0, -0.1, 8_388_607.0, -8_388_607.0, 1e-22] {
            assert_eq!(
                Decimal::of(value).unwrap().value().to_bits(),
                f64::to_bits(value)
            );
        }
    }

    #[test]
    fn what_is_no_such_decimal_is_refused() {
        let third = 1.0 / 3.0;
        let beside = f64::from_bits(0.1_f64.to_bits() + 1);
        for value in [
            third,
            beside,
            -0.0,
            8_388_608.0,
            1e-23,
            1e300,
            f64::NAN,
            f64::INFINITY,
        ] {
            assert_eq!(Decimal::of(value), None, "{value}");
        }
    }
}
