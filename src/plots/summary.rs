//! The forest plot of parts: one line for each gap band or shot class, and no single pair.
//!
//! Source of the form: Lewis & Clarke 2001, "Forest plots: trying to see the wood and the trees": a
//! square with area by weight on its interval, number columns beside, a diamond for the whole; the
//! thin bar below is the prediction interval.
//!
//! Absent: all computing, and which lines may be shown.

use super::canvas::Element;
use super::canvas::layer::Layer;
use super::marks;
use super::marks::key::Mark;
use super::parts::{Heading, Layout, Sides, Summary};
use super::scale::{Cover, Scale};
use super::sheet::{LABEL_GAP, Sheet, later};
use super::words::{self, PREDICTION_WORDS};

/// What the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct SummaryForest {
    /// What heads it.
    pub heading: Heading,
    /// Unit and words of its axis.
    pub sides: Sides,
    /// Name of the interval of every line: "95 % range".
    pub interval_words: String,
    /// The smallest worthwhile difference, when there is one: positive, in the unit of the axis.
    pub worthwhile: Option<f64>,
    /// The lines from top to bottom.
    pub lines: Vec<SummaryLine>,
    /// All lines together, when that has a meaning. Its weight is not looked at.
    pub pooled: Option<SummaryLine>,
}

/// One analysis, such as a gap band.
#[derive(Debug, Clone, PartialEq)]
pub struct SummaryLine {
    /// Name: "5 to under 8 lb".
    pub label: String,
    /// Counts: "84 pairs, 78 players".
    pub counts: String,
    /// Share of the weight, 0 to 1. When any line has none, all squares are alike.
    pub weight: Option<f64>,
    /// The pooled estimate, or a sentence that says why there is none.
    pub result: Result<Summary, String>,
    /// Why the line is no part of the answer: it is then set apart and its square is hollow.
    pub apart: Option<String>,
}

/// Side of the heaviest line's square, and the least side, which keeps a square seen on its
/// interval (own choice, by eye).
const SIDES: (f64, f64) = (18.0, 6.0);

/// Height of a mark's row in the narrow layout (by eye).
const MARK_ROW: f64 = 20.0;

/// Draws the picture as SVG: the same values give the same bytes.
#[must_use]
pub fn summary(plot: &SummaryForest, layout: Layout) -> String {
    let mut sheet = Sheet::headed(layout, &plot.heading);
    let (left, right) = layout.plot();
    let scale = Scale::new(cover(plot), left, right);
    if shown(plot).next().is_some() {
        let head = (plot.sides.unit.as_str(), plot.interval_words.as_str());
        sheet.number_head(layout, head, is_predicted(plot));
    }
    let mut reason = None;
    let mut beside = None;
    for line in &plot.lines {
        if line.apart != reason {
            reason.clone_from(&line.apart);
            set_apart(&mut sheet, reason.as_deref().unwrap_or_default());
            beside = None;
        }
        let side = side(plot, line);
        beside = part(
            &mut sheet,
            (plot, layout),
            &scale,
            (line, Some(side)),
            beside,
        );
        sheet.y += sheet.frame.gap / 2.0;
    }
    if let Some(pooled) = &plot.pooled {
        set_apart(&mut sheet, "");
        part(&mut sheet, (plot, layout), &scale, (pooled, None), None);
        sheet.y += sheet.frame.gap / 2.0;
    }
    if shown(plot).next().is_some() {
        sheet.y += sheet.frame.gap / 3.0;
        sheet.axis(&scale, plot.sides.ends(), &plot.sides.unit);
        key(&mut sheet, plot);
    }
    sheet.finish(description(plot))
}

/// Lines that have marks, the pooled one included.
fn shown(plot: &SummaryForest) -> impl Iterator<Item = (&SummaryLine, &Summary)> {
    let lines = plot.lines.iter().chain(&plot.pooled);
    lines.filter_map(|line| Some((line, line.result.as_ref().ok()?)))
}

fn is_predicted(plot: &SummaryForest) -> bool {
    shown(plot).any(|(_, summary)| summary.prediction.is_some())
}

fn cover(plot: &SummaryForest) -> Cover {
    let mut cover = Cover::zero();
    for (_, summary) in shown(plot) {
        cover.include_summary(summary);
    }
    cover.include_zone(plot.worthwhile);
    cover
}

/// Side of a line's square.
fn side(plot: &SummaryForest, line: &SummaryLine) -> f64 {
    let weights: Option<Vec<f64>> = plot.lines.iter().map(|line| line.weight).collect();
    let heaviest =
        weights.into_iter().flatten().fold(
            0.0,
            |most, weight| {
                if most < weight { weight } else { most }
            },
        );
    let Some(weight) = line.weight.filter(|_| 0.0 < heaviest) else {
        return marks::PLAIN_SIDE;
    };
    let wanted = (weight / heaviest).sqrt() * SIDES.0;
    if SIDES.1 < wanted { wanted } else { SIDES.1 }
}

/// Draws a line across the picture, with words below it when there are any.
fn set_apart(sheet: &mut Sheet, words: &str) {
    let (y, width) = (sheet.y, sheet.frame.width);
    sheet
        .canvas
        .put(Layer::Axis, Element::line(0.0, y, width, y));
    sheet.y += sheet.frame.gap / 3.0;
    if !words.is_empty() {
        sheet.say(words);
        sheet.y += sheet.frame.gap / 3.0;
    }
}

/// Draws one line: a square of the given side with its interval, or without a side a diamond, and
/// behind it zone and zero line, from `above` on if there are marks right above. Gives the lower
/// edge where the next line can go on with them.
fn part(
    sheet: &mut Sheet,
    (plot, layout): (&SummaryForest, Layout),
    scale: &Scale,
    (line, side): (&SummaryLine, Option<f64>),
    above: Option<f64>,
) -> Option<f64> {
    let summary = match &line.result {
        Ok(summary) => summary,
        Err(why) => {
            missing(sheet, layout, line, why);
            return None;
        }
    };
    let (top, beside) = match layout {
        Layout::Wide => {
            let top = above.unwrap_or(sheet.y);
            wide(sheet, scale, line, summary, side);
            (top, Some(sheet.y))
        }
        // Words stand between the marks here.
        Layout::Narrow => (narrow(sheet, scale, line, summary, side), None),
    };
    let bottom = sheet.y;
    marks::zone(&mut sheet.canvas, scale, plot.worthwhile, (top, bottom));
    marks::zero_line(&mut sheet.canvas, scale, top, bottom);
    beside
}

/// A line without an estimate: its name, its counts and the sentence that says why.
fn missing(sheet: &mut Sheet, layout: Layout, line: &SummaryLine, why: &str) {
    if layout == Layout::Narrow {
        sheet.y = sheet.write_apart(&line.label, &line.counts, sheet.y, true);
        sheet.say(why);
        return;
    }
    let room = sheet.frame.plot.0 - LABEL_GAP;
    let names = sheet.write(&line.label, 0.0, sheet.y, room, true);
    let names = sheet.write_list(&line.counts, names, room);
    let x = sheet.frame.plot.0 + LABEL_GAP;
    let said = sheet.write(why, x, sheet.y, sheet.frame.width - x, false);
    sheet.y = later(names, said);
}

fn wide(
    sheet: &mut Sheet,
    scale: &Scale,
    line: &SummaryLine,
    summary: &Summary,
    side: Option<f64>,
) {
    let frame = sheet.frame;
    let (label_room, number_room) = (frame.plot.0 - LABEL_GAP, frame.width - frame.numbers);
    let top = sheet.y;
    mark(sheet, scale, line, summary, (top + frame.line / 2.0, side));
    let names = sheet.write(&line.label, 0.0, top, label_room, true);
    let shown = sheet.write(&summary.numbers, frame.numbers, top, number_room, true);
    let second = later(names, shown);
    let mut bottom = sheet.write_list(&line.counts, second, label_room);
    if let Some(prediction) = summary.prediction {
        let middle = second + frame.line / 2.0;
        marks::bar(&mut sheet.canvas, scale, prediction, middle);
        let numbers = summary.shown_prediction().unwrap_or_default();
        let shown = sheet.write(numbers, frame.numbers, second, number_room, false);
        bottom = later(bottom, later(shown, second + frame.line));
    }
    sheet.y = bottom;
}

/// Draws a line with its words above its marks; gives the upper edge of the marks.
fn narrow(
    sheet: &mut Sheet,
    scale: &Scale,
    line: &SummaryLine,
    summary: &Summary,
    side: Option<f64>,
) -> f64 {
    let mut below = sheet.write_apart(&line.label, &summary.numbers, sheet.y, true);
    let prediction = summary.shown_prediction().unwrap_or_default();
    below = sheet.write_apart(&line.counts, prediction, below, false);
    let top = below + sheet.frame.line / 4.0;
    sheet.y = top;
    mark(sheet, scale, line, summary, (top + MARK_ROW / 2.0, side));
    sheet.y += MARK_ROW;
    if let Some(prediction) = summary.prediction {
        let middle = sheet.y + MARK_ROW / 4.0;
        marks::bar(&mut sheet.canvas, scale, prediction, middle);
        sheet.y += MARK_ROW * 3.0 / 4.0;
    }
    top
}

fn mark(
    sheet: &mut Sheet,
    scale: &Scale,
    line: &SummaryLine,
    summary: &Summary,
    (middle, side): (f64, Option<f64>),
) {
    let apart = line.apart.is_some();
    let Some(side) = side else {
        marks::diamond(&mut sheet.canvas, scale, summary.span(), apart, middle);
        return;
    };
    let layer = if apart { Layer::PartApart } else { Layer::Part };
    let at = (middle, side);
    marks::boxed(&mut sheet.canvas, scale, layer, summary.span(), at);
}

/// Says what each kind of mark is; only kinds that are drawn are named.
fn key(sheet: &mut Sheet, plot: &SummaryForest) {
    let drawn = |apart: bool| {
        let mut lines = plot.lines.iter();
        lines.any(|line| line.result.is_ok() && line.apart.is_some() == apart)
    };
    let by_weight = plot.lines.iter().all(|line| line.weight.is_some());
    let square = if by_weight { ", square by weight" } else { "" };
    let part = format!("{}{square}", plot.interval_words);
    let pooled = plot.pooled.as_ref().filter(|line| line.result.is_ok());
    let pooled_words = format!("all together, {}", plot.interval_words);
    let zone = words::zone_words(plot.worthwhile, &plot.sides.unit);
    sheet.key(&[
        (drawn(false), Mark::Part, part.as_str()),
        (drawn(true), Mark::PartApart, "not part of the answer"),
        (pooled.is_some(), Mark::Pooled, pooled_words.as_str()),
        (
            is_predicted(plot),
            Mark::Expected,
            &format!("{PREDICTION_WORDS} (approximate)"),
        ),
        (plot.worthwhile.is_some(), Mark::Zone, zone.as_str()),
    ]);
}

/// The caller's description, then each line's numbers.
fn description(plot: &SummaryForest) -> String {
    let unit = &plot.sides.unit;
    let mut sentences = plot.heading.sentences();
    sentences.push(plot.sides.sentence());
    sentences.extend(words::zone_sentence(plot.worthwhile, unit));
    for line in plot.lines.iter().chain(&plot.pooled) {
        let head: Vec<&str> = [&line.label, &line.counts]
            .into_iter()
            .chain(&line.apart)
            .map(String::as_str)
            .filter(|part| !part.is_empty())
            .collect();
        let said = match &line.result {
            Err(why) => why.clone(),
            Ok(summary) => words::summary(summary, unit),
        };
        sentences.push(format!("{}: {}", head.join(", "), words::ended(&said)));
    }
    sentences.join(" ")
}

#[cfg(test)]
mod tests;
