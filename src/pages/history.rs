//! The page of a study's protocol: who hosts it, what it asks, and what was changed, when and why.

use super::study::paragraphs;
use crate::findings::labels::{band_label, class_label, outcome_label, unit_words};
use crate::protocol::{GapBand, Licence, Protocol, ReleaseRule, Study, VersionedText};
use askama::Template;

/// Everything that the page shows.
#[derive(Debug)]
pub struct HistoryView<'a> {
    /// The study with the protocol in force.
    pub study: &'a Study,
    /// The day on which recruiting opened.
    pub opened: Option<String>,
    /// The day on which it closed.
    pub closed: Option<String>,
    /// The plan's hash when recruiting opened, hexadecimal.
    pub plan_hash_at_opening: Option<&'a str>,
    /// The plan's hash now.
    pub plan_hash_now: &'a str,
    /// Every version, the newest one first.
    pub changes: Vec<Change<'a>>,
}

/// One version.
#[derive(Debug)]
pub struct Change<'a> {
    /// Its number.
    pub version: i64,
    /// The day from which it is in force.
    pub from: String,
    /// Why it was made.
    pub reason: Option<&'a str>,
    /// Whether its analysis plan is another than when recruiting opened.
    pub plan_changed: bool,
}

#[derive(Template)]
#[template(path = "protocol.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    invented: bool,
    study: &'a Study,
    view: &'a HistoryView<'a>,
    plan_changed: bool,
    plan: String,
    privacy: Option<(&'a VersionedText, Vec<&'a str>)>,
    consent: Vec<&'a str>,
    licence: Option<&'a Licence>,
}

/// The page.
///
/// # Errors
/// When the template cannot be filled.
pub fn history(view: &HistoryView<'_>) -> Result<String, askama::Error> {
    let study = view.study;
    let opening = view.plan_hash_at_opening;
    Page {
        invented: study.label.invented,
        study,
        view,
        plan_changed: opening.is_some_and(|opening| opening != view.plan_hash_now),
        plan: plan_words(study)?,
        privacy: study
            .hosting
            .privacy
            .as_ref()
            .map(|notice| (notice, paragraphs(&notice.text))),
        consent: paragraphs(&study.protocol.consent.text),
        licence: study.hosting.licence.as_ref(),
    }
    .render()
}

/// An analysis plan in words.
#[derive(Template)]
#[template(path = "plan_words.html", config = "src/pages/askama.toml")]
struct Plan<'a> {
    protocol: &'a Protocol,
    questions: Vec<String>,
    bands: Vec<String>,
    release: String,
    deep: Vec<&'a str>,
}

/// A study's analysis plan in words, with headings of the third level.
///
/// # Errors
/// When the template cannot be filled.
pub(super) fn plan_words(study: &Study) -> Result<String, askama::Error> {
    let protocol = &study.protocol;
    Plan {
        protocol,
        questions: questions(study),
        bands: bands(study),
        release: release_words(protocol.release_rule.as_ref()),
        deep: paragraphs(&protocol.deep.text),
    }
    .render()
}

/// What is asked, each with the smallest difference that would matter.
fn questions(study: &Study) -> Vec<String> {
    let primary = study.protocol.analysis.primary.iter();
    primary
        .map(|about| {
            let matters = about.smallest_worthwhile.map_or_else(String::new, |size| {
                format!(
                    "; a difference matters from {} {} on",
                    size.to_f64(),
                    unit_words(about.outcome)
                )
            });
            format!(
                "{}, {}{matters}",
                outcome_label(about.outcome),
                class_label(about.class)
            )
        })
        .collect()
}

/// The gap bands in words.
fn bands(study: &Study) -> Vec<String> {
    let bands = &study.protocol.analysis.bands;
    let numbered = bands.all().filter(|band| *band != GapBand::UnderProtocol);
    numbered.map(|band| band_label(band, bands)).collect()
}

/// When a release may state the ordinary range.
fn release_words(rule: Option<&ReleaseRule>) -> String {
    match rule {
        None => "No day and no number of players was fixed beforehand, so releases state the range that stays valid however often one looks.".to_owned(),
        Some(ReleaseRule::Date(on)) => format!(
            "From {on} on, a day fixed beforehand, a release may state the ordinary 95 % range; before that, the range that stays valid however often one looks."
        ),
        Some(ReleaseRule::Players(n)) => format!(
            "From {n} players on, a number fixed beforehand, a release may state the ordinary 95 % range; before that, the range that stays valid however often one looks."
        ),
    }
}
