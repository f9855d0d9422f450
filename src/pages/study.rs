//! The public page of a study: question, answer, one picture for each primary outcome, and then
//! detail for who wants it.

pub(super) mod figures;
mod scrutiny;

use crate::disclosure::Everybody;
use crate::findings::labels::{
    axis_ends, band_label, class_label, outcome_label, outcome_meaning, unit_words,
};
use crate::findings::words::{answer, counts, may_go_either_way};
use crate::findings::{self, Analysis, Finding, Findings, Publication, Shown};
use crate::numbers;
use crate::plots::forest::{Block, Forest, Layout, Row, Summary, forest};
use crate::protocol::{GapBand, GapBands, PrimaryOutcome, Study, StudyLabel};
use crate::vocabulary::Outcome;
use askama::Template;
use figures::Table;
use scrutiny::{Said, sensitivity, session_words, slope_words};

#[derive(Template)]
#[template(path = "study.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    invented: bool,
    study: &'a Study,
    players: String,
    batch: Option<Batch<'a>>,
    renewing: bool,
    either_way: bool,
    questions: Vec<Question>,
    other: Table,
    cautions: Vec<&'a str>,
    consent: Vec<&'a str>,
    rows: String,
    unsent: Option<String>,
}

/// The batch that the figures belong to.
struct Batch<'a> {
    number: i64,
    date: &'a str,
}

/// One primary outcome: its answer, picture and figures.
struct Question {
    label: String,
    meaning: &'static str,
    is_depth: bool,
    id: String,
    answer: String,
    wide: String,
    narrow: String,
    said: Vec<Said>,
    slope: Option<String>,
    sessions: Option<String>,
    sensitivity: Table,
    is_speed: bool,
    unit: &'static str,
    figures: Table,
    disagreement: Table,
}

/// Why a block of smaller gaps stands apart.
const UNDER_PROTOCOL: &str = "Smaller gap than the protocol asks, not part of the answer";

/// What every picture says when its data are made up, since a picture may be copied alone.
const INVENTED: &str = "Invented data: nobody hit these balls.";

/// The page of a study with all that is published of it.
///
/// # Errors
/// When the template cannot be filled.
pub fn study(
    study: &Study,
    publication: &Publication,
    findings: &Findings,
    everybody: &[Everybody],
    renewing: bool,
) -> Result<String, askama::Error> {
    let analyses = findings.analyses.as_slice();
    let bands = &publication.rules.bands;
    let primary = &publication.rules.primary;
    let of = |primary: &PrimaryOutcome| -> Vec<&Analysis> {
        analyses
            .iter()
            .filter(|analysis| is_of(analysis, primary))
            .collect()
    };
    let other: Vec<&Analysis> = analyses
        .iter()
        .filter(|analysis| !primary.iter().any(|primary| is_of(analysis, primary)))
        .collect();
    Page {
        invented: study.label.invented,
        study,
        renewing,
        players: players_words(publication),
        batch: publication.batch.as_ref().map(|batch| Batch {
            number: batch.number,
            date: &batch.date,
        }),
        either_way: may_go_either_way(analyses),
        questions: primary
            .iter()
            .map(|primary| {
                let mut questions = findings.questions.iter();
                let over_all_gaps = questions.find(|question| question.about == *primary);
                let analyses = of(primary);
                question(
                    &study.label,
                    primary,
                    &analyses,
                    over_all_gaps,
                    everybody,
                    bands,
                )
            })
            .collect(),
        other: figures::mixed(&other, everybody, bands),
        cautions: paragraphs(&study.protocol.caution),
        consent: paragraphs(&study.protocol.consent.text),
        rows: numbers::counted(to_u64(publication.rows.len()), "row", "rows"),
        unsent: unsent_words(publication),
    }
    .render()
}

fn is_of(analysis: &Analysis, primary: &PrimaryOutcome) -> bool {
    analysis.key.outcome == primary.outcome && analysis.key.class == primary.class
}

/// Players with a published row. Every one of them is in an analysis of enough players.
fn players_words(publication: &Publication) -> String {
    let players = publication
        .rows
        .iter()
        .map(|row| row.group)
        .max()
        .unwrap_or(0);
    numbers::counted(to_u64(players), "player", "players")
}

/// At least how many plans were opened without anything sent; `None` while no such number is known.
fn unsent_words(publication: &Publication) -> Option<String> {
    let unsent = publication.plans?.every_order.unsent;
    (0 < unsent).then(|| numbers::counted(to_u64(unsent), "plan", "plans"))
}

/// The parts of a host's text between empty lines.
pub(super) fn paragraphs(text: &str) -> Vec<&str> {
    text.split("\n\n")
        .map(str::trim)
        .filter(|part| !part.is_empty())
        .collect()
}

fn question(
    study: &StudyLabel,
    primary: &PrimaryOutcome,
    analyses: &[&Analysis],
    over_all_gaps: Option<&findings::questions::Question>,
    everybody: &[Everybody],
    bands: &GapBands,
) -> Question {
    let label = format!(
        "{}, {}",
        outcome_label(primary.outcome),
        class_label(primary.class)
    );
    let id = format!(
        "{}-{}-{}",
        primary.outcome.code(),
        primary.class.stroke.code(),
        primary.class.direction.code()
    );
    let (left_words, right_words) = axis_ends(primary.outcome);
    let plot = Forest {
        id: id.replace('_', "-"),
        title: format!("{label}: looser minus tighter, by tension gap"),
        notice: study.invented.then(|| INVENTED.to_owned()),
        description: format!(
            "Forest plot. Left of zero: {left_words}; right of zero: {right_words}."
        ),
        unit: unit_words(primary.outcome).to_owned(),
        left_words: left_words.to_owned(),
        right_words: right_words.to_owned(),
        interval_words: "95 % range".to_owned(),
        blocks: analyses
            .iter()
            .map(|analysis| block(analysis, bands))
            .collect(),
    };
    Question {
        label,
        meaning: outcome_meaning(primary.outcome),
        is_depth: primary.outcome == Outcome::DeepShare,
        answer: answer(primary.outcome, analyses, bands),
        wide: forest(&plot, Layout::Wide),
        narrow: forest(&plot, Layout::Narrow),
        said: scrutiny::said(analyses, bands),
        slope: over_all_gaps.and_then(slope_words),
        sessions: session_words(analyses),
        sensitivity: sensitivity(analyses, bands),
        is_speed: primary.outcome == Outcome::Speed,
        unit: unit_words(primary.outcome),
        figures: figures::main(analyses, everybody, bands),
        disagreement: figures::disagreement(analyses, bands),
        id: plot.id,
    }
}

fn block(analysis: &Analysis, bands: &GapBands) -> Block {
    let label = band_label(analysis.key.band, bands);
    let apart = (analysis.key.band == GapBand::UnderProtocol).then(|| UNDER_PROTOCOL.to_owned());
    match &analysis.result {
        Err(withheld) => Block {
            label,
            counts: String::new(),
            rows: Vec::new(),
            summary: None,
            withheld: Some(withheld_words(withheld.minimum_players)),
            apart,
        },
        Ok(finding) => Block {
            label,
            counts: counts(finding),
            rows: finding
                .marks
                .iter()
                .map(|(estimate, weight)| Row {
                    estimate: *estimate,
                    weight: *weight,
                })
                .collect(),
            summary: summary(finding),
            withheld: None,
            apart,
        },
    }
}

fn withheld_words(minimum_players: usize) -> String {
    format!("Fewer than {minimum_players} players so far")
}

fn summary(finding: &Finding) -> Option<Summary> {
    finding.shown.ok().map(summary_of)
}

/// The pooled estimate as it stands in a picture.
pub(super) fn summary_of(shown: Shown) -> Summary {
    let (low, high) = (shown.interval.low, shown.interval.high);
    let prediction = shown.prediction.ok().map(|range| (range.low, range.high));
    Summary {
        estimate: shown.estimate,
        low,
        high,
        prediction,
        numbers: numbers::estimate_and_interval(shown.estimate, low, high),
        prediction_numbers: prediction.map(range_words),
    }
}

/// A range with the decimals its own width allows.
fn range_words((low, high): (f64, f64)) -> String {
    numbers::interval(low, high, numbers::decimals_of_range(low, high))
}

pub(super) fn to_u64(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests;
