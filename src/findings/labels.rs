//! What things are called on pages and in documents.

use crate::protocol::{GapBand, GapBands};
use crate::vocabulary::{Direction, Ground, Outcome, ShotClass, Stroke};

/// The unit of an outcome as it stands behind a number.
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
pub const fn outcome_meaning(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Speed => "The ball’s mean speed, in km/h.",
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
        Outcome::PartnerSpeed => "The mean speed of the hitting partner’s balls, in km/h.",
    }
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
pub fn band_label(band: GapBand, bands: &GapBands) -> String {
    let unit = bands.unit().code();
    match bands.range(band) {
        (None, Some(high)) => format!("under {} {unit}", high.to_f64()),
        (Some(low), Some(high)) => format!("{} to under {} {unit}", low.to_f64(), high.to_f64()),
        (Some(low), None) => format!("{} {unit} and over", low.to_f64()),
        (None, None) => "any size".to_owned(),
    }
}
