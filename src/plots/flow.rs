//! The flow of contributions: how many there were at each stage, and who left between two of them
//! and why, in the manner of the participant flow diagram of CONSORT (Schulz, Altman & Moher 2010,
//! "CONSORT 2010 Statement").
//!
//! Absent: the counts themselves and which of them may be shown.

use super::canvas::Element;
use super::canvas::layer::Layer;
use super::marks;
use super::parts::{Heading, Layout};
use super::sheet::Sheet;
use super::words::NOTHING;

/// What the picture shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Flow {
    /// What heads it.
    pub heading: Heading,
    /// The stages from first to last.
    pub stages: Vec<Stage>,
}

/// One stage.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stage {
    /// Name: "Sent".
    pub label: String,
    /// How many: "120 contributions".
    pub count: String,
    /// Who left before the next stage.
    pub leaving: Vec<Leaving>,
}

/// Those who left between two stages.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Leaving {
    /// How: "Declined".
    pub label: String,
    /// How many: "7 contributions".
    pub count: String,
    /// Why; may be empty.
    pub reasons: Vec<Reason>,
}

/// One reason with its count.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reason {
    /// The reason: "Unit could not be settled".
    pub label: String,
    /// How many: "3".
    pub count: String,
}

/// The measures of a layout (own proportions, by eye).
#[derive(Debug, Clone, Copy)]
struct Places {
    /// Left and right edge of the boxes of the stages.
    stage: (f64, f64),
    /// Where the line from stage to stage stands.
    spine: f64,
    /// Left and right edge of the boxes of those who left.
    leaving: (f64, f64),
    /// Room between a box's edge and its words.
    padding: f64,
}

impl Places {
    fn of(layout: Layout) -> Self {
        match layout {
            Layout::Wide => Self {
                stage: (1.0, 461.0),
                spine: 231.0,
                leaving: (300.0, 860.0),
                padding: 12.0,
            },
            Layout::Narrow => Self {
                stage: (1.0, 339.0),
                spine: 18.0,
                leaving: (44.0, 339.0),
                padding: 8.0,
            },
        }
    }
}

/// Draws the picture as SVG: the same values give the same bytes.
#[must_use]
pub fn flow(plot: &Flow, layout: Layout) -> String {
    let mut sheet = Sheet::headed(layout, &plot.heading);
    let mut sentences = plot.heading.sentences();
    if plot.stages.is_empty() {
        sheet.say(NOTHING);
        sentences.push(NOTHING.to_owned());
    }
    let places = Places::of(layout);
    let mut came_from = None;
    for stage in &plot.stages {
        if let Some(above) = came_from {
            sheet.y += sheet.frame.gap;
            let line = Element::line(places.spine, above, places.spine, sheet.y);
            sheet.canvas.put(Layer::Axis, line);
            marks::arrowhead_down(&mut sheet.canvas, places.spine, sheet.y);
        }
        let words = [(stage.label.as_str(), true), (stage.count.as_str(), false)];
        boxed(&mut sheet, places.stage, places.padding, &words);
        came_from = Some(sheet.y);
        for leaving in &stage.leaving {
            sheet.y += sheet.frame.gap / 2.0;
            left(&mut sheet, places, leaving);
        }
        sentences.push(sentence(stage));
    }
    // Whoever leaves after the last stage hangs on the line too.
    if let (Some(above), Some(stage)) = (came_from, plot.stages.last())
        && !stage.leaving.is_empty()
    {
        let line = Element::line(places.spine, above, places.spine, sheet.y);
        sheet.canvas.put(Layer::Axis, line);
    }
    sheet.y += 1.0;
    sheet.finish(sentences.join(" "))
}

/// A box of those who left, with an arrow to it from the line.
fn left(sheet: &mut Sheet, places: Places, leaving: &Leaving) {
    let top = sheet.y;
    let head = format!("{}: {}", leaving.label, leaving.count);
    let reasons: Vec<String> = leaving
        .reasons
        .iter()
        .map(|reason| format!("{}: {}", reason.label, reason.count))
        .collect();
    let words: Vec<(&str, bool)> = std::iter::once((head.as_str(), true))
        .chain(reasons.iter().map(|reason| (reason.as_str(), false)))
        .collect();
    boxed(sheet, places.leaving, places.padding, &words);
    let middle = f64::midpoint(top, sheet.y);
    let (edge, _) = places.leaving;
    sheet.canvas.put(
        Layer::Axis,
        Element::line(places.spine, middle, edge, middle),
    );
    marks::arrowhead(&mut sheet.canvas, edge, middle, true);
}

/// A box with words in it, from the sheet's place on.
fn boxed(sheet: &mut Sheet, (left, right): (f64, f64), padding: f64, words: &[(&str, bool)]) {
    let top = sheet.y;
    sheet.y += padding / 2.0;
    for (said, strong) in words {
        let room = right - left - 2.0 * padding;
        sheet.y = sheet.write(said, left + padding, sheet.y, room, *strong);
    }
    sheet.y += padding / 2.0;
    let shape = Element::rect(left, top, right - left, sheet.y - top);
    sheet.canvas.put(Layer::Box, shape);
}

/// A stage in words.
fn sentence(stage: &Stage) -> String {
    let mut said = format!("{}: {}", stage.label, stage.count);
    for leaving in &stage.leaving {
        said = format!("{said}; {}: {}", leaving.label, leaving.count);
        let reasons: Vec<String> = leaving
            .reasons
            .iter()
            .map(|reason| format!("{}: {}", reason.label, reason.count))
            .collect();
        if !reasons.is_empty() {
            said = format!("{said} ({})", reasons.join(", "));
        }
    }
    format!("{said}.")
}

#[cfg(test)]
mod tests;
