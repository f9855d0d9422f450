//! What things are called on pages and in documents.

use crate::numbers;
use crate::pooling::Interval;
use crate::protocol::{GapBand, GapBands};
use crate::units::{Hundredths, KILOGRAMS_PER_POUND, TensionUnit, Units};
use crate::vocabulary::{Direction, Ground, Outcome, ShotClass, Stroke};

/// How gaps and figures are told: the study's bands, in the units that a reader chose. Bands alone
/// stand for the units of a reader who chose none.
#[derive(Clone, Copy, Debug)]
pub struct Wording<'a> {
    /// The study's bands.
    pub bands: &'a GapBands,
    /// The reader's units.
    pub units: Units,
}

impl<'a> From<&'a GapBands> for Wording<'a> {
    fn from(bands: &'a GapBands) -> Self {
        Self {
            bands,
            units: Units::unchosen(bands.unit()),
        }
    }
}

impl Wording<'_> {
    /// The unit of an outcome as it stands behind a number.
    #[must_use]
    pub const fn unit(self, outcome: Outcome) -> &'static str {
        match outcome {
            Outcome::Speed | Outcome::PartnerSpeed => self.units.speed.code(),
            _ => unit_words(outcome),
        }
    }

    /// A figure of an outcome, from the unit it is computed in to the reader's.
    #[must_use]
    pub fn value(self, outcome: Outcome, value: f64) -> f64 {
        match outcome {
            Outcome::Speed | Outcome::PartnerSpeed => self.units.speed(value),
            _ => value,
        }
    }

    /// A range of an outcome, from the unit it is computed in to the reader's.
    #[must_use]
    pub fn range(self, outcome: Outcome, range: Interval) -> Interval {
        Interval {
            low: self.value(outcome, range.low),
            high: self.value(outcome, range.high),
        }
    }

    /// A gap of so many whole pounds in the reader's unit.
    #[must_use]
    pub fn gap(self, gap_lb: i32) -> f64 {
        self.units.gap(f64::from(gap_lb))
    }

    /// Whether band edges are told in another unit than the protocol's, and hence rounded.
    #[must_use]
    pub fn rounds_bands(self) -> bool {
        self.units.tension != self.bands.unit()
    }

    /// The lower edges of the bands in the reader's unit, for the eye.
    #[must_use]
    pub fn edges(self) -> Vec<f64> {
        let edges = self.bands.edges().iter();
        edges.map(|edge| self.converted(*edge)).collect()
    }

    fn converted(self, edge: Hundredths) -> f64 {
        match (self.bands.unit(), self.units.tension) {
            (TensionUnit::Pound, TensionUnit::Kilogram) => edge.to_f64() * KILOGRAMS_PER_POUND,
            (TensionUnit::Kilogram, TensionUnit::Pound) => edge.to_f64() / KILOGRAMS_PER_POUND,
            _ => edge.to_f64(),
        }
    }

    /// An edge of a band: exactly in the unit of the protocol, in the other one with so few decimals
    /// that edges stay apart.
    fn edge(self, edge: Hundredths) -> String {
        if !self.rounds_bands() {
            return edge.to_f64().to_string();
        }
        let told = |edge, decimals| numbers::fixed(self.converted(edge), decimals);
        let mut pairs = self.bands.edges().windows(2);
        let meet = pairs.any(|pair| matches!(pair, [a, b] if told(*a, 1) == told(*b, 1)));
        told(edge, if meet { 2 } else { 1 })
    }
}

/// The unit of an outcome that is computed in, as it stands behind a number.
#[must_use]
pub const fn unit_words(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Speed | Outcome::PartnerSpeed => "km/h",
        Outcome::DeepShare
        | Outcome::InShare
        | Outcome::TopspinShare
        | Outcome::FlatShare
        | Outcome::CrosscourtShare
        | Outcome::LongRallyShare => "points",
    }
}

/// What an outcome is called on a page.
#[must_use]
pub const fn outcome_label(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Speed => "Mean ball speed",
        Outcome::DeepShare => "Deep share",
        Outcome::InShare => "In share",
        Outcome::TopspinShare => "Topspin share",
        Outcome::FlatShare => "Flat share",
        Outcome::CrosscourtShare => "Cross-court share",
        Outcome::LongRallyShare => "Long-rally share",
        Outcome::PartnerSpeed => "Partner’s ball speed",
    }
}

/// What an outcome measures, in one sentence.
#[must_use]
pub fn outcome_meaning(outcome: Outcome, units: Units) -> String {
    let meaning = match outcome {
        Outcome::Speed => return format!("The ball’s mean speed, in {}.", units.speed.code()),
        Outcome::PartnerSpeed => {
            let unit = units.speed.code();
            return format!("The mean speed of the hitting partner’s balls, in {unit}.");
        }
        Outcome::DeepShare => {
            "Of the balls that land in, the share that lands deep, in percentage points."
        }
        Outcome::InShare => "Of the balls hit, the share that lands in, in percentage points.",
        Outcome::TopspinShare => "Of the balls hit, the share with topspin, in percentage points.",
        Outcome::FlatShare => "Of the balls hit, the share hit flat, in percentage points.",
        Outcome::CrosscourtShare => {
            "Of the balls hit with one stroke, the share sent cross-court, in percentage points."
        }
        Outcome::LongRallyShare => {
            "Of the rallies played, the share longer than the protocol’s length, in percentage points."
        }
    };
    meaning.to_owned()
}

/// What the two ends of an outcome's axis mean: tighter's end, looser's end.
#[must_use]
pub const fn axis_ends(outcome: Outcome) -> (&'static str, &'static str) {
    match outcome {
        Outcome::Speed => ("tighter faster", "looser faster"),
        Outcome::DeepShare => ("tighter deeper", "looser deeper"),
        Outcome::InShare => ("tighter more in", "looser more in"),
        Outcome::TopspinShare => ("tighter more topspin", "looser more topspin"),
        Outcome::FlatShare => ("tighter more flat", "looser more flat"),
        Outcome::CrosscourtShare => ("tighter more cross-court", "looser more cross-court"),
        Outcome::LongRallyShare => ("tighter more long rallies", "looser more long rallies"),
        Outcome::PartnerSpeed => ("partner faster with tighter", "partner faster with looser"),
    }
}

/// On what ground the host decided, to end a sentence with.
#[must_use]
pub const fn ground_label(ground: Ground) -> &'static str {
    match ground {
        Ground::Plausible => "unusual, but what a session may look like",
        Ground::Explained => "what the sender wrote explains it",
        Ground::ImpossibleFigures => "figures that no session gives",
        Ground::Copied => "figures copied from other sessions",
        Ground::Mistyped => "a wrong unit or a typing mistake that was not mended",
        Ground::AgainstProtocol => "not played as the protocol asks",
        Ground::Trial => "sent to try the service out",
        Ground::Other => "another ground",
    }
}

/// What a shot class is called on a page.
#[must_use]
pub fn class_label(class: ShotClass) -> String {
    let stroke = match class.stroke {
        Stroke::Forehand => "forehand",
        Stroke::Backhand => "backhand",
        Stroke::Serve => "serve",
        Stroke::Volley => "volley",
        Stroke::All => "all strokes",
    };
    let direction = match class.direction {
        Direction::Crosscourt => ", crosscourt",
        Direction::DownTheLine => ", down the line",
        Direction::Middle => ", through the middle",
        Direction::All => "",
    };
    format!("{stroke}{direction}")
}

/// What a gap band is called on a page.
#[must_use]
pub fn band_label<'a>(band: GapBand, wording: impl Into<Wording<'a>>) -> String {
    let wording = wording.into();
    let unit = wording.units.tension.code();
    match wording.bands.range(band) {
        (None, Some(high)) => format!("under {} {unit}", wording.edge(high)),
        (Some(low), Some(high)) => format!(
            "{} to under {} {unit}",
            wording.edge(low),
            wording.edge(high)
        ),
        (Some(low), None) => format!("{} {unit} and over", wording.edge(low)),
        (None, None) => "any size".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SpeedUnit;

    fn bands(unit: TensionUnit, edges: &[i64]) -> GapBands {
        let edges = edges.iter().copied().map(Hundredths::from_count);
        GapBands::new(unit, edges.collect()).unwrap()
    }

    fn told(bands: &GapBands, tension: TensionUnit) -> Vec<String> {
        let wording = Wording {
            bands,
            units: Units::unchosen(tension),
        };
        bands.all().map(|band| band_label(band, wording)).collect()
    }

    #[test]
    fn bands_are_exact_in_their_own_unit_and_rounded_in_the_other() {
        let pounds = bands(TensionUnit::Pound, &[500, 800, 1250]);
        assert_eq!(
            told(&pounds, TensionUnit::Pound),
            [
                "5 to under 8 lb",
                "8 to under 12.5 lb",
                "12.5 lb and over",
                "under 5 lb"
            ]
        );
        assert_eq!(
            told(&pounds, TensionUnit::Kilogram),
            [
                "2.3 to under 3.6 kg",
                "3.6 to under 5.7 kg",
                "5.7 kg and over",
                "under 2.3 kg"
            ]
        );
        let kilograms = bands(TensionUnit::Kilogram, &[200, 350]);
        assert_eq!(
            told(&kilograms, TensionUnit::Pound),
            ["4.4 to under 7.7 lb", "7.7 lb and over", "under 4.4 lb"]
        );
        assert_eq!(
            band_label(GapBand::Numbered(0), &kilograms),
            "2 to under 3.5 kg"
        );
    }

    #[test]
    fn edges_that_would_meet_get_a_further_decimal() {
        let close = bands(TensionUnit::Pound, &[500, 510]);
        assert_eq!(
            told(&close, TensionUnit::Kilogram),
            ["2.27 to under 2.31 kg", "2.31 kg and over", "under 2.27 kg"]
        );
    }

    #[test]
    fn only_speeds_follow_the_unit_of_speed() {
        let bands = bands(TensionUnit::Pound, &[500]);
        let wording = Wording {
            bands: &bands,
            units: Units {
                speed: SpeedUnit::MilePerHour,
                tension: TensionUnit::Pound,
            },
        };
        assert_eq!(wording.unit(Outcome::Speed), "mph");
        assert_eq!(wording.unit(Outcome::DeepShare), "points");
        assert_eq!(
            wording.value(Outcome::PartnerSpeed, 1.609_344).to_bits(),
            1.0_f64.to_bits()
        );
        assert_eq!(
            wording.value(Outcome::InShare, 2.5).to_bits(),
            2.5_f64.to_bits()
        );
    }
}
