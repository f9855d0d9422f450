//! The units a reader chose. What is computed stays in km/h and lb; only what is shown is converted,
//! by the definitions of 1959 (1 mi = 1.609344 km, 1 lb = 0.45359237 kg).

use super::{SpeedUnit, TensionUnit};

/// Kilometres in a statute mile, exact by definition (1959).
const KILOMETRES_PER_MILE: f64 = 1.609_344;

/// Kilograms in a pound, exact by definition (1959).
pub const KILOGRAMS_PER_POUND: f64 = 0.453_592_37;

/// In which units speeds and tensions are shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Units {
    /// Of speeds and differences of speeds.
    pub speed: SpeedUnit,
    /// Of tensions and gaps.
    pub tension: TensionUnit,
}

impl Units {
    /// How many choices a reader has.
    pub const N_CHOICES: usize = SpeedUnit::ALL.len() * TensionUnit::ALL.len();

    /// The units of a reader who chose none: km/h, and the unit of the study's gap bands.
    #[must_use]
    pub const fn unchosen(of_bands: TensionUnit) -> Self {
        Self {
            speed: SpeedUnit::KilometrePerHour,
            tension: of_bands,
        }
    }

    /// A number for each choice, below [`Units::N_CHOICES`].
    #[must_use]
    pub const fn place(self) -> usize {
        let speed = match self.speed {
            SpeedUnit::KilometrePerHour => 0,
            SpeedUnit::MilePerHour => 1,
        };
        let tension = match self.tension {
            TensionUnit::Pound => 0,
            TensionUnit::Kilogram => 1,
        };
        speed * TensionUnit::ALL.len() + tension
    }

    /// A speed, or a difference of speeds, given in km/h.
    #[must_use]
    pub fn speed(self, kmh: f64) -> f64 {
        match self.speed {
            SpeedUnit::KilometrePerHour => kmh,
            SpeedUnit::MilePerHour => kmh / KILOMETRES_PER_MILE,
        }
    }

    /// A tension gap given in lb.
    #[must_use]
    pub fn gap(self, pounds: f64) -> f64 {
        match self.tension {
            TensionUnit::Pound => pounds,
            TensionUnit::Kilogram => pounds * KILOGRAMS_PER_POUND,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Units; Units::N_CHOICES] = [
        Units::unchosen(TensionUnit::Pound),
        Units::unchosen(TensionUnit::Kilogram),
        Units {
            speed: SpeedUnit::MilePerHour,
            tension: TensionUnit::Pound,
        },
        Units {
            speed: SpeedUnit::MilePerHour,
            tension: TensionUnit::Kilogram,
        },
    ];

    #[test]
    fn every_choice_has_its_own_place() {
        assert_eq!(ALL.map(Units::place), [0, 1, 2, 3]);
    }

    #[test]
    fn conversions_are_the_definitions_and_what_is_computed_in_stays_as_it_is() {
        let [kmh_lb, kmh_kg, mph_lb, _] = ALL;
        for value in [0.1, -2.5, 100.0 / 3.0, 1e-9] {
            assert_eq!(kmh_lb.speed(value).to_bits(), value.to_bits());
            assert_eq!(kmh_lb.gap(value).to_bits(), value.to_bits());
        }
        assert_eq!(mph_lb.speed(1.609_344).to_bits(), 1.0_f64.to_bits());
        assert_eq!(kmh_kg.gap(1.0).to_bits(), 0.453_592_37_f64.to_bits());
        assert_eq!(kmh_kg.gap(100.0).to_bits(), 45.359_237_f64.to_bits());
    }
}
