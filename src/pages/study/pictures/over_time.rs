//! The estimate of each gap band as players came.

use super::{
    INTERVAL, Picture, Plot, StudyView, analyses_of, band_code, code, heading, label, sides,
};
use crate::findings::labels::band_label;
use crate::findings::{Analysis, Reached};
use crate::numbers;
use crate::pages::study::figures::{Line, Table};
use crate::pages::study::to_u64;
use crate::plots::cumulative::{Cumulative, CumulativeMean, CumulativeStep};
use crate::protocol::{GapBand, PrimaryOutcome};
use crate::vocabulary::Outcome;

pub(super) fn cumulative(view: &StudyView<'_>, primary: &PrimaryOutcome) -> Vec<Picture> {
    analyses_of(view, primary)
        .into_iter()
        .filter(|analysis| analysis.key.band != GapBand::UnderProtocol)
        .filter_map(|analysis| {
            let reached = analysis.scrutiny.as_ref()?.reached.as_ref()?;
            (!reached.is_empty()).then(|| of_band(view, primary, analysis, reached))
        })
        .collect()
}

fn of_band(
    view: &StudyView<'_>,
    primary: &PrimaryOutcome,
    analysis: &Analysis,
    reached: &[Reached],
) -> Picture {
    let (outcome, wording) = (primary.outcome, view.wording());
    let gap = band_label(analysis.key.band, wording);
    let steps: Vec<CumulativeStep> = reached
        .iter()
        .map(|reached| step(view, outcome, reached))
        .collect();
    let column = "Estimate (95\u{A0}% range)";
    Picture {
        table: Table {
            columns: vec![column.to_owned()],
            lines: steps
                .iter()
                .map(|step| Line {
                    label: step.label.clone(),
                    apart: false,
                    withheld: None,
                    cells: vec![(
                        column.to_owned(),
                        match &step.result {
                            Ok(mean) => mean.numbers.clone(),
                            Err(why) => why.clone(),
                        },
                    )],
                })
                .collect(),
        },
        first: "Players so far",
        caption: format!(
            "Looser minus tighter, {}, gap of {gap}",
            wording.unit(outcome)
        ),
        more: None,
        plot: Plot::Cumulative(Cumulative {
            heading: heading(
                view,
                format!(
                    "time-{}-{}",
                    code(outcome, primary.class),
                    band_code(analysis.key.band)
                ),
                format!(
                    "{}, gap of {gap}: the estimate as players came",
                    label(outcome, primary.class)
                ),
                "The pooled estimate with its range after each group of players.".to_owned(),
            ),
            sides: sides(view, outcome),
            interval_words: INTERVAL.to_owned(),
            steps,
            worthwhile: super::worthwhile(view, primary),
            withheld: None,
        }),
    }
}

fn step(view: &StudyView<'_>, outcome: Outcome, reached: &Reached) -> CumulativeStep {
    let wording = view.wording();
    let range = wording.range(outcome, reached.interval);
    let estimate = wording.value(outcome, reached.estimate);
    CumulativeStep {
        label: numbers::counted(to_u64(reached.players), "player", "players"),
        result: Ok(CumulativeMean {
            estimate,
            low: range.low,
            high: range.high,
            numbers: super::figures(estimate, range.low, range.high),
        }),
    }
}
