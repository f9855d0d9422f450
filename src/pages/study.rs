//! The public page of a study: question, answer, one picture for each primary outcome, and then
//! detail for who wants it. The same page shows a release.

mod alone;
mod audience;
pub(super) mod figures;
mod flow;
mod list;
mod pictures;
mod scrutiny;
mod view;

use super::card::card;
pub use list::pairs;
pub use view::{Hidden, Standing, StudyView, units_asked};

use crate::findings::labels::{Wording, outcome_meaning};
use crate::findings::questions::Question as Asked;
use crate::findings::words::{answer, may_go_either_way};
use crate::findings::{Analysis, Publication, Shown};
use crate::numbers;
use crate::plots::parts::{Layout, Summary};
use crate::protocol::PrimaryOutcome;
use crate::vocabulary::Outcome;
use askama::Template;
use audience::Audience;
use figures::Table;
use pictures::{OfOutcome, Picture};
use scrutiny::{Said, sensitivity, session_words, slope_words};
use std::collections::BTreeMap;
use view::{Choices, Link};

#[derive(Template)]
#[template(path = "study.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    invented: bool,
    view: &'a StudyView<'a>,
    address: String,
    choices: Vec<Choices>,
    rounds_bands: bool,
    players: String,
    batch: Option<Batch<'a>>,
    has_figures: bool,
    either_way: bool,
    questions: Vec<Question>,
    shots: Vec<Figure>,
    other: Table,
    control: Vec<Figure>,
    gaining: &'static str,
    flow: Option<flow::Shown>,
    cautions: Vec<&'a str>,
    consent: Vec<&'a str>,
    rows: String,
    list: String,
    api: String,
    unsent: Option<String>,
    audience: Audience,
}

/// The batch that the figures belong to.
struct Batch<'a> {
    number: i64,
    date: &'a str,
}

/// One primary outcome: its answer, its pictures and what is said about them.
struct Question {
    label: String,
    meaning: String,
    is_depth: bool,
    is_speed: bool,
    id: String,
    answer: String,
    unit: &'static str,
    bands: Figure,
    pairs: Figure,
    said: Vec<Said>,
    differ: Option<String>,
    disagreement: Table,
    sessions: Option<String>,
    dose: Figure,
    slope: Option<String>,
    gains: Figure,
    /// A row of pictures of one kind, and so the next.
    funnels: Vec<Figure>,
    over_time: Vec<Figure>,
    sensitivity: Table,
}

/// A picture as it stands on the page.
struct Figure {
    title: String,
    /// Not of one that stands in a row of its like.
    wide: Option<String>,
    narrow: String,
    /// Where it stands alone.
    alone: String,
    table: Table,
    first: &'static str,
    caption: String,
    more: Option<Link>,
}

/// The page of a study with all that is published of it.
///
/// # Errors
/// When the template cannot be filled.
pub fn study(view: &StudyView<'_>) -> Result<String, askama::Error> {
    let (publication, findings) = (view.publication, view.findings);
    let wording = view.wording();
    let other: Vec<&Analysis> = findings
        .analyses
        .iter()
        .filter(|analysis| is_other(view, analysis))
        .collect();
    let mut shots = Vec::new();
    let mut questions = Vec::new();
    for primary in view.primary() {
        let mut pictures = OfOutcome::new(view, primary);
        let of_shots = pictures.shots.take();
        shots.extend(of_shots.map(|picture| Figure::new(view, picture)));
        questions.push(question(view, primary, pictures));
    }
    let primary: Vec<&Analysis> = findings
        .analyses
        .iter()
        .filter(|analysis| analysis.primary)
        .collect();
    Page {
        invented: view.study.label.invented,
        view,
        address: view.address(),
        choices: view.choices(""),
        rounds_bands: wording.rounds_bands(),
        players: players_words(publication),
        batch: publication.batch.as_ref().map(|batch| Batch {
            number: batch.number,
            date: &batch.date,
        }),
        has_figures: publication.batch.is_some() && view.hidden.is_none(),
        either_way: may_go_either_way(&findings.analyses),
        questions,
        shots,
        other: figures::mixed(&other, view.everybody, wording),
        control: pictures::tradeoffs(view)
            .into_iter()
            .map(|picture| Figure::new(view, picture))
            .collect(),
        gaining: figures::gaining_words(pictures::gaining_of(&primary)),
        flow: view.flow.map(|flow| flow::shown(view, flow)),
        cautions: paragraphs(&view.study.protocol.caution),
        consent: paragraphs(&view.study.protocol.consent.text),
        rows: numbers::counted(to_u64(publication.rows.len()), "row", "rows"),
        list: view.below("/pairs"),
        api: format!("/api/v1{}", view.address()),
        unsent: unsent_words(publication),
        audience: Audience::new(
            &card(&view.into()),
            &view.address(),
            view.query(view.units).as_str(),
            view.base,
        ),
    }
    .render()
}

/// Every picture by itself, for another page to show, by its name.
#[must_use]
pub fn pictures(view: &StudyView<'_>) -> BTreeMap<String, String> {
    let pictures = pictures::all(view).into_iter();
    pictures
        .filter_map(|picture| {
            let name = picture.plot.heading().id.clone();
            Some((name, alone::svg(view, &picture)?))
        })
        .collect()
}

impl Figure {
    fn new(view: &StudyView<'_>, picture: Picture) -> Self {
        Self {
            wide: Some(picture.plot.draw(Layout::Wide)),
            ..Self::small(view, picture)
        }
    }

    /// One of a row of its like, which on a wide page stand beside each other.
    fn small(view: &StudyView<'_>, picture: Picture) -> Self {
        let heading = picture.plot.heading();
        Self {
            title: heading.title.clone(),
            alone: view.below(&format!("/pictures/{}.svg", heading.id)),
            wide: None,
            narrow: picture.plot.draw(Layout::Narrow),
            table: picture.table,
            first: picture.first,
            caption: picture.caption,
            more: picture.more,
        }
    }
}

fn is_of(analysis: &Analysis, primary: &PrimaryOutcome) -> bool {
    analysis.key.outcome == primary.outcome && analysis.key.class == primary.class
}

/// Whether an analysis was not asked beforehand.
fn is_other(view: &StudyView<'_>, analysis: &Analysis) -> bool {
    let mut primary = view.primary().iter();
    !primary.any(|primary| is_of(analysis, primary))
}

/// Players with a published row. Every one of them is in an analysis of enough players.
fn players_words(publication: &Publication) -> String {
    let players = publication
        .rows
        .iter()
        .map(|row| row.group)
        .max()
        .unwrap_or(0);
    numbers::counted(u64::from(players), "player", "players")
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

fn question(view: &StudyView<'_>, primary: &PrimaryOutcome, pictures: OfOutcome) -> Question {
    let wording = view.wording();
    let analyses = pictures::analyses_of(view, primary);
    let mut asked = view.findings.questions.iter();
    let over_all_gaps: Option<&Asked> = asked.find(|question| question.about == *primary);
    let figure = |picture| Figure::new(view, picture);
    let small = |picture| Figure::small(view, picture);
    let row = |pictures: Vec<Picture>| pictures.into_iter().map(small).collect();
    Question {
        label: pictures::label(primary.outcome, primary.class),
        meaning: outcome_meaning(primary.outcome, view.units),
        is_depth: primary.outcome == Outcome::DeepShare,
        is_speed: primary.outcome == Outcome::Speed,
        id: pictures::code(primary.outcome, primary.class),
        answer: answer(primary.outcome, &analyses, wording),
        unit: wording.unit(primary.outcome),
        said: scrutiny::said(&analyses, wording),
        differ: over_all_gaps.and_then(scrutiny::bands_words),
        disagreement: figures::disagreement(&analyses, wording),
        sessions: session_words(&analyses, wording),
        slope: over_all_gaps.and_then(|question| slope_words(question, wording)),
        sensitivity: sensitivity(&analyses, wording),
        bands: figure(pictures.bands),
        pairs: figure(pictures.pairs),
        dose: figure(pictures.dose),
        gains: figure(pictures.gains),
        funnels: row(pictures.funnels),
        over_time: row(pictures.over_time),
    }
}

fn withheld_words(minimum_players: usize) -> String {
    format!("Fewer than {minimum_players} players so far")
}

/// The pooled estimate of an outcome as it stands in a picture.
pub(super) fn summary_of(shown: Shown, outcome: Outcome, wording: Wording<'_>) -> Summary {
    let range = wording.range(outcome, shown.interval);
    let estimate = wording.value(outcome, shown.estimate);
    let prediction = shown.another();
    let prediction = prediction.map(|range| wording.range(outcome, range));
    Summary {
        estimate,
        low: range.low,
        high: range.high,
        prediction: prediction.map(|range| (range.low, range.high)),
        numbers: numbers::estimate_and_interval(estimate, range.low, range.high),
        prediction_numbers: prediction.map(range_words),
    }
}

/// A range with the decimals its own width allows.
fn range_words(range: crate::pooling::Interval) -> String {
    let (low, high) = (range.low, range.high);
    numbers::interval(low, high, numbers::decimals_of_range(low, high))
}

pub(super) fn to_u64(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests;
