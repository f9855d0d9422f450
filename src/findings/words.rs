//! What a finding says, in one sentence.
//!
//! Wording rules: number, unit, range, pairs and players in one sentence; the direction and what
//! is compared are named; a range that spans zero is "we cannot tell", never "no difference"; the
//! verb stays at "may", because contributions are neither randomised nor supervised, so certainty
//! starts low; and it speaks of players who chose to take part. The live page changes while data
//! arrive, so the range of its sentence is the one that may be read at any time; where that does
//! not exist yet there is no claim.

use super::{Analysis, Finding};
use crate::numbers;
use crate::pooling::Interval;
use crate::protocol::{GapBand, GapBands};
use crate::vocabulary::{Direction, Outcome, ShotClass, Stroke};

/// The sentence for one analysis.
#[must_use]
pub fn sentence(analysis: &Analysis, bands: &GapBands) -> String {
    let gap = band_label(analysis.key.band, bands);
    match &analysis.result {
        Err(withheld) => format!(
            "At a gap of {gap}: fewer than {} players so far, so nothing is shown.",
            withheld.minimum_players
        ),
        Ok(finding) => {
            let claim = claim(analysis.key.outcome, finding);
            format!("At a gap of {gap}: {claim}")
        }
    }
}

fn claim(outcome: Outcome, finding: &Finding) -> String {
    let counts = counts(finding);
    let (Ok(shown), Ok(any_time)) = (&finding.shown, &finding.any_time) else {
        return format!("too few players for a claim yet ({counts}).");
    };
    let size = size(shown.estimate, *any_time, outcome);
    if spans_zero(*any_time) {
        let question = match outcome {
            Outcome::Speed => "which string bed is faster",
            Outcome::DeepShare => "which string bed lands more balls deep",
            Outcome::InShare => "which string bed keeps more balls in",
        };
        return format!("we cannot tell {question}; looser minus tighter is {size}; {counts}.");
    }
    let looser_more = 0.0 < shown.estimate;
    let direction = match (outcome, looser_more) {
        (Outcome::Speed, true) => "may make the ball faster",
        (Outcome::Speed, false) => "may make the ball slower",
        (Outcome::DeepShare, true) => "may land more balls deep",
        (Outcome::DeepShare, false) => "may land fewer balls deep",
        (Outcome::InShare, true) => "may keep more balls in",
        (Outcome::InShare, false) => "may keep fewer balls in",
    };
    format!("the looser string bed {direction}: {size}; {counts}.")
}

fn size(estimate: f64, range: Interval, outcome: Outcome) -> String {
    let decimals = numbers::decimals_for((range.high - range.low) / 2.0);
    format!(
        "{} {}, 95 % range {}",
        numbers::signed(estimate, decimals),
        unit_words(outcome),
        numbers::interval(range.low, range.high, decimals)
    )
}

/// Pairs and players in words.
#[must_use]
pub fn counts(finding: &Finding) -> String {
    let number = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
    format!(
        "{}, {}",
        numbers::counted(number(finding.pooled.k), "pair", "pairs"),
        numbers::counted(number(finding.pooled.n_clusters), "player", "players")
    )
}

/// Whether a range has zero inside it or at an end.
#[must_use]
pub const fn spans_zero(range: Interval) -> bool {
    range.low <= 0.0 && 0.0 <= range.high
}

/// The unit of an outcome as it stands behind a number.
#[must_use]
pub const fn unit_words(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Speed => "km/h",
        Outcome::DeepShare | Outcome::InShare => "points",
    }
}

/// What an outcome is called on a page.
#[must_use]
pub const fn outcome_label(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Speed => "Mean ball speed",
        Outcome::DeepShare => "Deep share",
        Outcome::InShare => "In share",
    }
}

/// What the two ends of an outcome's axis mean: tighter's end, looser's end.
#[must_use]
pub const fn axis_ends(outcome: Outcome) -> (&'static str, &'static str) {
    match outcome {
        Outcome::Speed => ("tighter faster", "looser faster"),
        Outcome::DeepShare => ("tighter deeper", "looser deeper"),
        Outcome::InShare => ("tighter more in", "looser more in"),
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
