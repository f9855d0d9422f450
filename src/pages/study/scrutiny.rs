//! What puts the answer of a question to the test, as words and tables.

use super::figures::{Line, Table, or_missing, signed_with_range, unbroken};
use super::{range_words, to_u64};
use crate::findings::Analysis;
use crate::findings::caveats::Caveat;
use crate::findings::certainty::CertaintyReason;
use crate::findings::labels::{Wording, band_label};
use crate::findings::questions::{POUNDS_PER_KILOGRAM, Question, Slope};
use crate::findings::scrutiny::Scrutiny;
use crate::findings::sensitivity::{Sensitivity, sentence};
use crate::numbers;
use crate::pooling::{Interval, Reason};
use crate::protocol::GapBand;
use crate::units::TensionUnit;
use crate::vocabulary::Outcome;

/// What is said of one gap, with what to hold against it.
pub(super) struct Said {
    /// The sentence.
    pub(super) sentence: String,
    /// How sure, in one word; `None` when nothing is shown.
    pub(super) certainty: Option<&'static str>,
    /// Why, and what else to hold against it.
    pub(super) reasons: Vec<String>,
}

/// What is said of each gap that follows the protocol.
pub(super) fn said(analyses: &[&Analysis], wording: Wording<'_>) -> Vec<Said> {
    let counted = analyses
        .iter()
        .filter(|analysis| analysis.key.band != GapBand::UnderProtocol);
    counted
        .map(|analysis| Said {
            sentence: crate::findings::words::sentence(analysis, wording),
            certainty: analysis
                .scrutiny
                .as_ref()
                .and_then(|scrutiny| Some(scrutiny.certainty.as_ref()?.level.words())),
            reasons: analysis
                .scrutiny
                .as_ref()
                .map(|scrutiny| reasons(scrutiny))
                .unwrap_or_default(),
        })
        .collect()
}

/// Why a finding is as sure as it is: each thing once. Doubts are told by their caveats, which have
/// the figures, and that pairs were sent without a plan by its reason.
fn reasons(scrutiny: &Scrutiny) -> Vec<String> {
    let is_doubt = |reason: &CertaintyReason| {
        matches!(
            reason,
            CertaintyReason::Heterogeneous | CertaintyReason::Imprecise | CertaintyReason::Fragile
        )
    };
    let reasons = scrutiny
        .certainty
        .iter()
        .flat_map(|certainty| &certainty.reasons)
        .filter(|reason| !is_doubt(reason))
        .map(|reason| reason.sentence().to_owned());
    let caveats = scrutiny
        .caveats
        .iter()
        .filter(|caveat| **caveat != Caveat::Retrospective)
        .map(|caveat| caveat.sentence());
    reasons.chain(caveats).collect()
}

/// The same question asked in other ways: a row for each way, a column for each gap. The last two rows
/// tell what single players do to the answer, and how much unsent sessions would.
pub(super) fn sensitivity(analyses: &[&Analysis], wording: Wording<'_>) -> Table {
    let shown: Vec<(&Analysis, &Scrutiny)> = analyses
        .iter()
        .filter(|analysis| analysis.key.band != GapBand::UnderProtocol)
        .filter_map(|analysis| Some((*analysis, analysis.scrutiny.as_deref()?)))
        .collect();
    let columns: Vec<String> = shown
        .iter()
        .map(|(analysis, _)| band_label(analysis.key.band, wording))
        .collect();
    let line = |label: String, cell: &dyn Fn(&Analysis, &Scrutiny) -> Option<String>| Line {
        label,
        apart: false,
        withheld: None,
        cells: shown
            .iter()
            .zip(&columns)
            .map(|((analysis, scrutiny), column)| {
                (column.clone(), or_missing(cell(analysis, scrutiny)))
            })
            .collect(),
    };
    let kinds = Sensitivity::ALL.iter().filter(|kind| {
        let has = |scrutiny: &Scrutiny| scrutiny.sensitivity.iter().any(|line| line.kind == **kind);
        shown.iter().any(|(_, scrutiny)| has(scrutiny))
    });
    // Some may have corrected pairs at several gaps, so that a sum could count them twice.
    let corrected = shown
        .iter()
        .map(|(analysis, _)| analysis.corrected_at_least);
    let corrected_at_least = corrected.max().unwrap_or_default();
    let mut lines: Vec<Line> = kinds
        .map(|kind| {
            line(
                sentence(*kind, corrected_at_least),
                &|analysis, scrutiny| {
                    let line = scrutiny.sensitivity.iter().find(|line| line.kind == *kind);
                    let brief = line?.result.ok()?;
                    let outcome = analysis.key.outcome;
                    Some(signed_with_range(
                        brief.estimate,
                        brief.interval,
                        outcome,
                        wording,
                    ))
                },
            )
        })
        .collect();
    if !shown.is_empty() {
        lines.push(line(
            "Each player left out in turn: the lowest and the highest estimate.".to_owned(),
            &|analysis, scrutiny| {
                let range = scrutiny.influence.range.ok()?;
                let words = range_words(wording.range(analysis.key.outcome, range));
                Some(unbroken(&words))
            },
        ));
        lines.push(line(
            "How many unsent pairs without any difference would bring zero into the range."
                .to_owned(),
            &|_, scrutiny| unsent_words(scrutiny),
        ));
    }
    Table { columns, lines }
}

fn unsent_words(scrutiny: &Scrutiny) -> Option<String> {
    let tipping = scrutiny.tipping.as_ref().ok()?;
    match &tipping.held {
        Ok(point) if point.n_unsent == 0 => Some("0: zero is in it".to_owned()),
        Ok(point) => Some(numbers::count(to_u64(point.n_unsent))),
        Err(Reason::TooManyFurtherEffects) => Some("very many".to_owned()),
        Err(_) => None,
    }
}

/// How much sessions of one player with one string bed differ, in one sentence with its unit; that it
/// is not known, where too few repeated sessions.
pub(super) fn session_words(analyses: &[&Analysis], wording: Wording<'_>) -> Option<String> {
    let mut tested = analyses
        .iter()
        .filter_map(|analysis| Some((analysis.key.outcome, analysis.scrutiny.as_deref()?)));
    let (outcome, scrutiny) = tested.next()?;
    Some(scrutiny.session_spread.map_or_else(
        || {
            "How much sessions of one player with one string bed differ is not known: too few players repeated sessions.".to_owned()
        },
        |spread| {
            format!(
                "Sessions of one player with one string bed differ by about {}\u{A0}{} (standard deviation beyond chance, from at least {} players).",
                numbers::fixed(wording.value(outcome, spread.variance.sqrt()), 1),
                wording.unit(outcome),
                spread.players_at_least
            )
        },
    ))
}

/// How the effect grows with the gap, in one sentence with its unit.
pub(super) fn slope_words(question: &Question, wording: Wording<'_>) -> Option<String> {
    let found = &question.found.as_ref()?.dose_response;
    let outcome = question.about.outcome;
    let (pounds, step) = match wording.units.tension {
        TensionUnit::Pound => (5.0, "5\u{A0}lb"),
        TensionUnit::Kilogram => (POUNDS_PER_KILOGRAM, "kilogram"),
    };
    let straight = match found.slope(pounds) {
        Ok(slope) => format!(
            "Taking no gap as no effect, looser minus tighter changes by {} for every {step} of gap, over {}.",
            slope_size(slope, outcome, wording),
            numbers::counted(to_u64(found.origin.k), "pair", "pairs")
        ),
        Err(reason) => {
            return Some(format!(
                "How the effect grows with the gap is not estimable: {reason}"
            ));
        }
    };
    let bend = found.bend().ok().map(|p| {
        format!(
            " A bend in the line: {}; a large p does not say that the line is straight.",
            numbers::p_value(p)
        )
    });
    Some(format!("{straight}{}", bend.unwrap_or_default()))
}

fn slope_size(slope: Slope, outcome: Outcome, wording: Wording<'_>) -> String {
    let range: Interval = wording.range(outcome, slope.interval);
    let decimals = numbers::decimals_of_range(range.low, range.high);
    format!(
        "{}\u{A0}{} (95\u{A0}% range {})",
        numbers::signed(wording.value(outcome, slope.estimate), decimals),
        wording.unit(outcome),
        numbers::interval(range.low, range.high, decimals)
    )
}

/// Whether gap bands differ, in one or two sentences; `None` where there are no two to compare.
pub(super) fn bands_words(question: &Question) -> Option<String> {
    let common = question.found.as_ref()?.bands.common.as_ref().ok()?;
    let test = common.between_safe.ok()?;
    Some(format!(
        "That every gap has the same effect: {} (one pair of each player). A large p does not say that they are alike.",
        numbers::p_value(test.p)
    ))
}
