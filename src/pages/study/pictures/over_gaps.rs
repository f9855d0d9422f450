//! What is asked over all gaps at once: how the difference grows with the gap, and speed against
//! control.

use super::{INTERVAL, Picture, Plot, StudyView, code, heading, label, sides};
use crate::findings::Row;
use crate::findings::joint::{Couple, Joint};
use crate::findings::labels::{axis_ends, class_label, outcome_label};
use crate::findings::questions::{CurvePoint, DoseResponse};
use crate::numbers;
use crate::pages::study::figures::{
    ANOTHER, Line, NO_WIDER, Table, or_missing, signed_with_range, unbroken,
};
use crate::pages::study::{range_words, withheld_words};
use crate::plots::dose::{Dose, DoseCurve, DosePoint};
use crate::plots::tradeoff::{Corners, JointMean, Tradeoff, TradeoffPoint};
use crate::pooling::Interval;
use crate::pooling::bivariate::Bivariate;
use crate::protocol::PrimaryOutcome;
use crate::vocabulary::Outcome;

/// Points of the outline of an ellipse: every five degrees.
const OUTLINE: usize = 72;

pub(super) fn dose(view: &StudyView<'_>, primary: &PrimaryOutcome) -> Picture {
    let (outcome, wording) = (primary.outcome, view.wording());
    let mut questions = view.findings.questions.iter();
    let found = questions
        .find(|question| question.about == *primary)
        .and_then(|question| question.found.as_ref());
    let curve = found.map_or(&[][..], |found| &found.dose_response.curve);
    // The outline is drawn whole or not at all: a gap where it is no wider does not break it.
    let is_wider = curve.iter().any(|point| point.another().is_some());
    let gap_unit = wording.units.tension.code();
    Picture {
        table: Table {
            columns: ["Estimate (95\u{A0}% range)", ANOTHER]
                .map(str::to_owned)
                .to_vec(),
            lines: curve
                .iter()
                .map(|point| dose_line(view, outcome, point))
                .collect(),
        },
        first: "Tension gap",
        caption: format!(
            "The line, gap by gap: looser minus tighter, {}",
            wording.unit(outcome)
        ),
        more: None,
        plot: Plot::Dose(Dose {
            heading: heading(
                view,
                format!("dose-{}", code(outcome, primary.class)),
                format!("{}: difference by gap", label(outcome, primary.class)),
                "Each pair at its gap, with a line through no gap and no difference.".to_owned(),
            ),
            sides: sides(view, outcome),
            interval_words: INTERVAL.to_owned(),
            gap_unit: gap_unit.to_owned(),
            points: found.map_or_else(Vec::new, |found| {
                let rows = view.publication.rows.iter();
                let rows: Vec<Row> = rows
                    .filter(|row| (row.outcome, row.class) == (outcome, primary.class))
                    .filter(|row| found.basis.holds(row))
                    .collect();
                dose_points(view, &rows, &found.dose_response)
            }),
            curve: curve
                .iter()
                .map(|point| {
                    let ends = |range: Interval| {
                        let range = wording.range(outcome, range);
                        (range.low, range.high)
                    };
                    DoseCurve {
                        gap: wording.gap(point.gap_lb),
                        estimate: wording.value(outcome, point.estimate),
                        interval: point.interval.ok().map(ends),
                        prediction: point.prediction.ok().filter(|_| is_wider).map(ends),
                    }
                })
                .collect(),
            edges: wording.edges(),
            withheld: match found {
                None => Some(withheld_words(view.publication.rules.minimum_players)),
                Some(found) => found
                    .dose_response
                    .origin
                    .model
                    .as_ref()
                    .err()
                    .map(ToString::to_string),
            },
        }),
    }
}

/// Pairs at their gaps, with their shares of the weights of the line.
fn dose_points(view: &StudyView<'_>, rows: &[Row], found: &DoseResponse) -> Vec<DosePoint> {
    let wording = view.wording();
    let model = found.origin.model.as_ref();
    let between = model.map_or(0.0, |model| model.tau_squared);
    let weight = |row: &Row| 1.0 / (row.variance + between);
    let all: f64 = rows.iter().map(weight).sum();
    rows.iter()
        .map(|row| DosePoint {
            gap: wording.gap(row.gap_lb),
            estimate: wording.value(row.outcome, row.estimate),
            weight: weight(row) / all,
        })
        .collect()
}

fn dose_line(view: &StudyView<'_>, outcome: Outcome, point: &CurvePoint) -> Line {
    let wording = view.wording();
    let interval = point.interval.ok();
    let estimate = interval.map(|range| signed_with_range(point.estimate, range, outcome, wording));
    let another = match (point.another(), point.prediction) {
        (Some(range), _) => unbroken(&range_words(wording.range(outcome, range))),
        (None, Ok(_)) => NO_WIDER.to_owned(),
        (None, Err(_)) => numbers::NOT_ESTIMABLE.to_owned(),
    };
    let gap = wording.gap(point.gap_lb);
    Line {
        label: format!("{} {}", numbers::short(gap), wording.units.tension.code()),
        apart: false,
        withheld: None,
        cells: vec![
            (
                "Estimate (95\u{A0}% range)".to_owned(),
                or_missing(estimate),
            ),
            (ANOTHER.to_owned(), another),
        ],
    }
}

pub(super) fn tradeoff(view: &StudyView<'_>, joint: &Joint) -> Picture {
    let [across, up] = joint.outcomes;
    let models = joint.models.as_deref().unwrap_or_default();
    // Summaries do not tell how the two vary together by chance; the picture takes them as apart.
    let drawn = models
        .iter()
        .find(|model| model.within_correlation.value() == 0.0);
    let (up_code, class_code) = (code(up, joint.class), code(across, joint.class));
    Picture {
        table: models_table(view, joint),
        first: "Correlation by chance",
        caption: "Both outcomes together, looser minus tighter".to_owned(),
        more: None,
        plot: Plot::Tradeoff(Tradeoff {
            heading: heading(
                view,
                format!("tradeoff-{class_code}-{up_code}"),
                format!(
                    "{} against {}, {}: looser minus tighter",
                    outcome_label(across),
                    outcome_label(up).to_lowercase(),
                    class_label(joint.class)
                ),
                "Each pair by its two differences, with the pooled mean of both and the ellipse that is its range."
                    .to_owned(),
            ),
            interval_words: INTERVAL.to_owned(),
            across: sides(view, across),
            across_name: axis_name(across),
            up: sides(view, up),
            up_name: axis_name(up),
            corners: corners(across, up),
            points: drawn.map_or_else(Vec::new, |_| tradeoff_points(view, joint)),
            mean: drawn.and_then(|drawn| mean(view, joint, drawn)),
            withheld: match drawn {
                None => Some(withheld_words(view.publication.rules.minimum_players)),
                Some(drawn) => drawn.model.as_ref().err().map(ToString::to_string),
            },
        }),
    }
}

/// What differs along an axis, behind "difference in".
fn axis_name(outcome: Outcome) -> String {
    match outcome {
        Outcome::InShare => "share of balls in".to_owned(),
        other => outcome_label(other).to_lowercase(),
    }
}

/// What the four corners mean: across first, then up.
fn corners(across: Outcome, up: Outcome) -> Corners {
    let (left, right) = axis_ends(across);
    let (lower, upper) = axis_ends(up);
    let both = |first: &str, second: &str| format!("{first}, {second}");
    Corners {
        upper_left: both(left, upper),
        upper_right: both(right, upper),
        lower_left: both(left, lower),
        lower_right: both(right, lower),
    }
}

/// Pairs with both outcomes. There is no single weight of two outcomes, so all are of one size.
fn tradeoff_points(view: &StudyView<'_>, joint: &Joint) -> Vec<TradeoffPoint> {
    let [across, up] = joint.outcomes;
    let wording = view.wording();
    let pairs = view
        .publication
        .pairs_with_both(joint.outcomes, joint.class);
    let weight = 1.0 / f64::from(u32::try_from(pairs.len()).unwrap_or(u32::MAX));
    pairs
        .iter()
        .map(|Couple { estimates, .. }| TradeoffPoint {
            across: wording.value(across, estimates[0]),
            up: wording.value(up, estimates[1]),
            weight,
        })
        .collect()
}

fn mean(view: &StudyView<'_>, joint: &Joint, drawn: &Bivariate) -> Option<JointMean> {
    let [across, up] = joint.outcomes;
    let wording = view.wording();
    let model = drawn.model.as_ref().ok()?;
    let outline = |ellipse: &crate::pooling::bivariate::Ellipse| -> Vec<(f64, f64)> {
        let points = ellipse.outline(OUTLINE).into_iter();
        points
            .map(|[x, y]| (wording.value(across, x), wording.value(up, y)))
            .collect()
    };
    let figures = |place: usize, outcome: Outcome| {
        let figure = mean_words(view, model.mean, drawn, place, outcome)?;
        Some(format!(
            "{} {figure}",
            outcome_label(outcome).to_lowercase()
        ))
    };
    let [x, y] = model.mean;
    Some(JointMean {
        across: wording.value(across, x),
        up: wording.value(up, y),
        ellipse: model
            .confidence_ellipse
            .as_ref()
            .map(outline)
            .unwrap_or_default(),
        prediction: model
            .prediction_ellipse
            .as_ref()
            .map(outline)
            .unwrap_or_default(),
        numbers: [figures(0, across), figures(1, up)]
            .into_iter()
            .flatten()
            .collect::<Vec<_>>()
            .join(", "),
    })
}

/// One of the two means with how far its ellipse reaches to either side.
fn mean_words(
    view: &StudyView<'_>,
    mean: [f64; 2],
    model: &Bivariate,
    place: usize,
    outcome: Outcome,
) -> Option<String> {
    let wording = view.wording();
    let ellipse = model
        .model
        .as_ref()
        .ok()?
        .confidence_ellipse
        .as_ref()
        .ok()?;
    let (estimate, reach) = (mean.get(place)?, *ellipse.half_widths().get(place)?);
    let range = Interval {
        low: estimate - reach,
        high: estimate + reach,
    };
    let words = signed_with_range(*estimate, range, outcome, wording);
    Some(format!("{words}\u{A0}{}", wording.unit(outcome)))
}

/// One row for each correlation by chance.
fn models_table(view: &StudyView<'_>, joint: &Joint) -> Table {
    let [across, up] = joint.outcomes;
    let columns = [
        outcome_label(across).to_owned(),
        outcome_label(up).to_owned(),
        "Correlation between players".to_owned(),
        "Pairs".to_owned(),
    ];
    let models = joint.models.iter().flatten();
    let lines = models.map(|model| {
        let found = model.model.as_ref().ok();
        let mean = |place, outcome| {
            or_missing(found.and_then(|found| mean_words(view, found.mean, model, place, outcome)))
        };
        let correlation = found.and_then(|found| found.correlation.ok());
        let cells = [
            mean(0, across),
            mean(1, up),
            or_missing(correlation.map(|value| numbers::signed(value, 2))),
            numbers::count(super::super::to_u64(model.k)),
        ];
        Line {
            label: numbers::signed(model.within_correlation.value(), 1),
            apart: false,
            withheld: None,
            cells: columns.iter().cloned().zip(cells).collect(),
        }
    });
    Table {
        lines: lines.collect(),
        columns: columns.to_vec(),
    }
}
