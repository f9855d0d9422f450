//! Dose-response: the difference against the tension gap, with every pair as a circle, the fitted
//! curve with its confidence band, and the outline of what is expected of another such player.
//!
//! The form is that of the bubble plots of meta-regression: circles with area by weight (Thompson
//! & Higgins 2002, "How should meta-regression analyses be undertaken and interpreted?").
//!
//! Absent: the fit, and which pairs may be shown.

use super::bubbles::{self, Drawn, Pair};
use super::canvas::Element;
use super::canvas::layer::Layer;
use super::field::{Field, FieldWords, Upright};
use super::marks;
use super::marks::key::Mark;
use super::parts::{Heading, Layout, Sides};
use super::scale::{Cover, ascending, is_placeable};
use super::sheet::Sheet;
use super::words::PREDICTION_WORDS;
use super::words::{self, NOTHING};
use crate::numbers;

/// What the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Dose {
    /// What heads it.
    pub heading: Heading,
    /// Unit and words of the vertical axis.
    pub sides: Sides,
    /// Name of the interval that the band is: "95 % range".
    pub interval_words: String,
    /// Unit of every gap, as shown: "lb".
    pub gap_unit: String,
    /// The pairs, in any order.
    pub points: Vec<DosePoint>,
    /// The curve by ascending gap; empty when there is none.
    pub curve: Vec<DoseCurve>,
    /// Edges of the gap bands.
    pub edges: Vec<f64>,
    /// A sentence shown instead of marks.
    pub withheld: Option<String>,
}

/// One pair. One whose values are not finite is not drawn, and is counted as outside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DosePoint {
    /// Tension gap.
    pub gap: f64,
    /// Effect.
    pub estimate: f64,
    /// Share of the weight, 0 to 1.
    pub weight: f64,
}

/// The curve at one gap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DoseCurve {
    /// Tension gap.
    pub gap: f64,
    /// Fitted difference.
    pub estimate: f64,
    /// Its interval, when estimable.
    pub interval: Option<(f64, f64)>,
    /// Its prediction interval, when estimable.
    pub prediction: Option<(f64, f64)>,
}

/// Draws the picture as SVG: the same values give the same bytes.
#[must_use]
pub fn dose(plot: &Dose, layout: Layout) -> String {
    let mut sheet = Sheet::headed(layout, &plot.heading);
    let mut sentences = plot.heading.sentences();
    sentences.push(plot.sides.upright_sentence());
    if let Some(why) = why_not(plot) {
        sheet.say(why);
        sentences.push(words::ended(why));
        return sheet.finish(sentences.join(" "));
    }
    let drawn = draw(&mut sheet, plot);
    sheet.notes(&drawn.notes());
    key(&mut sheet, plot, drawn);
    sentences.extend(curve_sentences(plot));
    sentences.extend(drawn.notes().iter().map(|note| words::ended(note)));
    sheet.finish(sentences.join(" "))
}

fn why_not(plot: &Dose) -> Option<&str> {
    let points = plot.points.iter();
    let empty = plot.curve.is_empty()
        && !points
            .map(|point| (point.gap, point.estimate))
            .any(|(gap, estimate)| is_placeable(gap) && is_placeable(estimate));
    let withheld = plot.withheld.as_deref();
    withheld.or(empty.then_some(NOTHING))
}

fn draw(sheet: &mut Sheet, plot: &Dose) -> Drawn {
    let mut gaps = Cover::zero();
    let mut differences = Cover::zero();
    for point in plot.points.iter().filter(|p| is_placeable(p.estimate)) {
        gaps.include(point.gap);
    }
    differences.include_central(&ascending(plot.points.iter().map(|point| point.estimate)));
    for at in &plot.curve {
        gaps.include(at.gap);
        let ranges = at.interval.into_iter().chain(at.prediction);
        for value in ranges.flat_map(<[f64; 2]>::from).chain([at.estimate]) {
            differences.include(value);
        }
    }
    let (below, above) = plot.sides.ends();
    let field = Field::new(
        sheet,
        gaps,
        (differences, Upright::Up),
        FieldWords {
            up: &format!("difference, {}", plot.sides.unit),
            across: &format!("tension gap, {}", plot.gap_unit),
            above: (&format!("\u{2191} {above}"), ""),
            below: (&format!("\u{2193} {below}"), ""),
        },
    );
    field.zero_across(sheet);
    for edge in plot.edges.iter().filter(|edge| field.across.holds(**edge)) {
        let x = field.across.at(*edge);
        let tick = Element::line(x, field.bottom - marks::EDGE_TICK, x, field.bottom);
        sheet.canvas.put(Layer::Axis, tick);
    }
    curve(sheet, &field, &plot.curve);
    let pairs: Vec<Pair> = plot
        .points
        .iter()
        .map(|point| Pair {
            values: (point.gap, point.estimate),
            weight: point.weight,
        })
        .collect();
    bubbles::draw(sheet, &field, &pairs)
}

fn curve(sheet: &mut Sheet, field: &Field, curve: &[DoseCurve]) {
    let line: Vec<(f64, f64)> = curve.iter().map(|at| (at.gap, at.estimate)).collect();
    field.curve(sheet, Layer::Curve, &line);
    let ends = |of: fn(&DoseCurve) -> Option<(f64, f64)>| -> [Vec<(f64, f64)>; 2] {
        let known = || curve.iter().filter_map(|at| Some((at.gap, of(at)?)));
        [
            known().map(|(gap, range)| (gap, range.0)).collect(),
            known().map(|(gap, range)| (gap, range.1)).collect(),
        ]
    };
    let [mut outline, high] = ends(|at| at.interval);
    outline.extend(high.into_iter().rev());
    field.shape(sheet, Layer::Band, &outline);
    for edge in ends(|at| at.prediction) {
        field.curve(sheet, Layer::ExpectedEdge, &edge);
    }
}

fn key(sheet: &mut Sheet, plot: &Dose, drawn: Drawn) {
    let curve = format!("all pairs together, {}", plot.interval_words);
    let predicted = plot.curve.iter().any(|at| at.prediction.is_some());
    sheet.key(&[
        drawn.entry(true),
        (!plot.curve.is_empty(), Mark::Curve, curve.as_str()),
        (
            predicted,
            Mark::ExpectedEdge,
            &format!("{PREDICTION_WORDS} (approximate)"),
        ),
        (!plot.edges.is_empty(), Mark::Edge, "edge of a gap band"),
    ]);
}

/// The curve at its two ends and in the middle, in words.
fn curve_sentences(plot: &Dose) -> Vec<String> {
    let unit = &plot.sides.unit;
    let middle = plot.curve.len() / 2;
    let mut told: Vec<&DoseCurve> = plot.curve.first().into_iter().collect();
    told.extend(plot.curve.get(middle).filter(|_| 0 < middle));
    told.extend(plot.curve.last().filter(|_| middle + 1 < plot.curve.len()));
    told.into_iter()
        .map(|at| {
            let found = match at.interval {
                Some((low, high)) => numbers::estimate_and_interval(at.estimate, low, high),
                None => numbers::fixed(at.estimate, numbers::MOST_DECIMALS),
            };
            let expected = at.prediction.map(|(low, high)| {
                let decimals = numbers::decimals_of_range(low, high);
                let range = numbers::interval(low, high, decimals);
                format!("; {PREDICTION_WORDS}: {range} {unit}")
            });
            format!(
                "At a gap of {} {}: {found} {unit}{}.",
                words::size(at.gap),
                plot.gap_unit,
                expected.unwrap_or_default()
            )
        })
        .collect()
}

#[cfg(test)]
mod tests;
