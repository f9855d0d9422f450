//! The funnel plot: every pair's difference against its standard error, with the lines between
//! which 95 % of them would lie if only chance made them differ from the pooled estimate.
//!
//! Sources of the form: Light & Pillemer 1984, "Summing Up"; Sterne & Egger 2001, "Funnel plots for
//! detecting bias in meta-analysis: guidelines on choice of axis": the standard error on the
//! vertical axis, zero at the top.
//!
//! Absent: any test of asymmetry, and which pairs may be shown.

use super::bubbles::{self, Drawn, Pair};
use super::canvas::Element;
use super::canvas::layer::Layer;
use super::field::{Field, FieldWords, Upright};
use super::marks::key::Mark;
use super::parts::{Heading, Layout, Sides};
use super::scale::{Cover, ascending, is_placeable};
use super::sheet::Sheet;
use super::words::{self, NOTHING};
use crate::numbers;

/// What the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Funnel {
    /// What heads it.
    pub heading: Heading,
    /// Unit and words of the horizontal axis.
    pub sides: Sides,
    /// The pairs, in any order.
    pub points: Vec<FunnelPoint>,
    /// The pooled estimate about which the limits stand.
    pub pooled: Option<f64>,
    /// A sentence shown instead of marks.
    pub withheld: Option<String>,
}

/// One pair. One whose values are not finite is not drawn, and is counted as outside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FunnelPoint {
    /// Effect.
    pub estimate: f64,
    /// Its standard error, positive, in the same unit.
    pub standard_error: f64,
}

/// The 97.5 % quantile of the standard normal distribution.
const NORMAL_97_5: f64 = 1.959_963_984_540_054;

/// Draws the picture as SVG: the same values give the same bytes.
#[must_use]
pub fn funnel(plot: &Funnel, layout: Layout) -> String {
    let mut sheet = Sheet::headed(layout, &plot.heading);
    let mut sentences = plot.heading.sentences();
    sentences.push(plot.sides.sentence());
    let any = plot.points.iter().any(is_drawable);
    if let Some(why) = plot.withheld.as_deref().or((!any).then_some(NOTHING)) {
        sheet.say(why);
        sentences.push(words::ended(why));
        return sheet.finish(sentences.join(" "));
    }
    let pooled = plot.pooled.filter(|value| is_placeable(*value));
    let drawn = draw(&mut sheet, plot, pooled);
    sheet.notes(&drawn.notes());
    sheet.key(&[
        drawn.entry(false),
        (pooled.is_some(), Mark::Mean, "all pairs together"),
        (
            pooled.is_some(),
            Mark::Guide,
            "95\u{A0}% of pairs would lie between these lines if only chance made them differ",
        ),
    ]);
    sentences.extend(pooled.and_then(|pooled| limits_sentence(plot, pooled)));
    sentences.extend(drawn.notes().iter().map(|note| words::ended(note)));
    sheet.finish(sentences.join(" "))
}

fn is_drawable(point: &FunnelPoint) -> bool {
    is_placeable(point.estimate) && is_placeable(point.standard_error) && 0.0 < point.standard_error
}

fn draw(sheet: &mut Sheet, plot: &Funnel, pooled: Option<f64>) -> Drawn {
    let drawable = || plot.points.iter().filter(|point| is_drawable(point));
    let mut errors = Cover::zero();
    let errors_ascending = ascending(drawable().map(|point| point.standard_error));
    errors.include_central(&errors_ascending);
    let mut differences = Cover::zero();
    differences.include_central(&ascending(drawable().map(|point| point.estimate)));
    let most = errors.high();
    if let Some(pooled) = pooled {
        differences.include(pooled - NORMAL_97_5 * most);
        differences.include(pooled + NORMAL_97_5 * most);
    }
    let (left, right) = plot.sides.ends();
    let field = Field::new(
        sheet,
        differences,
        (errors, Upright::Down),
        FieldWords {
            up: &format!(
                "standard error, {}; the surest pairs at the top",
                plot.sides.unit
            ),
            across: &format!("difference, {}", plot.sides.unit),
            above: ("", ""),
            below: (&format!("\u{2190} {left}"), &format!("{right} \u{2192}")),
        },
    );
    field.zero_up(sheet);
    if let Some(pooled) = pooled {
        let reach = NORMAL_97_5 * most;
        for side in [-reach, reach] {
            field.curve(sheet, Layer::Guide, &[(pooled, 0.0), (pooled + side, most)]);
        }
        let (x, top) = field.at((pooled, 0.0));
        sheet
            .canvas
            .put(Layer::Curve, Element::line(x, top, x, field.bottom));
    }
    let n = plot.points.len() as f64;
    let pairs: Vec<Pair> = plot
        .points
        .iter()
        .map(|point| Pair {
            // A standard error of zero or less is no place in a funnel.
            values: if is_drawable(point) {
                (point.estimate, point.standard_error)
            } else {
                (f64::NAN, f64::NAN)
            },
            weight: 1.0 / n,
        })
        .collect();
    bubbles::draw(sheet, &field, &pairs)
}

/// How many pairs lie between the limits.
fn limits_sentence(plot: &Funnel, pooled: f64) -> Option<String> {
    let drawable: Vec<&FunnelPoint> = plot.points.iter().filter(|p| is_drawable(p)).collect();
    if drawable.is_empty() {
        return None;
    }
    let within = drawable
        .iter()
        .filter(|point| (point.estimate - pooled).abs() <= NORMAL_97_5 * point.standard_error)
        .count();
    Some(format!(
        "{} of {} lie between the lines about the pooled estimate; 95\u{A0}% would if only chance \
         made them differ.",
        numbers::count(within as u64),
        numbers::counted(drawable.len() as u64, "pair", "pairs"),
    ))
}

#[cfg(test)]
mod tests;
