//! The pooled estimate as players arrived: a line for each group of arrival, with everybody up to
//! it (the cumulative meta-analysis of Lau et al. 1992, "Cumulative meta-analysis of therapeutic
//! trials for myocardial infarction").
//!
//! Absent: all computing, and which steps may be shown.

use super::canvas::layer::Layer;
use super::marks;
use super::marks::key::Mark;
use super::parts::{Heading, Layout, Sides};
use super::scale::{Cover, Scale};
use super::sheet::{LABEL_GAP, Sheet, later};
use super::words::{self, NOTHING};
use crate::numbers;

/// What the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Cumulative {
    /// What heads it.
    pub heading: Heading,
    /// Unit and words of its axis.
    pub sides: Sides,
    /// Name of every interval: "95 % range".
    pub interval_words: String,
    /// The steps in order of arrival.
    pub steps: Vec<CumulativeStep>,
    /// The smallest worthwhile difference, when there is one: positive, in the unit of the axis.
    pub worthwhile: Option<f64>,
    /// A sentence shown instead of marks.
    pub withheld: Option<String>,
}

/// Everybody up to one group of arrival.
#[derive(Debug, Clone, PartialEq)]
pub struct CumulativeStep {
    /// Who: "40 players".
    pub label: String,
    /// Their mean, or a sentence that says why there is none.
    pub result: Result<CumulativeMean, String>,
}

/// A pooled estimate with its interval. Values must be finite: others are not drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct CumulativeMean {
    /// Pooled estimate.
    pub estimate: f64,
    /// Lower end of its interval.
    pub low: f64,
    /// Upper end of its interval.
    pub high: f64,
    /// Estimate and interval as shown: "1.2 (0.3 to 2.1)".
    pub numbers: String,
}

/// Most steps drawn (own choice: the picture of a phone's height). Of more, every n-th is.
const MOST_STEPS: usize = 16;

/// Side of a step's square.
const SIDE: f64 = 9.0;

/// Height of a mark's row in the narrow layout (by eye).
const MARK_ROW: f64 = 18.0;

/// Draws the picture as SVG: the same values give the same bytes.
#[must_use]
pub fn cumulative(plot: &Cumulative, layout: Layout) -> String {
    let mut sheet = Sheet::headed(layout, &plot.heading);
    let mut sentences = plot.heading.sentences();
    sentences.push(plot.sides.sentence());
    sentences.extend(words::zone_sentence(plot.worthwhile, &plot.sides.unit));
    let steps = told(&plot.steps);
    let nothing = steps.is_empty().then_some(NOTHING);
    if let Some(why) = plot.withheld.as_deref().or(nothing) {
        sheet.say(why);
        sentences.push(words::ended(why));
        return sheet.finish(sentences.join(" "));
    }
    let note = (steps.len() < plot.steps.len()).then(|| {
        format!(
            "{} of {} are shown",
            numbers::count(steps.len() as u64),
            numbers::counted(plot.steps.len() as u64, "step", "steps")
        )
    });
    draw(&mut sheet, plot, &steps, layout);
    sheet.notes(note.as_slice());
    key(&mut sheet, plot);
    for step in &steps {
        let said = match &step.result {
            Ok(mean) => format!("{} {}", mean.numbers, plot.sides.unit),
            Err(why) => why.clone(),
        };
        sentences.push(format!("{}: {}", step.label, words::ended(&said)));
    }
    sentences.extend(note.map(|note| words::ended(&note)));
    sheet.finish(sentences.join(" "))
}

/// The steps that are drawn: all, or every n-th counted back from the last.
fn told(steps: &[CumulativeStep]) -> Vec<&CumulativeStep> {
    let every = steps.len().div_ceil(MOST_STEPS);
    let mut told: Vec<&CumulativeStep> = steps.iter().rev().step_by(every.max(1)).collect();
    told.reverse();
    told
}

fn draw(sheet: &mut Sheet, plot: &Cumulative, steps: &[&CumulativeStep], layout: Layout) {
    let (left, right) = layout.plot();
    let means = || steps.iter().filter_map(|step| step.result.as_ref().ok());
    let mut cover = Cover::zero();
    for value in means().flat_map(|mean| [mean.low, mean.estimate, mean.high]) {
        cover.include(value);
    }
    cover.include_zone(plot.worthwhile);
    let scale = Scale::new(cover, left, right);
    let any = means().next().is_some();
    if any {
        let head = (plot.sides.unit.as_str(), plot.interval_words.as_str());
        sheet.number_head(layout, head, false);
    }
    let top = sheet.y;
    for (idx, step) in steps.iter().enumerate() {
        let is_last = idx + 1 == steps.len();
        match layout {
            Layout::Wide => wide(sheet, &scale, step, is_last),
            Layout::Narrow => narrow(sheet, plot, &scale, step, is_last),
        }
    }
    if any {
        if layout == Layout::Wide {
            ground(sheet, plot, &scale, (top, sheet.y));
        }
        sheet.y += sheet.frame.gap * 2.0 / 3.0;
        sheet.axis(&scale, plot.sides.ends(), &plot.sides.unit);
    }
}

/// Zone and zero line behind the marks.
fn ground(sheet: &mut Sheet, plot: &Cumulative, scale: &Scale, (top, bottom): (f64, f64)) {
    marks::zone(&mut sheet.canvas, scale, plot.worthwhile, (top, bottom));
    marks::zero_line(&mut sheet.canvas, scale, top, bottom);
}

fn wide(sheet: &mut Sheet, scale: &Scale, step: &CumulativeStep, is_last: bool) {
    let frame = sheet.frame;
    let top = sheet.y;
    let label_room = frame.plot.0 - LABEL_GAP;
    let named = sheet.write(&step.label, 0.0, top, label_room, is_last);
    let shown = match &step.result {
        Err(why) => {
            let x = frame.plot.0 + LABEL_GAP;
            sheet.write(why, x, top, frame.width - x, false)
        }
        Ok(mean) => {
            mark(sheet, scale, mean, is_last, top + frame.line / 2.0);
            let room = frame.width - frame.numbers;
            sheet.write(&mean.numbers, frame.numbers, top, room, is_last)
        }
    };
    sheet.y = later(named, shown);
}

fn narrow(
    sheet: &mut Sheet,
    plot: &Cumulative,
    scale: &Scale,
    step: &CumulativeStep,
    is_last: bool,
) {
    match &step.result {
        Err(why) => sheet.say(&format!("{}: {why}", step.label)),
        Ok(mean) => {
            sheet.y = sheet.write_apart(&step.label, &mean.numbers, sheet.y, is_last);
            let top = sheet.y + sheet.frame.line / 6.0;
            mark(sheet, scale, mean, is_last, top + MARK_ROW / 2.0);
            sheet.y = top + MARK_ROW;
            ground(sheet, plot, scale, (top, sheet.y));
        }
    }
}

fn mark(sheet: &mut Sheet, scale: &Scale, mean: &CumulativeMean, is_last: bool, middle: f64) {
    let values = [mean.low, mean.estimate, mean.high];
    if is_last {
        marks::diamond(&mut sheet.canvas, scale, values, false, middle);
    } else {
        marks::boxed(
            &mut sheet.canvas,
            scale,
            Layer::Part,
            values,
            (middle, SIDE),
        );
    }
}

fn key(sheet: &mut Sheet, plot: &Cumulative) {
    let is_shown = |step: &CumulativeStep| step.result.is_ok();
    let last = plot.steps.last().is_some_and(is_shown);
    let earlier = plot.steps.iter().rev().skip(1).any(is_shown);
    let up_to = format!("everybody up to then, {}", plot.interval_words);
    let so_far = format!("everybody so far, {}", plot.interval_words);
    let zone = words::zone_words(plot.worthwhile, &plot.sides.unit);
    sheet.key(&[
        (earlier, Mark::Part, up_to.as_str()),
        (last, Mark::Pooled, so_far.as_str()),
        (
            plot.worthwhile.is_some() && (earlier || last),
            Mark::Zone,
            zone.as_str(),
        ),
    ]);
}

#[cfg(test)]
mod tests;
