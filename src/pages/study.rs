//! The public page of a study.

use crate::disclosure::Everybody;
use crate::findings::words::{
    axis_ends, band_label, class_label, counts, outcome_label, sentence, unit_words,
};
use crate::findings::{Analysis, Finding, Publication};
use crate::numbers;
use crate::plots::forest::{Block, Forest, Layout, Row, Summary, forest};
use crate::protocol::{GapBand, GapBands, PrimaryOutcome, Study};
use askama::Template;

#[derive(Template)]
#[template(path = "study.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    invented: bool,
    study: &'a Study,
    players: String,
    batch: Option<String>,
    questions: Vec<Question>,
    other: Vec<Line>,
    everybody: Vec<EverybodyLine>,
    rows: usize,
}

/// One primary outcome: its sentences, picture and table.
struct Question {
    label: String,
    unit: &'static str,
    id: String,
    sentences: Vec<String>,
    wide: String,
    narrow: String,
    lines: Vec<Line>,
}

/// One analysis as a line of a table.
struct Line {
    label: String,
    band: String,
    withheld: Option<String>,
    cells: Vec<String>,
}

struct EverybodyLine {
    label: String,
    band: String,
    players: String,
    numbers: String,
}

/// Column heads of the table of pooled figures.
const COLUMNS: &[&str] = &[
    "Pairs",
    "Players",
    "Estimate",
    "95 % range",
    "Standard error",
    "New player",
    "Q (df), p",
    "I²",
    "H²",
    "τ (range)",
];

/// The page of a study with all that is published of it.
///
/// # Errors
/// When the template cannot be filled.
pub fn study(
    study: &Study,
    publication: &Publication,
    analyses: &[Analysis],
    everybody: &[Everybody],
) -> Result<String, askama::Error> {
    let bands = &publication.rules.bands;
    let declared = |analysis: &&Analysis| {
        publication
            .rules
            .primary
            .iter()
            .any(|primary| is_of(analysis, primary))
    };
    let questions = publication.rules.primary.iter().map(|primary| {
        let own: Vec<&Analysis> = analyses
            .iter()
            .filter(|analysis| is_of(analysis, primary))
            .collect();
        question(primary, &own, bands)
    });
    Page {
        invented: study.label.invented,
        study,
        players: players_words(publication),
        batch: publication
            .batch
            .as_ref()
            .map(|batch| format!("Batch {} of {}", batch.number, batch.date)),
        questions: questions.collect(),
        other: analyses
            .iter()
            .filter(|analysis| !declared(analysis))
            .map(|analysis| line(analysis, bands))
            .collect(),
        everybody: everybody
            .iter()
            .map(|figure| everybody_line(figure, bands))
            .collect(),
        rows: publication.rows.len(),
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

fn question(primary: &PrimaryOutcome, analyses: &[&Analysis], bands: &GapBands) -> Question {
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
    let sentences: Vec<String> = analyses
        .iter()
        .filter(|analysis| analysis.key.band != GapBand::UnderProtocol && analysis.result.is_ok())
        .map(|analysis| sentence(analysis, bands))
        .collect();
    let plot = Forest {
        id: id.replace('_', "-"),
        title: format!("{label}: looser minus tighter by tension gap"),
        description: sentences.join(" "),
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
        unit: unit_words(primary.outcome),
        wide: forest(&plot, Layout::Wide),
        narrow: forest(&plot, Layout::Narrow),
        lines: analyses
            .iter()
            .map(|analysis| line(analysis, bands))
            .collect(),
        label,
        id: plot.id,
        sentences,
    }
}

fn block_label(band: GapBand, bands: &GapBands) -> String {
    let label = band_label(band, bands);
    match band {
        GapBand::UnderProtocol => format!("{label}, under protocol"),
        GapBand::Numbered(_) => label,
    }
}

fn block(analysis: &Analysis, bands: &GapBands) -> Block {
    let label = block_label(analysis.key.band, bands);
    match &analysis.result {
        Err(withheld) => Block {
            label,
            counts: String::new(),
            rows: Vec::new(),
            summary: None,
            withheld: Some(withheld_words(withheld.minimum_players)),
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
        },
    }
}

fn withheld_words(minimum_players: usize) -> String {
    format!("Fewer than {minimum_players} players so far")
}

fn summary(finding: &Finding) -> Option<Summary> {
    let shown = finding.shown.ok()?;
    let (low, high) = (shown.interval.low, shown.interval.high);
    let prediction = shown.prediction.ok().map(|range| (range.low, range.high));
    let decimals = numbers::decimals_for((high - low) / 2.0);
    Some(Summary {
        estimate: shown.estimate,
        low,
        high,
        prediction,
        numbers: numbers::estimate_and_interval(shown.estimate, low, high),
        prediction_numbers: prediction.map(|(low, high)| numbers::interval(low, high, decimals)),
    })
}

fn line(analysis: &Analysis, bands: &GapBands) -> Line {
    let key = &analysis.key;
    Line {
        label: format!("{}, {}", outcome_label(key.outcome), class_label(key.class)),
        band: block_label(key.band, bands),
        withheld: analysis
            .result
            .as_ref()
            .err()
            .map(|withheld| withheld_words(withheld.minimum_players)),
        cells: analysis.result.as_ref().map(cells).unwrap_or_default(),
    }
}

/// The figures of one analysis, in the order of [`COLUMNS`].
fn cells(finding: &Finding) -> Vec<String> {
    let missing = || numbers::NOT_ESTIMABLE.to_owned();
    let shown = finding.shown.ok();
    let decimals = shown.map_or(2, |shown| {
        numbers::decimals_for((shown.interval.high - shown.interval.low) / 2.0)
    });
    let heterogeneity = finding.pooled.heterogeneity.as_ref().ok();
    let model = finding.pooled.reml.as_ref().ok();
    let tau_range = heterogeneity.map(|found| match found.tau_squared {
        Ok(range) => numbers::interval(range.low.sqrt(), range.high.sqrt(), decimals),
        Err(_) => "more alike than chance".to_owned(),
    });
    vec![
        numbers::count(to_u64(finding.pooled.k)),
        numbers::count(to_u64(finding.pooled.n_clusters)),
        shown.map_or_else(missing, |shown| numbers::signed(shown.estimate, decimals)),
        shown.map_or_else(missing, |shown| {
            numbers::interval(shown.interval.low, shown.interval.high, decimals)
        }),
        model.map_or_else(missing, |model| numbers::fixed(model.se, 2)),
        shown
            .and_then(|shown| shown.prediction.ok())
            .map_or_else(missing, |range| {
                numbers::interval(range.low, range.high, decimals)
            }),
        heterogeneity.map_or_else(missing, |found| {
            format!(
                "{} ({}), {}",
                numbers::fixed(found.q, 1),
                numbers::fixed(found.df, 0),
                numbers::p_value(found.p)
            )
        }),
        heterogeneity.map_or_else(missing, |found| numbers::percent(found.i_squared, 0)),
        heterogeneity.map_or_else(missing, |found| numbers::fixed(found.h_squared, 2)),
        model.zip(tau_range).map_or_else(missing, |(model, range)| {
            format!(
                "{} ({range})",
                numbers::fixed(model.tau_squared.sqrt(), decimals)
            )
        }),
    ]
}

fn everybody_line(figure: &Everybody, bands: &GapBands) -> EverybodyLine {
    let key = &figure.key;
    EverybodyLine {
        label: format!("{}, {}", outcome_label(key.outcome), class_label(key.class)),
        band: block_label(key.band, bands),
        players: format!("at least {}", figure.players_at_least),
        numbers: format!(
            "{} ({}) {}",
            numbers::signed(figure.estimate, 1),
            numbers::interval(figure.interval.low, figure.interval.high, 1),
            unit_words(key.outcome)
        ),
    }
}

fn to_u64(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}
