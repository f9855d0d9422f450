//! Speed against control: two differences of the same pairs, one on each axis, with the joint
//! region of their mean.
//!
//! Absent: the bivariate model, and which pairs may be shown.

use super::bubbles::{self, Drawn, Pair};
use super::canvas::Element;
use super::canvas::layer::Layer;
use super::field::{Field, FieldWords, Upright};
use super::marks::key::Mark;
use super::parts::{Heading, Layout, Sides};
use super::scale::{Cover, ascending, is_placeable};
use super::sheet::Sheet;
use super::words::PREDICTION_WORDS;
use super::words::{self, NOTHING};

/// What the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Tradeoff {
    /// What heads it.
    pub heading: Heading,
    /// Name of the joint region of the mean: "95 % region".
    pub interval_words: String,
    /// Unit and words of the horizontal axis.
    pub across: Sides,
    /// Its outcome: "ball speed".
    pub across_name: String,
    /// Unit and words of the vertical axis.
    pub up: Sides,
    /// Its outcome: "balls in".
    pub up_name: String,
    /// What the four corners mean.
    pub corners: Corners,
    /// The pairs, in any order.
    pub points: Vec<TradeoffPoint>,
    /// The joint mean, when there is one.
    pub mean: Option<JointMean>,
    /// A sentence shown instead of marks.
    pub withheld: Option<String>,
}

/// What the four corners mean, with the looser bed as the subject: "faster, more in".
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Corners {
    /// Slower, and more of the other.
    pub upper_left: String,
    /// Faster, and more of the other.
    pub upper_right: String,
    /// Slower, and less of the other.
    pub lower_left: String,
    /// Faster, and less of the other.
    pub lower_right: String,
}

/// One pair. One whose values are not finite is not drawn, and is counted as outside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TradeoffPoint {
    /// Its difference on the horizontal axis.
    pub across: f64,
    /// Its difference on the vertical axis.
    pub up: f64,
    /// Share of the weight, 0 to 1.
    pub weight: f64,
}

/// The mean of both differences.
#[derive(Debug, Clone, PartialEq)]
pub struct JointMean {
    /// On the horizontal axis.
    pub across: f64,
    /// On the vertical axis.
    pub up: f64,
    /// Outline of its confidence region, horizontal value first.
    pub ellipse: Vec<(f64, f64)>,
    /// Outline of the prediction region; may be empty.
    pub prediction: Vec<(f64, f64)>,
    /// Both means as shown, for readers who do not see the picture.
    pub numbers: String,
}

/// Half the width and height of the mean's diamond.
const MEAN_HALF: f64 = 6.0;

/// Draws the picture as SVG: the same values give the same bytes.
#[must_use]
pub fn tradeoff(plot: &Tradeoff, layout: Layout) -> String {
    let mut sheet = Sheet::headed(layout, &plot.heading);
    let mut sentences = plot.heading.sentences();
    if let Some(why) = why_not(plot) {
        sheet.say(why);
        sentences.push(words::ended(why));
        return sheet.finish(sentences.join(" "));
    }
    let drawn = draw(&mut sheet, plot);
    sheet.notes(&drawn.notes());
    key(&mut sheet, plot, drawn);
    let corners = &plot.corners;
    sentences.push(format!(
        "Across, {}. {} Up, {}. {}",
        title(&plot.across_name, &plot.across),
        plot.across.sentence(),
        title(&plot.up_name, &plot.up),
        plot.up.upright_sentence(),
    ));
    sentences.push(format!(
        "Corners: upper left {}, upper right {}, lower left {}, lower right {}.",
        corners.upper_left, corners.upper_right, corners.lower_left, corners.lower_right
    ));
    if let Some(mean) = &plot.mean {
        sentences.push(format!(
            "Mean of all pairs: {}",
            words::ended(&mean.numbers)
        ));
    }
    sentences.extend(drawn.notes().iter().map(|note| words::ended(note)));
    sheet.finish(sentences.join(" "))
}

fn why_not(plot: &Tradeoff) -> Option<&str> {
    let mut points = plot.points.iter();
    let empty = plot.mean.is_none()
        && !points.any(|point| is_placeable(point.across) && is_placeable(point.up));
    let withheld = plot.withheld.as_deref();
    withheld.or(empty.then_some(NOTHING))
}

fn title(name: &str, sides: &Sides) -> String {
    format!("difference in {name}, {}", sides.unit)
}

fn draw(sheet: &mut Sheet, plot: &Tradeoff) -> Drawn {
    let mut across = Cover::zero();
    let mut up = Cover::zero();
    across.include_central(&ascending(plot.points.iter().map(|point| point.across)));
    up.include_central(&ascending(plot.points.iter().map(|point| point.up)));
    if let Some(mean) = &plot.mean {
        let outlines = mean.ellipse.iter().chain(&mean.prediction);
        for value in outlines.chain([&(mean.across, mean.up)]) {
            across.include(value.0);
            up.include(value.1);
        }
    }
    let corners = &plot.corners;
    let field = Field::new(
        sheet,
        across,
        (up, Upright::Up),
        FieldWords {
            up: &format!("\u{2191} {}", title(&plot.up_name, &plot.up)),
            across: &format!("{} \u{2192}", title(&plot.across_name, &plot.across)),
            above: (&corners.upper_left, &corners.upper_right),
            below: (&corners.lower_left, &corners.lower_right),
        },
    );
    field.zero_across(sheet);
    field.zero_up(sheet);
    if let Some(mean) = &plot.mean {
        field.shape(sheet, Layer::Band, &mean.ellipse);
        field.shape(sheet, Layer::BandEdge, &mean.ellipse);
        field.shape(sheet, Layer::ExpectedEdge, &mean.prediction);
        if field.holds((mean.across, mean.up)) {
            let (x, y) = field.at((mean.across, mean.up));
            let corners = [
                (x - MEAN_HALF, y),
                (x, y - MEAN_HALF),
                (x + MEAN_HALF, y),
                (x, y + MEAN_HALF),
            ];
            sheet.canvas.put(Layer::Pooled, Element::shape(&corners));
        }
    }
    let pairs: Vec<Pair> = plot
        .points
        .iter()
        .map(|point| Pair {
            values: (point.across, point.up),
            weight: point.weight,
        })
        .collect();
    bubbles::draw(sheet, &field, &pairs)
}

fn key(sheet: &mut Sheet, plot: &Tradeoff, drawn: Drawn) {
    let region = format!("mean of all pairs, {}", plot.interval_words);
    let mut means = plot.mean.iter();
    sheet.key(&[
        drawn.entry(true),
        (plot.mean.is_some(), Mark::Region, region.as_str()),
        (
            means.any(|mean| !mean.prediction.is_empty()),
            Mark::ExpectedEdge,
            &format!("{PREDICTION_WORDS} (approximate)"),
        ),
    ]);
}

#[cfg(test)]
mod tests;
