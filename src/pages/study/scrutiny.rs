//! What puts the answer of a question to the test, as words and tables.

use super::figures::{Line, Table};
use super::range_words;
use crate::findings::Analysis;
use crate::findings::caveats::Caveat;
use crate::findings::certainty::CertaintyReason;
use crate::findings::labels::{band_label, unit_words};
use crate::findings::questions::{POUNDS_PER_KILOGRAM, Question, Slope};
use crate::findings::scrutiny::Scrutiny;
use crate::findings::sensitivity::{Brief, Sensitivity, sentence};
use crate::numbers;
use crate::protocol::{GapBand, GapBands};

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
pub(super) fn said(analyses: &[&Analysis], bands: &GapBands) -> Vec<Said> {
    let counted = analyses
        .iter()
        .filter(|analysis| analysis.key.band != GapBand::UnderProtocol);
    counted
        .map(|analysis| Said {
            sentence: crate::findings::words::sentence(analysis, bands),
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

/// The same question asked in other ways: a row for each way, a column for each gap.
pub(super) fn sensitivity(analyses: &[&Analysis], bands: &GapBands) -> Table {
    let shown: Vec<(&&Analysis, &Scrutiny)> = analyses
        .iter()
        .filter(|analysis| analysis.key.band != GapBand::UnderProtocol)
        .filter_map(|analysis| Some((analysis, analysis.scrutiny.as_deref()?)))
        .collect();
    let columns: Vec<String> = shown
        .iter()
        .map(|(analysis, _)| band_label(analysis.key.band, bands))
        .collect();
    let kinds = Sensitivity::ALL.iter().filter(|kind| {
        let has = |scrutiny: &Scrutiny| scrutiny.sensitivity.iter().any(|line| line.kind == **kind);
        shown.iter().any(|(_, scrutiny)| has(scrutiny))
    });
    // A pair has one gap, so no pair is counted twice.
    let n_corrected = shown.iter().map(|(analysis, _)| analysis.n_corrected).sum();
    let lines = kinds.map(|kind| {
        let cells = shown.iter().zip(&columns).map(|((_, scrutiny), column)| {
            let line = scrutiny.sensitivity.iter().find(|line| line.kind == *kind);
            let brief = line.and_then(|line| line.result.ok());
            (
                column.clone(),
                super::figures::or_missing(brief.map(brief_words)),
            )
        });
        Line {
            label: sentence(*kind, n_corrected),
            apart: false,
            withheld: None,
            cells: cells.collect(),
        }
    });
    Table {
        lines: lines.collect(),
        columns,
    }
}

/// An estimate with its range.
pub(super) fn brief_words(brief: Brief) -> String {
    let (low, high) = (brief.interval.low, brief.interval.high);
    let decimals = numbers::decimals_of_range(low, high);
    format!(
        "{} ({})",
        numbers::signed(brief.estimate, decimals),
        numbers::interval(low, high, decimals)
    )
}

/// How much sessions of one player with one string bed differ, in one sentence with its unit; that it
/// is not known, where too few repeated sessions.
pub(super) fn session_words(analyses: &[&Analysis]) -> Option<String> {
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
                numbers::fixed(spread.variance.sqrt(), 1),
                unit_words(outcome),
                spread.players_at_least
            )
        },
    ))
}

/// How the effect grows with the gap, in one sentence with its unit.
pub(super) fn slope_words(question: &Question) -> Option<String> {
    let found = &question.found.as_ref()?.dose_response;
    let unit = unit_words(question.about.outcome);
    let words = |slope: Slope| {
        let (low, high) = (slope.interval.low, slope.interval.high);
        let decimals = numbers::decimals_of_range(low, high);
        format!(
            "{}\u{A0}{unit} (95\u{A0}% range {})",
            numbers::signed(slope.estimate, decimals),
            range_words((low, high))
        )
    };
    let (per_5_lb, per_kg) = (found.slope(5.0), found.slope(POUNDS_PER_KILOGRAM));
    Some(match (per_5_lb, per_kg) {
        (Ok(per_5_lb), Ok(per_kg)) => format!(
            "Taking no gap as no effect, looser minus tighter changes by {} for every 5\u{A0}lb of gap, or {} for every kilogram, over {}.",
            words(per_5_lb),
            words(per_kg),
            numbers::counted(super::to_u64(found.origin.k), "pair", "pairs")
        ),
        (Err(reason), _) | (_, Err(reason)) => {
            format!("How the effect grows with the gap is not estimable: {reason}")
        }
    })
}
