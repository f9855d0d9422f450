//! The card of a study, live or released: which of its figures stand on it, and in which words.

use super::{Hidden, INVENTED, Standing, StudyView};
use crate::findings::labels::{Wording, axis_ends, band_label, class_label, outcome_label};
use crate::findings::words::{answer_in_words, counts, figures_beside, may_go_either_way};
use crate::findings::{Analysis, Findings, Publication};
use crate::numbers;
use crate::plots::card::{Card, Difference, Gap};
use crate::protocol::{GapBand, PrimaryOutcome};
use crate::units::Units;
use std::cmp::Reverse;
use std::collections::BTreeSet;

/// What a card is made from.
#[derive(Clone, Debug)]
pub struct CardView<'a> {
    /// The rows and rules that the figures are made from.
    pub publication: &'a Publication,
    /// What is found out from them.
    pub findings: &'a Findings,
    /// Which publication it is.
    pub standing: Standing,
    /// Why figures are hidden for now, when they are.
    pub hidden: Option<Hidden>,
    /// The reader's units.
    pub units: Units,
    /// Where the study is to be read, as people type it.
    pub address: Option<String>,
}

impl<'a> From<&StudyView<'a>> for CardView<'a> {
    fn from(view: &StudyView<'a>) -> Self {
        Self {
            publication: view.publication,
            findings: view.findings,
            standing: view.standing,
            hidden: view.hidden,
            units: view.units,
            address: view.base.map(|base| {
                let typed = base.split_once("://").map_or(base, |(_, typed)| typed);
                format!("{typed}{}", view.address())
            }),
        }
    }
}

/// Why a gap is the one that is told in large figures, behind its counts.
const MOST_PLAYERS: &str = "the most of any gap";

/// The card of what is published. It says no more than the page: the sentences are its own without
/// their figures, which stand beside them in the picture.
#[must_use]
pub fn card(view: &CardView<'_>) -> Card {
    let (publication, findings) = (view.publication, view.findings);
    let wording = Wording {
        bands: &publication.rules.bands,
        units: view.units,
    };
    let mut primary = publication.rules.primary.iter();
    let first = primary.next();
    let analyses = |primary: &PrimaryOutcome| of_outcome(findings, primary);
    let mut card = Card {
        question: publication.study.question.clone(),
        notice: publication.study.invented.then(|| INVENTED.to_owned()),
        about: String::new(),
        sentence: String::new(),
        gaps: Vec::new(),
        main: None,
        main_because: MOST_PLAYERS.to_owned(),
        unit: String::new(),
        interval_words: format!("{} range", numbers::percent(publication.level.value(), 0)),
        left_words: String::new(),
        right_words: String::new(),
        others: Vec::new(),
        counts: String::new(),
        label: label(publication, view.standing),
        address: view.address.clone(),
    };
    let Some(first) = first.filter(|_| publication.batch.is_some()) else {
        let nothing_yet = "There is nothing to show yet.";
        card.sentence = view.hidden.map_or(nothing_yet, Hidden::words).to_owned();
        return card;
    };
    let of_first = analyses(first);
    card.about = about(first);
    card.sentence = sentence(first, of_first, wording);
    card.unit = wording.unit(first.outcome).to_owned();
    let (left, right) = axis_ends(first.outcome);
    (card.left_words, card.right_words) = (left.to_owned(), right.to_owned());
    (card.gaps, card.main) = gaps(of_first, wording);
    card.others = primary
        .map(|other| (about(other), sentence(other, analyses(other), wording)))
        .collect();
    card.counts = everybody_counted(publication);
    card
}

fn label(publication: &Publication, standing: Standing) -> String {
    match (standing, &publication.batch) {
        (_, None) => String::new(),
        (Standing::Live, Some(batch)) => format!("Batch {}, {}", batch.number, batch.date),
        (Standing::Release(number), Some(batch)) => {
            format!("Release {number}, figures of {}", batch.date)
        }
    }
}

/// The analyses of a primary outcome, which stand together.
fn of_outcome<'a>(findings: &'a Findings, primary: &PrimaryOutcome) -> &'a [Analysis] {
    let of = |analysis: &Analysis| (analysis.key.outcome, analysis.key.class);
    let mut outcomes = findings.analyses.chunk_by(|a, b| of(a) == of(b));
    let is_it = |chunk: &&[Analysis]| {
        let first = chunk.first().map(of);
        first == Some((primary.outcome, primary.class))
    };
    outcomes.find(is_it).unwrap_or_default()
}

fn about(primary: &PrimaryOutcome) -> String {
    format!(
        "{}, {}",
        outcome_label(primary.outcome),
        class_label(primary.class)
    )
}

/// The page's answer, with what the page says beside it.
fn sentence(primary: &PrimaryOutcome, analyses: &[Analysis], wording: Wording<'_>) -> String {
    let all: Vec<&Analysis> = analyses.iter().collect();
    let answer = answer_in_words(primary.outcome, &all, wording);
    if may_go_either_way(analyses) {
        format!("{answer} Another such player may see the opposite.")
    } else {
        answer
    }
}

/// Every gap of one outcome, and the place of the one with the most players, the smaller gap where
/// several have as many. No gap at all when none has figures. Which one it is never depends on what
/// was found there, so that no card picks the larger difference; but where its range holds zero none
/// is told in large figures, since those would be read as found.
fn gaps(analyses: &[Analysis], wording: Wording<'_>) -> (Vec<Gap>, Option<usize>) {
    let is_part = |analysis: &&Analysis| analysis.key.band != GapBand::UnderProtocol;
    let analyses: Vec<&Analysis> = analyses.iter().filter(is_part).collect();
    let gaps: Vec<Gap> = analyses
        .iter()
        .map(|analysis| gap(analysis, wording))
        .collect();
    let players = |place: &usize| {
        let finding = analyses
            .get(*place)
            .and_then(|found| found.result.as_ref().ok());
        finding.map_or(0, |finding| finding.pooled.n_clusters)
    };
    let with_figures = gaps.iter().enumerate();
    let with_figures = with_figures.filter(|(_, gap)| gap.difference.is_ok());
    let most = with_figures
        .map(|(place, _)| place)
        .max_by_key(|place| (players(place), Reverse(*place)));
    let Some(most) = most else {
        return (Vec::new(), None);
    };
    let found = gaps.get(most).and_then(|gap| gap.difference.as_ref().ok());
    let main = found
        .is_some_and(|found| !found.spans_zero())
        .then_some(most);
    (gaps, main)
}

fn gap(analysis: &Analysis, wording: Wording<'_>) -> Gap {
    let label = band_label(analysis.key.band, wording);
    let (counts, difference) = match &analysis.result {
        Err(withheld) => (
            String::new(),
            Err(format!(
                "fewer than {} players so far",
                withheld.minimum_players
            )),
        ),
        Ok(finding) => (
            counts(finding),
            difference(analysis, wording)
                .ok_or_else(|| "too few players for a claim yet".to_owned()),
        ),
    };
    Gap {
        label,
        counts,
        difference,
    }
}

fn difference(analysis: &Analysis, wording: Wording<'_>) -> Option<Difference> {
    let beside = figures_beside(analysis)?;
    let outcome = analysis.key.outcome;
    let range = wording.range(outcome, beside.interval);
    Some(Difference {
        estimate: wording.value(outcome, beside.estimate),
        low: range.low,
        high: range.high,
    })
}

/// Players and pairs with a published row.
fn everybody_counted(publication: &Publication) -> String {
    let rows = || publication.rows.iter();
    let players: BTreeSet<u32> = rows().map(|row| row.group).collect();
    let pairs: BTreeSet<(u32, u32)> = rows().map(|row| (row.group, row.pair)).collect();
    let counted =
        |n: usize, one, many| numbers::counted(u64::try_from(n).unwrap_or(u64::MAX), one, many);
    match players.len() {
        0 => String::new(),
        n => format!(
            "{}, {}",
            counted(n, "player", "players"),
            counted(pairs.len(), "pair of sessions", "pairs of sessions")
        ),
    }
}

#[cfg(test)]
mod tests;
