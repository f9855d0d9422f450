//! A primary outcome of other shots than those asked about.

use super::by_gap::line;
use super::{INTERVAL, Picture, Plot, StudyView, code, heading, label, sides};
use crate::findings::Analysis;
use crate::findings::labels::{band_label, class_label, outcome_label};
use crate::pages::study::{figures, is_other};
use crate::plots::summary::SummaryForest;
use crate::protocol::{GapBand, PrimaryOutcome};

pub(super) fn shots(view: &StudyView<'_>, primary: &PrimaryOutcome) -> Option<Picture> {
    let (outcome, wording) = (primary.outcome, view.wording());
    let analyses: Vec<&Analysis> = view
        .findings
        .analyses
        .iter()
        .filter(|analysis| analysis.key.outcome == outcome && is_other(view, analysis))
        .filter(|analysis| analysis.key.band != GapBand::UnderProtocol)
        .collect();
    if analyses.is_empty() {
        return None;
    }
    let asked = label(outcome, primary.class);
    Some(Picture {
        table: figures::mixed(&analyses, view.everybody, wording),
        first: "Shots and gap",
        caption: "Looser minus tighter".to_owned(),
        more: None,
        plot: Plot::Summary(SummaryForest {
            heading: heading(
                view,
                format!("shots-{}", code(outcome, primary.class)),
                format!(
                    "{}, other shots: looser minus tighter",
                    outcome_label(outcome)
                ),
                format!("The pooled estimates of other shots than those of “{asked}”."),
            ),
            sides: sides(view, outcome),
            interval_words: INTERVAL.to_owned(),
            worthwhile: None,
            lines: analyses
                .iter()
                .map(|analysis| {
                    let shots = class_label(analysis.key.class);
                    let gap = band_label(analysis.key.band, wording);
                    line(view, format!("{shots}, {gap}"), analysis)
                })
                .collect(),
            pooled: None,
        }),
    })
}
