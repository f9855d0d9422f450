//! Every pair ranked by its difference, each with its range, in a strip of bounded height: the
//! caterpillar plot of the multilevel literature (Goldstein & Healy 1995, "The graphical
//! presentation of a collection of means").
//!
//! Absent: which pairs may be shown, and all computing.

use std::cmp::Ordering;

use super::canvas::Element;
use super::canvas::layer::Layer;
use super::marks;
use super::marks::key::Mark;
use super::parts::{Heading, Layout, Sides, Summary};
use super::scale::{Cover, Scale, ascending, is_placeable};
use super::sheet::Sheet;
use super::words::PREDICTION_WORDS;
use super::words::{self, NOTHING};
use crate::numbers;

/// What the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranked {
    /// What heads it.
    pub heading: Heading,
    /// Unit and words of its axis.
    pub sides: Sides,
    /// Name of every pair's range and of the pooled interval: "95 % range".
    pub interval_words: String,
    /// The pairs, in any order.
    pub pairs: Vec<RankedPair>,
    /// The pooled estimate, when there is one.
    pub summary: Option<Summary>,
    /// The smallest worthwhile difference, when there is one: positive, in the unit of the axis.
    pub worthwhile: Option<f64>,
    /// A sentence shown instead of marks.
    pub withheld: Option<String>,
}

/// One pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RankedPair {
    /// Effect. One that is not finite is not drawn, and is counted as outside.
    pub estimate: f64,
    /// Lower end of its range. Unless both ends are finite the range is not drawn.
    pub low: f64,
    /// Upper end of its range.
    pub high: f64,
}

/// Most height of one pair's row. With many pairs rows are so thin that points run together into a
/// line and ranges into a ground, and nothing crowds.
const ROW: f64 = 13.0;

/// Most pairs whose ranges are lines of their own (own choice, by eye in the narrow layout).
const MOST_LINES: usize = 80;

/// Most pairs that are drawn: more would lie within less than two pixels of each other, and the picture
/// would grow with the crowd without showing more of it (own choice).
const MOST_DRAWN: usize = 300;

/// Room at both ends of the axis.
const MARGIN: f64 = 8.0;

/// Draws the picture as SVG: the same values give the same bytes.
#[must_use]
pub fn ranked(plot: &Ranked, layout: Layout) -> String {
    let mut sheet = Sheet::headed(layout, &plot.heading);
    let mut sentences = plot.heading.sentences();
    sentences.push(plot.sides.sentence());
    let any = plot.pairs.iter().any(|pair| is_placeable(pair.estimate));
    let nothing = (!any && plot.summary.is_none()).then_some(NOTHING);
    if let Some(why) = plot.withheld.as_deref().or(nothing) {
        sheet.say(why);
        sentences.push(words::ended(why));
        return sheet.finish(sentences.join(" "));
    }
    let scale = Scale::new(cover(plot), MARGIN, sheet.frame.width - MARGIN);
    draw(&mut sheet, plot, &scale);
    let n_outside = plot.pairs.iter().filter(|pair| !scale.holds(pair.estimate));
    let notes: Vec<String> = [
        words::outside_note(n_outside.count()),
        drawn_note(plot.pairs.len()),
    ]
    .into_iter()
    .flatten()
    .collect();
    sheet.axis(&scale, plot.sides.ends(), &plot.sides.unit);
    sheet.notes(&notes);
    key(&mut sheet, plot, any);
    sentences.extend(words::zone_sentence(plot.worthwhile, &plot.sides.unit));
    sentences.extend(pairs_sentence(plot));
    if let Some(summary) = &plot.summary {
        let said = words::summary(summary, &plot.sides.unit);
        sentences.push(format!("All pairs together: {said}."));
    }
    sentences.extend(notes.iter().map(|note| words::ended(note)));
    sheet.finish(sentences.join(" "))
}

/// The range that holds the pooled estimate and the central pairs with their ranges.
fn cover(plot: &Ranked) -> Cover {
    let mut cover = Cover::zero();
    for value in [
        |pair: &RankedPair| pair.low,
        |pair: &RankedPair| pair.estimate,
        |pair: &RankedPair| pair.high,
    ] {
        cover.include_central(&ascending(plot.pairs.iter().map(value)));
    }
    if let Some(summary) = &plot.summary {
        cover.include_summary(summary);
    }
    cover.include_zone(plot.worthwhile);
    cover
}

/// Pairs that can be placed, in rank order, so that the order of the input leaves no trace.
fn in_order(pairs: &[RankedPair]) -> Vec<RankedPair> {
    let keys = |pair: &RankedPair| [pair.estimate, pair.low, pair.high];
    let mut sorted: Vec<RankedPair> = pairs
        .iter()
        .filter(|pair| !pair.estimate.is_nan())
        .copied()
        .collect();
    sorted.sort_by(|a, b| {
        let unequal = keys(a)
            .into_iter()
            .zip(keys(b))
            .map(|(a, b)| a.total_cmp(&b))
            .find(|order| *order != Ordering::Equal);
        unequal.unwrap_or(Ordering::Equal)
    });
    sorted
}

/// Of so many pairs one in how many is drawn.
fn step(n_pairs: usize) -> usize {
    n_pairs.div_ceil(MOST_DRAWN).max(1)
}

fn drawn_note(n_pairs: usize) -> Option<String> {
    let step = step(n_pairs);
    (1 < step).then(|| format!("One pair in {} is drawn", numbers::count(step as u64)))
}

/// Those that are drawn: the middle one of as many as each stands for.
fn drawn(pairs: &[RankedPair]) -> Vec<RankedPair> {
    let sorted = in_order(pairs);
    let step = step(pairs.len());
    sorted.into_iter().skip(step / 2).step_by(step).collect()
}

fn draw(sheet: &mut Sheet, plot: &Ranked, scale: &Scale) {
    let pairs = drawn(&plot.pairs);
    let shared = sheet.frame.field_height / pairs.len() as f64;
    let row = if shared < ROW { shared } else { ROW };
    let top = sheet.y;
    let mut y = top + row / 2.0;
    let mut ranges = Vec::new();
    let mut dots = Vec::new();
    for pair in &pairs {
        if is_placeable(pair.low) && is_placeable(pair.high) {
            let inside = scale.clipped(pair.low, pair.high);
            ranges.extend(inside.map(|(left, right)| (left, y, right)));
        }
        if scale.holds(pair.estimate) {
            let x = scale.at(pair.estimate);
            dots.push((x, y, x));
        } else if pair.estimate < 0.0 {
            marks::arrowhead(&mut sheet.canvas, scale.start(), y, false);
        } else {
            marks::arrowhead(&mut sheet.canvas, scale.end(), y, true);
        }
        y += row;
    }
    if !ranges.is_empty() {
        let layer = if MOST_LINES < pairs.len() {
            Layer::Ranges
        } else {
            Layer::Range
        };
        sheet.canvas.put(layer, Element::strokes(&ranges));
    }
    if !dots.is_empty() {
        sheet.canvas.put(Layer::Dot, Element::strokes(&dots));
    }
    sheet.y = y - row / 2.0;
    if let Some(summary) = &plot.summary {
        let middle = sheet.y + sheet.frame.line / 2.0;
        marks::diamond(&mut sheet.canvas, scale, summary.span(), false, middle);
        if scale.holds(summary.estimate) {
            let x = scale.at(summary.estimate);
            let line = Element::line(x, top, x, middle);
            sheet.canvas.put(Layer::Curve, line);
        }
        sheet.y += sheet.frame.line;
        if let Some(prediction) = summary.prediction {
            let middle = sheet.y + sheet.frame.line / 4.0;
            marks::bar(&mut sheet.canvas, scale, prediction, middle);
            sheet.y += sheet.frame.line * 3.0 / 4.0;
        }
    }
    marks::zone(&mut sheet.canvas, scale, plot.worthwhile, (top, sheet.y));
    marks::zero_line(&mut sheet.canvas, scale, top, sheet.y);
    sheet.y += sheet.frame.gap / 2.0;
}

fn key(sheet: &mut Sheet, plot: &Ranked, any: bool) {
    let range = format!("one pair, {}", plot.interval_words);
    let numbers = plot.summary.as_ref().map(|summary| &summary.numbers);
    let pooled = numbers.map(|numbers| {
        let shown = unbroken(&format!("{numbers} {}", plot.sides.unit));
        format!("all pairs, {}: {shown}", plot.interval_words)
    });
    let expected = plot.summary.as_ref().and_then(Summary::shown_prediction);
    let expected_words = expected.map(|numbers| {
        let shown = unbroken(&format!("{numbers} {}", plot.sides.unit));
        format!("{PREDICTION_WORDS}: {shown} (approximate)")
    });
    let zone = words::zone_words(plot.worthwhile, &plot.sides.unit);
    sheet.key(&[
        (any, Mark::Range, range.as_str()),
        (
            pooled.is_some(),
            Mark::Pooled,
            pooled.as_deref().unwrap_or_default(),
        ),
        (
            expected.is_some(),
            Mark::Expected,
            expected_words.as_deref().unwrap_or_default(),
        ),
        (plot.worthwhile.is_some(), Mark::Zone, zone.as_str()),
    ]);
}

/// Words that stay on one line.
fn unbroken(words: &str) -> String {
    words.replace(' ', "\u{A0}")
}

/// How many pairs there are, from where to where, and on which side of zero.
fn pairs_sentence(plot: &Ranked) -> Option<String> {
    let placed = ascending(plot.pairs.iter().map(|pair| pair.estimate));
    let (low, high) = (*placed.first()?, *placed.last()?);
    let count = |side: fn(&f64) -> bool| placed.iter().filter(|value| side(value)).count() as u64;
    let decimals = numbers::decimals_for((high - low) / 2.0);
    Some(format!(
        "{} from {} {}: {} below zero, {} above.",
        numbers::counted(placed.len() as u64, "pair", "pairs"),
        numbers::interval(low, high, decimals),
        plot.sides.unit,
        numbers::count(count(|value| *value < 0.0)),
        numbers::count(count(|value| 0.0 < *value)),
    ))
}

#[cfg(test)]
mod tests;
