//! What a finding says in plain words.
//!
//! Wording rules: number, unit, range, pairs and players in one sentence; the direction and what
//! is compared are named; a range that spans zero is "we cannot tell", never "no difference"; the
//! verb stays at "may", because contributions are neither randomised nor supervised, so certainty
//! starts low. The live page changes while data arrive, so the range of a sentence is the one that
//! may be read at any time, around its own estimate; where that does not exist yet there is no
//! claim. A claim also needs
//! the ordinary range of the picture on the same side of zero, so that no sentence says more than
//! the picture under it.

use super::{Analysis, AnyTime, Finding};
use crate::numbers;
use crate::pooling::Interval;
use crate::protocol::{GapBand, GapBands};
use crate::vocabulary::{Direction, Outcome, ShotClass, Stroke};

/// How far a finding answers its question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// The looser string bed may give more of the outcome.
    LooserMore,
    /// The looser string bed may give less of the outcome.
    LooserLess,
    /// A range spans zero.
    CannotTell,
    /// There is no range to rest a claim on.
    TooFew,
}

/// What a finding allows to be said.
#[must_use]
pub fn verdict(finding: &Finding) -> Verdict {
    match (&finding.shown, &finding.any_time) {
        (Ok(shown), Ok(any_time)) => {
            let any_time = any_time.interval;
            if 0.0 < any_time.low && 0.0 < shown.interval.low {
                Verdict::LooserMore
            } else if any_time.high < 0.0 && shown.interval.high < 0.0 {
                Verdict::LooserLess
            } else {
                Verdict::CannotTell
            }
        }
        _ => Verdict::TooFew,
    }
}

/// The answer to one question over all its gap bands, in one to three sentences. `analyses` are
/// those of one outcome and shot class; bands under protocol are left out.
#[must_use]
pub fn answer(outcome: Outcome, analyses: &[&Analysis], bands: &GapBands) -> String {
    let counted: Vec<(GapBand, Option<&Finding>)> = analyses
        .iter()
        .filter(|analysis| analysis.key.band != GapBand::UnderProtocol)
        .map(|analysis| (analysis.key.band, analysis.result.as_ref().ok()))
        .collect();
    let with = |wanted: Verdict| -> Vec<String> {
        counted
            .iter()
            .filter_map(|(band, finding)| Some((*band, (*finding)?)))
            .filter(|(_, finding)| verdict(finding) == wanted)
            .filter_map(|(band, finding)| {
                let gap = band_label(band, bands);
                let size = size(finding.any_time.ok()?, outcome, finding);
                Some(format!("of {gap} ({size})"))
            })
            .collect()
    };
    let (more, less) = (with(Verdict::LooserMore), with(Verdict::LooserLess));
    let n_claims = more.len() + less.len();
    if n_claims == 0 {
        let question = question(outcome);
        return if with(Verdict::CannotTell).is_empty() {
            format!("Too few players so far to tell {question}.")
        } else {
            format!("We cannot tell {question}, at any gap.")
        };
    }
    let mut sentences: Vec<String> = [(Verdict::LooserMore, more), (Verdict::LooserLess, less)]
        .into_iter()
        .filter(|(_, gaps)| !gaps.is_empty())
        .map(|(verdict, gaps)| {
            let may = may(outcome, verdict == Verdict::LooserMore);
            format!("The looser string bed {may} at a gap {}.", listed(&gaps))
        })
        .collect();
    if n_claims < counted.len() {
        sentences.push("At other gaps we cannot tell.".to_owned());
    }
    sentences.join(" ")
}

/// Whether any finding with a claim leaves open that another such player sees the opposite.
#[must_use]
pub fn may_go_either_way(analyses: &[Analysis]) -> bool {
    analyses
        .iter()
        .filter(|analysis| analysis.primary)
        .filter_map(|analysis| analysis.result.as_ref().ok())
        .filter(|finding| matches!(verdict(finding), Verdict::LooserMore | Verdict::LooserLess))
        .filter_map(|finding| finding.shown.ok()?.prediction.ok())
        .any(spans_zero)
}

/// What one analysis says: the claim with its figures, and the range for another such player.
#[must_use]
pub fn sentence(analysis: &Analysis, bands: &GapBands) -> String {
    let gap = band_label(analysis.key.band, bands);
    match &analysis.result {
        Err(withheld) => format!(
            "At a gap of {gap}, fewer than {} players so far, so nothing is shown.",
            withheld.minimum_players
        ),
        Ok(finding) => claim(analysis.key.outcome, &gap, finding),
    }
}

fn claim(outcome: Outcome, gap: &str, finding: &Finding) -> String {
    let (Ok(shown), Ok(any_time)) = (&finding.shown, &finding.any_time) else {
        return format!(
            "At a gap of {gap}, too few players for a claim yet ({}).",
            counts(finding)
        );
    };
    let said = match verdict(finding) {
        Verdict::LooserMore => format!("the looser string bed {}", may(outcome, true)),
        Verdict::LooserLess => format!("the looser string bed {}", may(outcome, false)),
        Verdict::CannotTell | Verdict::TooFew => {
            format!("we cannot tell {}", question(outcome))
        }
    };
    let size = size(*any_time, outcome, finding);
    let claim = format!("At a gap of {gap}, {said}: looser minus tighter is {size}.");
    match shown.prediction {
        Ok(range) => {
            let decimals = numbers::decimals_for((range.high - range.low) / 2.0);
            format!(
                "{claim} For another such player it could be from {} {}.",
                numbers::interval(range.low, range.high, decimals),
                unit_words(outcome)
            )
        }
        Err(_) => claim,
    }
}

/// What is asked of an outcome, behind "we cannot tell".
const fn question(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Speed => "which string bed is faster",
        Outcome::DeepShare => "which string bed lands more balls deep",
        Outcome::InShare => "which string bed keeps more balls in",
    }
}

/// What the looser string bed may do.
const fn may(outcome: Outcome, looser_more: bool) -> &'static str {
    match (outcome, looser_more) {
        (Outcome::Speed, true) => "may make the ball faster",
        (Outcome::Speed, false) => "may make the ball slower",
        (Outcome::DeepShare, true) => "may land more balls deep",
        (Outcome::DeepShare, false) => "may land fewer balls deep",
        (Outcome::InShare, true) => "may keep more balls in",
        (Outcome::InShare, false) => "may keep fewer balls in",
    }
}

/// Estimate, range and counts: "+2.5 km/h, 95 % range 0.3 to 5.1; 50 pairs, 48 players".
fn size(any_time: AnyTime, outcome: Outcome, finding: &Finding) -> String {
    let range = any_time.interval;
    let mut decimals = numbers::decimals_for((range.high - range.low) / 2.0);
    // Rounding may not make a range that leaves zero out look as if it ended there.
    let ends_at_zero = |decimals: usize| {
        !spans_zero(range)
            && [range.low, range.high]
                .iter()
                .any(|end| numbers::rounds_to_zero(*end, decimals))
    };
    while decimals < numbers::MOST_DECIMALS && ends_at_zero(decimals) {
        decimals += 1;
    }
    format!(
        "{}\u{A0}{}, {} range {}; {}",
        numbers::signed(any_time.estimate, decimals),
        unit_words(outcome),
        numbers::percent(finding.pooled.level.value(), 0),
        numbers::interval(range.low, range.high, decimals),
        counts(finding)
    )
}

/// "a", "a and b", "a, b and c".
fn listed(items: &[String]) -> String {
    match items.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        Some((last, _)) => last.clone(),
        None => String::new(),
    }
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

/// What an outcome measures, in one sentence.
#[must_use]
pub const fn outcome_meaning(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Speed => "The ball’s mean speed, in km/h.",
        Outcome::DeepShare => {
            "Of the balls that land in, the share that lands deep, in percentage points."
        }
        Outcome::InShare => "Of the balls hit, the share that lands in, in percentage points.",
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

#[cfg(test)]
mod tests;
