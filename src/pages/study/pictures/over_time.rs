//! The estimate of each gap band as players came.

use super::{
    INTERVAL, Picture, Plot, StudyView, analyses_of, band_code, code, heading, label, sides,
};
use crate::findings::Analysis;
use crate::findings::labels::band_label;
use crate::numbers;
use crate::pages::study::figures::{Line, Table};
use crate::pages::study::to_u64;
use crate::plots::cumulative::{Cumulative, CumulativeMean, CumulativeStep};
use crate::pooling::cumulative::Step;
use crate::protocol::{GapBand, PrimaryOutcome};

pub(super) fn cumulative(view: &StudyView<'_>, primary: &PrimaryOutcome) -> Vec<Picture> {
    analyses_of(view, primary)
        .into_iter()
        .filter(|analysis| analysis.key.band != GapBand::UnderProtocol)
        .filter_map(|analysis| {
            let steps = &analysis.scrutiny.as_ref()?.cumulative.as_ref()?.steps;
            Some(of_band(view, primary, analysis, steps))
        })
        .collect()
}

fn of_band(
    view: &StudyView<'_>,
    primary: &PrimaryOutcome,
    analysis: &Analysis,
    steps: &[Step],
) -> Picture {
    let (outcome, wording) = (primary.outcome, view.wording());
    let gap = band_label(analysis.key.band, wording);
    let steps: Vec<CumulativeStep> = steps
        .iter()
        .map(|found| step(view, outcome, found))
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

fn step(view: &StudyView<'_>, outcome: crate::vocabulary::Outcome, step: &Step) -> CumulativeStep {
    let wording = view.wording();
    let mean = step.mean.as_ref().map_err(|reason| *reason);
    let result = mean.and_then(|mean| {
        let range = wording.range(outcome, mean.interval(step.has_repeats)?.interval());
        let estimate = wording.value(outcome, mean.estimate);
        Ok(CumulativeMean {
            estimate,
            low: range.low,
            high: range.high,
            numbers: super::figures(estimate, range.low, range.high),
        })
    });
    CumulativeStep {
        label: numbers::counted(to_u64(step.n_clusters), "player", "players"),
        result: result.map_err(|_| numbers::NOT_ESTIMABLE.to_owned()),
    }
}
