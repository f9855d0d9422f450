//! Single pairs, from published rows alone: in order of their differences, and by how exact they are.

use super::{Picture, Plot, StudyView, analyses_of, band_code, code, heading, label, sides};
use crate::findings::labels::band_label;
use crate::findings::{Analysis, Row};
use crate::numbers;
use crate::pages::study::figures::{Line, Table, or_missing, unbroken};
use crate::pages::study::view::Link;
use crate::pages::study::{to_u64, withheld_words};
use crate::plots::funnel::{Funnel, FunnelPoint};
use crate::plots::ranked::{Ranked, RankedPair};
use crate::pooling::Estimable;
use crate::pooling::small_studies::Asymmetry;
use crate::protocol::{GapBand, PrimaryOutcome};

/// The published rows of an analysis that it rests on.
fn rows_of(view: &StudyView<'_>, analysis: &Analysis) -> Vec<Row> {
    let rows = view.publication.rows.iter();
    rows.filter(|row| row.key() == analysis.key && analysis.basis.holds(row))
        .collect()
}

/// The analyses of one primary outcome whose gaps follow the protocol, with the rows behind each.
fn counted<'a>(view: &StudyView<'a>, primary: &PrimaryOutcome) -> Vec<(&'a Analysis, Vec<Row>)> {
    analyses_of(view, primary)
        .into_iter()
        .filter(|analysis| analysis.key.band != GapBand::UnderProtocol)
        .map(|analysis| (analysis, rows_of(view, analysis)))
        .collect()
}

fn full_list(view: &StudyView<'_>) -> Link {
    Link {
        address: view.below("/pairs"),
        words: "Every pair, in a list".to_owned(),
    }
}

pub(super) fn ranked(view: &StudyView<'_>, primary: &PrimaryOutcome) -> Picture {
    let (outcome, wording) = (primary.outcome, view.wording());
    let counted = counted(view, primary);
    let rows = || counted.iter().flat_map(|(_, rows)| rows);
    let pairs: Vec<RankedPair> = rows()
        .filter_map(|row| {
            let range = wording.range(outcome, row.interval(view.publication.level).ok()?);
            Some(RankedPair {
                estimate: wording.value(outcome, row.estimate),
                low: range.low,
                high: range.high,
            })
        })
        .collect();
    let is_empty = pairs.is_empty();
    let columns = ["Pairs", "Above zero", "Lowest", "Middle", "Highest"];
    Picture {
        table: Table {
            columns: columns.map(str::to_owned).to_vec(),
            lines: counted
                .iter()
                .map(|(analysis, rows)| Line {
                    label: band_label(analysis.key.band, wording),
                    apart: false,
                    withheld: analysis
                        .result
                        .as_ref()
                        .err()
                        .map(|withheld| withheld_words(withheld.minimum_players)),
                    cells: columns
                        .map(str::to_owned)
                        .into_iter()
                        .zip(spread(view, rows))
                        .collect(),
                })
                .collect(),
        },
        first: "Tension gap",
        caption: format!(
            "Single pairs, looser minus tighter, {}",
            wording.unit(outcome)
        ),
        more: Some(full_list(view)),
        plot: Plot::Ranked(Ranked {
            heading: heading(
                view,
                format!("pairs-{}", code(outcome, primary.class)),
                format!(
                    "{}: every pair of sessions",
                    label(outcome, primary.class)
                ),
                "The pairs that the answer rests on, of players who agreed to show them, in order of their difference; each range holds the scatter of its own shots alone.".to_owned(),
            ),
            sides: sides(view, outcome),
            interval_words: "95 % range of one pair".to_owned(),
            pairs,
            summary: None,
            worthwhile: super::worthwhile(view, primary),
            withheld: is_empty
                .then(|| withheld_words(view.publication.rules.minimum_players)),
        }),
    }
}

/// How many pairs there are and above zero, and the lowest, the middle and the highest.
fn spread(view: &StudyView<'_>, rows: &[Row]) -> [String; 5] {
    let wording = view.wording();
    let mut estimates: Vec<f64> = rows
        .iter()
        .map(|row| wording.value(row.outcome, row.estimate))
        .collect();
    estimates.sort_unstable_by(f64::total_cmp);
    let n = estimates.len();
    let above = estimates.iter().filter(|estimate| 0.0 < **estimate).count();
    let at = |place: usize| estimates.get(place).copied();
    // Of an even number of pairs the middle lies half way between the two in it.
    let middle = at(n.saturating_sub(1) / 2)
        .zip(at(n / 2))
        .map(|(low, high)| f64::midpoint(low, high));
    let shown = |figure: Option<f64>| or_missing(figure.map(|figure| numbers::signed(figure, 1)));
    [
        numbers::count(to_u64(n)),
        numbers::count(to_u64(above)),
        shown(at(0)),
        shown(middle),
        shown(at(n.saturating_sub(1))),
    ]
}

pub(super) fn funnels(view: &StudyView<'_>, primary: &PrimaryOutcome) -> Vec<Picture> {
    counted(view, primary)
        .into_iter()
        .filter(|(analysis, _)| analysis.result.is_ok())
        .map(|(analysis, rows)| funnel(view, primary, analysis, &rows))
        .collect()
}

fn funnel(
    view: &StudyView<'_>,
    primary: &PrimaryOutcome,
    analysis: &Analysis,
    rows: &[Row],
) -> Picture {
    let (outcome, wording) = (primary.outcome, view.wording());
    let gap = band_label(analysis.key.band, wording);
    let shown = analysis
        .result
        .as_ref()
        .ok()
        .and_then(|finding| finding.shown.ok());
    Picture {
        table: asymmetry(view, analysis),
        first: "Regression on the standard error",
        caption: format!(
            "Whether less exact pairs differ, one pair of each player, {}, gap of {gap}",
            wording.unit(outcome)
        ),
        more: Some(full_list(view)),
        plot: Plot::Funnel(Funnel {
            heading: heading(
                view,
                format!(
                    "funnel-{}-{}",
                    code(outcome, primary.class),
                    band_code(analysis.key.band)
                ),
                format!(
                    "{}, gap of {gap}: differences by how exact they are",
                    label(outcome, primary.class)
                ),
                "Funnel plot: each pair by its difference and its standard error, the most exact on top."
                    .to_owned(),
            ),
            sides: sides(view, outcome),
            points: rows
                .iter()
                .map(|row| FunnelPoint {
                    estimate: wording.value(outcome, row.estimate),
                    standard_error: wording.value(outcome, row.variance.sqrt()),
                })
                .collect(),
            pooled: shown.map(|shown| wording.value(outcome, shown.estimate)),
            withheld: None,
        }),
    }
}

/// Both regressions of small-study effects.
fn asymmetry(view: &StudyView<'_>, analysis: &Analysis) -> Table {
    let columns = ["Change per standard error", "p", "At standard error 0"];
    let found = analysis
        .scrutiny
        .as_ref()
        .map(|scrutiny| &scrutiny.small_studies);
    let line = |label: &str, found: Option<&Estimable<Asymmetry>>| {
        let found = found.and_then(|found| found.as_ref().ok());
        let test = found.map(|found| found.slope.knapp_hartung);
        let at_zero = found.map(|found| {
            let zero = view
                .wording()
                .value(analysis.key.outcome, found.at_zero.estimate);
            numbers::signed(zero, 1)
        });
        let cells = [
            found.map(|found| numbers::signed(found.slope.estimate, 2)),
            test.and_then(|test| Some(unbroken(&numbers::p_value(test.p.ok()?)))),
            at_zero,
        ];
        Line {
            label: label.to_owned(),
            apart: false,
            withheld: None,
            cells: columns
                .map(str::to_owned)
                .into_iter()
                .zip(cells.map(or_missing))
                .collect(),
        }
    };
    Table {
        columns: columns.map(str::to_owned).to_vec(),
        lines: vec![
            line("Egger et al. 1997", found.map(|found| &found.egger)),
            line(
                "With random effects",
                found.map(|found| &found.random_effects),
            ),
        ],
    }
}
