//! What a finding says in plain words.
//!
//! Wording rules: number, unit, range, pairs and players in one sentence; the direction and what
//! is compared are named; a range that spans zero is "we cannot tell", never "no difference",
//! unless the whole range is smaller than the host calls worthwhile: then "too small to matter".
//! The verb comes from [`super::certainty`]. The live page changes while data arrive, so the range
//! of a sentence is the one that may be read at any time, around its own estimate; where that does
//! not exist yet there is no claim. A claim also needs the ordinary range of the picture on the
//! same side, so that no sentence says more than the picture under it.

use super::certainty::CertaintyLevel;
use super::labels::{Wording, band_label};
use super::{Analysis, AnyTime, Finding};
use crate::numbers;
use crate::pooling::Interval;
use crate::protocol::{GapBand, GapBands};
use crate::vocabulary::{Outcome, word_list};

word_list! {
    /// How far a finding answers its question.
    Verdict {
        /// The looser string bed gives more of the outcome.
        LooserMore = "looser_more",
        /// The looser string bed gives less of the outcome.
        LooserLess = "looser_less",
        /// Both ranges lie inside the smallest worthwhile difference.
        TooSmall = "too_small_to_matter",
        /// A range spans zero.
        CannotTell = "cannot_tell",
        /// There is no range to rest a claim on.
        TooFew = "too_few_players",
    }
}

/// What is said of an analysis.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// How far it answers its question.
    pub verdict: Verdict,
    /// The same in words.
    pub sentence: String,
}

impl Said {
    /// `None` for an analysis that is withheld.
    #[must_use]
    pub fn of(analysis: &Analysis, bands: &GapBands) -> Option<Self> {
        let finding = analysis.result.as_ref().ok()?;
        Some(Self {
            verdict: verdict(finding, analysis.smallest_worthwhile),
            sentence: sentence(analysis, bands),
        })
    }
}

/// What a finding allows to be said, given the smallest worthwhile difference.
#[must_use]
pub fn verdict(finding: &Finding, smallest_worthwhile: Option<f64>) -> Verdict {
    let (Ok(shown), Ok(any_time)) = (&finding.shown, &finding.any_time) else {
        return Verdict::TooFew;
    };
    verdict_of(&[shown.interval, any_time.interval], smallest_worthwhile)
}

/// What ranges of one difference allow to be said together, given the smallest worthwhile
/// difference: no more than any of them alone.
pub(super) fn verdict_of(ranges: &[Interval], smallest_worthwhile: Option<f64>) -> Verdict {
    let all = |holds: &dyn Fn(Interval) -> bool| ranges.iter().all(|range| holds(*range));
    let is_inside = |size: f64| all(&|range| -size < range.low && range.high < size);
    if smallest_worthwhile.is_some_and(is_inside) {
        Verdict::TooSmall
    } else if all(&|range| 0.0 < range.low) {
        Verdict::LooserMore
    } else if all(&|range| range.high < 0.0) {
        Verdict::LooserLess
    } else {
        Verdict::CannotTell
    }
}

/// The answer to one question over all its gap bands, in one to three sentences. `analyses` are
/// those of one outcome and shot class; bands under protocol are left out.
#[must_use]
pub fn answer<'a>(
    outcome: Outcome,
    analyses: &[&Analysis],
    wording: impl Into<Wording<'a>>,
) -> String {
    told(outcome, analyses, wording.into(), true)
}

/// The same without its figures, for where they stand beside it in a picture.
#[must_use]
pub fn answer_in_words<'a>(
    outcome: Outcome,
    analyses: &[&Analysis],
    wording: impl Into<Wording<'a>>,
) -> String {
    told(outcome, analyses, wording.into(), false)
}

fn told(
    outcome: Outcome,
    analyses: &[&Analysis],
    wording: Wording<'_>,
    with_figures: bool,
) -> String {
    let counted: Vec<&&Analysis> = analyses
        .iter()
        .filter(|analysis| analysis.key.band != GapBand::UnderProtocol)
        .collect();
    // Gaps of which the same is said stand together, in the order of the first of them.
    let mut claims: Vec<(String, Vec<String>)> = Vec::new();
    for analysis in &counted {
        let Some((claim, size)) = claim(analysis, wording) else {
            continue;
        };
        let mut gap = format!("of {}", band_label(analysis.key.band, wording));
        if with_figures {
            gap = format!("{gap} ({size})");
        }
        match claims.iter_mut().find(|(earlier, _)| *earlier == claim) {
            Some((_, gaps)) => gaps.push(gap),
            None => claims.push((claim, vec![gap])),
        }
    }
    let n_claims: usize = claims.iter().map(|(_, gaps)| gaps.len()).sum();
    if n_claims == 0 {
        let question = question(outcome);
        let any_open = counted.iter().any(|analysis| {
            analysis.result.as_ref().is_ok_and(|finding| {
                verdict(finding, analysis.smallest_worthwhile) == Verdict::CannotTell
            })
        });
        return if any_open {
            format!("We cannot tell {question}, at any gap.")
        } else {
            format!("Too few players so far to tell {question}.")
        };
    }
    let mut sentences: Vec<String> = claims
        .into_iter()
        .map(|(claim, gaps)| format!("{} at a gap {}.", capitalised(&claim), listed(&gaps)))
        .collect();
    if n_claims < counted.len() {
        sentences.push("At other gaps we cannot tell.".to_owned());
    }
    sentences.join(" ")
}

/// What an analysis claims, with its figures; `None` when it claims nothing.
fn claim(analysis: &Analysis, wording: Wording<'_>) -> Option<(String, String)> {
    let finding = analysis.result.as_ref().ok()?;
    let outcome = analysis.key.outcome;
    let claim = match verdict(finding, analysis.smallest_worthwhile) {
        Verdict::LooserMore => claimed(outcome, true, analysis.certainty()),
        Verdict::LooserLess => claimed(outcome, false, analysis.certainty()),
        Verdict::TooSmall => too_small(analysis.certainty()).to_owned(),
        Verdict::CannotTell | Verdict::TooFew => return None,
    };
    let any_time = finding.any_time.ok()?;
    Some((claim, size(any_time, outcome, finding, wording)))
}

/// The estimate and range for a picture that stands beside what is said, away from the page. Where
/// a claim is made they are those it names. Where none is made, one of the two ranges may still
/// leave out zero; then it is the range that holds both, so that no picture shows what its sentence
/// does not say. `None` where there is no range to rest a claim on.
#[must_use]
pub fn figures_beside(analysis: &Analysis) -> Option<AnyTime> {
    let finding = analysis.result.as_ref().ok()?;
    let (shown, any_time) = (finding.shown.ok()?, finding.any_time.ok()?);
    let range = match verdict(finding, analysis.smallest_worthwhile) {
        Verdict::CannotTell => any_time.interval.widened_to(&shown.interval),
        _ => any_time.interval,
    };
    Some(AnyTime {
        interval: possible(range, analysis.key.outcome),
        ..any_time
    })
}

/// Whether any finding with a claim leaves open that another such player sees the opposite.
#[must_use]
pub fn may_go_either_way(analyses: &[Analysis]) -> bool {
    analyses
        .iter()
        .filter(|analysis| analysis.primary)
        .filter_map(|analysis| {
            let finding = analysis.result.as_ref().ok()?;
            match verdict(finding, analysis.smallest_worthwhile) {
                Verdict::CannotTell | Verdict::TooFew => None,
                _ => finding.shown.ok()?.prediction.ok(),
            }
        })
        .any(spans_zero)
}

/// What one analysis says: the claim with its figures, and the range for another such player.
#[must_use]
pub fn sentence<'a>(analysis: &Analysis, wording: impl Into<Wording<'a>>) -> String {
    let wording = wording.into();
    sentence_at(&band_label(analysis.key.band, wording), analysis, wording)
}

/// The same where the gap is called otherwise than by the analysis' band.
pub(super) fn sentence_at(gap: &str, analysis: &Analysis, wording: Wording<'_>) -> String {
    let finding = match &analysis.result {
        Err(withheld) => {
            return format!(
                "At a gap of {gap}, fewer than {} players so far, so nothing is shown.",
                withheld.minimum_players
            );
        }
        Ok(finding) => finding,
    };
    let (Ok(shown), Ok(any_time)) = (&finding.shown, &finding.any_time) else {
        return format!(
            "At a gap of {gap}, too few players for a claim yet ({}).",
            counts(finding)
        );
    };
    let outcome = analysis.key.outcome;
    let (said, size) = claim(analysis, wording).unwrap_or_else(|| {
        (
            format!("we cannot tell {}", question(outcome)),
            size(*any_time, outcome, finding, wording),
        )
    });
    let claim = format!("At a gap of {gap}, {said}: looser minus tighter is {size}.");
    match shown.another() {
        Some(range) => {
            // The sentence has the wider range of the mean, and the one for another is no narrower.
            let range = possible(range.widened_to(&any_time.interval), outcome);
            let range = wording.range(outcome, range);
            let decimals = numbers::decimals_for((range.high - range.low) / 2.0);
            format!(
                "{claim} For another pair of sessions by another such player it could be from {} {}.",
                numbers::interval(range.low, range.high, decimals),
                wording.unit(outcome)
            )
        }
        None => claim,
    }
}

/// What is asked of an outcome, behind "we cannot tell".
const fn question(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Speed => "which string bed is faster",
        Outcome::DeepShare => {
            "with which string bed a larger share of the balls that are in lands deep"
        }
        Outcome::InShare => "which string bed keeps a larger share of balls in",
        Outcome::TopspinShare => "with which string bed a larger share of shots has topspin",
        Outcome::FlatShare => "with which string bed a larger share of shots is flat",
        Outcome::CrosscourtShare => {
            "with which string bed a larger share of shots goes cross-court"
        }
        Outcome::LongRallyShare => "with which string bed a larger share of rallies is long",
        Outcome::PartnerSpeed => "against which string bed the partner hits faster",
    }
}

/// What the looser string bed does, in the verb that the certainty allows.
fn claimed(outcome: Outcome, looser_more: bool, certainty: CertaintyLevel) -> String {
    // What was not asked beforehand goes along with the string bed, and is not said to be its work.
    const GO: &str = "go with";
    const GOES: &str = "goes with";
    let (plain, third_person, more, less) = match outcome {
        Outcome::Speed => ("make", "makes", "the ball faster", "the ball slower"),
        // Of shares the share is told: a session may have fewer balls in and yet more of them deep.
        Outcome::DeepShare => (
            "land deep",
            "lands deep",
            "a larger share of the balls that are in",
            "a smaller share of the balls that are in",
        ),
        Outcome::InShare => (
            "keep",
            "keeps",
            "a larger share of balls in",
            "a smaller share of balls in",
        ),
        Outcome::TopspinShare => (
            GO,
            GOES,
            "a larger share of topspin shots",
            "a smaller share of topspin shots",
        ),
        Outcome::FlatShare => (
            GO,
            GOES,
            "a larger share of flat shots",
            "a smaller share of flat shots",
        ),
        Outcome::CrosscourtShare => (
            GO,
            GOES,
            "a larger share of cross-court shots",
            "a smaller share of cross-court shots",
        ),
        Outcome::LongRallyShare => (
            GO,
            GOES,
            "a larger share of long rallies",
            "a smaller share of long rallies",
        ),
        Outcome::PartnerSpeed => (GO, GOES, "a faster partner", "a slower partner"),
    };
    let what = if looser_more { more } else { less };
    let bed = "the looser string bed";
    match certainty {
        CertaintyLevel::High => format!("{bed} {third_person} {what}"),
        CertaintyLevel::Moderate => format!("{bed} probably {third_person} {what}"),
        CertaintyLevel::Low => format!("{bed} may {plain} {what}"),
        CertaintyLevel::VeryLow => {
            format!("we are very unsure whether {bed} {third_person} {what}")
        }
    }
}

const fn too_small(certainty: CertaintyLevel) -> &'static str {
    match certainty {
        CertaintyLevel::High => "the difference is too small to matter",
        CertaintyLevel::Moderate => "the difference is probably too small to matter",
        CertaintyLevel::Low => "the difference may be too small to matter",
        CertaintyLevel::VeryLow => {
            "we are very unsure whether the difference is too small to matter"
        }
    }
}

/// A range as far as it is possible: a share cannot change by more than 100 points.
pub(super) fn possible(range: Interval, outcome: Outcome) -> Interval {
    let most = match outcome {
        Outcome::Speed | Outcome::PartnerSpeed => return range,
        _ => 100.0,
    };
    Interval {
        low: range.low.clamp(-most, most),
        high: range.high.clamp(-most, most),
    }
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// Estimate, range and counts: "+2.5 km/h, 95 % range 0.3 to 5.1; 50 pairs, 48 players".
fn size(any_time: AnyTime, outcome: Outcome, finding: &Finding, wording: Wording<'_>) -> String {
    let range = wording.range(outcome, possible(any_time.interval, outcome));
    let decimals = numbers::decimals_of_range(range.low, range.high);
    format!(
        "{}\u{A0}{}, {} range {}; {}",
        numbers::signed(wording.value(outcome, any_time.estimate), decimals),
        wording.unit(outcome),
        numbers::percent(finding.pooled.level.value(), 0),
        numbers::interval(range.low, range.high, decimals),
        behind(any_time, finding)
    )
}

/// Pairs and players behind an estimate, which may rest on the most precise pair of each player.
fn behind(any_time: AnyTime, finding: &Finding) -> String {
    if finding.pooled.k == any_time.k {
        return counts(finding);
    }
    let number = u64::try_from(any_time.k).unwrap_or(u64::MAX);
    format!(
        "{}, one of each player",
        numbers::counted(number, "pair", "pairs")
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

#[cfg(test)]
mod tests;
