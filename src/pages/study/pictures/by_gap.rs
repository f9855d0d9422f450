//! The answer in one picture: the pooled estimate of every gap band.

use super::{INTERVAL, Picture, Plot, StudyView, analyses_of, code, heading, label, sides};
use crate::findings::Analysis;
use crate::findings::labels::band_label;
use crate::findings::words::counts;
use crate::numbers;
use crate::pages::study::{figures, withheld_words};
use crate::plots::summary::{SummaryForest, SummaryLine};
use crate::protocol::{GapBand, PrimaryOutcome};

/// Why a line of smaller gaps stands apart.
const UNDER_PROTOCOL: &str = "Smaller gap than the protocol asks, not part of the answer";

pub(super) fn bands(view: &StudyView<'_>, primary: &PrimaryOutcome) -> Picture {
    let (outcome, wording) = (primary.outcome, view.wording());
    let analyses = analyses_of(view, primary);
    let name = label(outcome, primary.class);
    Picture {
        table: figures::main(&analyses, view.everybody, wording),
        first: "Tension gap",
        caption: format!("Looser minus tighter, {}", wording.unit(outcome)),
        more: None,
        plot: Plot::Summary(SummaryForest {
            heading: heading(
                view,
                code(outcome, primary.class),
                format!("{name}: looser minus tighter, by tension gap"),
                "The pooled estimate of each gap band with its range.".to_owned(),
            ),
            sides: sides(view, outcome),
            interval_words: INTERVAL.to_owned(),
            worthwhile: super::worthwhile(view, primary),
            lines: analyses
                .iter()
                .map(|analysis| {
                    let apart = analysis.key.band == GapBand::UnderProtocol;
                    SummaryLine {
                        apart: apart.then(|| UNDER_PROTOCOL.to_owned()),
                        ..line(view, band_label(analysis.key.band, wording), analysis)
                    }
                })
                .collect(),
            pooled: None,
        }),
    }
}

/// One analysis as a line. Lines are not pooled with each other, so none has a weight.
pub(super) fn line(view: &StudyView<'_>, label: String, analysis: &Analysis) -> SummaryLine {
    let finding = analysis.result.as_ref();
    SummaryLine {
        label,
        counts: finding.map_or_else(|_| String::new(), counts),
        weight: None,
        result: match finding {
            Err(withheld) => Err(withheld_words(withheld.minimum_players)),
            Ok(finding) => finding
                .shown
                .map(|shown| super::summary_in(view, analysis.key.outcome, shown))
                .map_err(|_| numbers::NOT_ESTIMABLE.to_owned()),
        },
        apart: None,
    }
}
