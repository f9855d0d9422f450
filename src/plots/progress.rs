//! The host's progress: half the width of the interval against the number of players, with its
//! target, and the number of contributors over time.
//!
//! Invariant: no estimate is handed over, so none can be shown; a host who saw which way a study
//! points could steer it.
//!
//! Absent: all computing.

use super::canvas::Element;
use super::canvas::layer::Layer;
use super::field::{Field, FieldWords, Upright};
use super::marks::key::Mark;
use super::parts::{Heading, Layout};
use super::scale::{Cover, is_placeable};
use super::sheet::Sheet;
use super::words::{self, NOTHING};
use crate::numbers;

/// What the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Progress {
    /// What heads it.
    pub heading: Heading,
    /// A panel for each interval that is watched.
    pub precision: Vec<Precision>,
    /// Contributors over time.
    pub arrivals: Option<Arrivals>,
}

/// How wide one interval is.
#[derive(Debug, Clone, PartialEq)]
pub struct Precision {
    /// Name: "Ball speed, 5 to under 8 lb".
    pub label: String,
    /// Unit of every width, as shown: "km/h".
    pub unit: String,
    /// Half widths as players came, by ascending number of players.
    pub reached: Vec<HalfWidth>,
    /// Half widths to be expected with more players, by ascending number.
    pub expected: Vec<HalfWidth>,
    /// The half width that is aimed at.
    pub target: Option<f64>,
    /// What to make of it: "About 40 more players"; may be empty.
    pub said: String,
    /// A sentence shown instead of marks.
    pub withheld: Option<String>,
}

/// Half the width of an interval with so many players.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HalfWidth {
    /// Number of players.
    pub players: f64,
    /// Half the width.
    pub half_width: f64,
}

/// Contributors over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Arrivals {
    /// Name: "Contributors over time".
    pub label: String,
    /// How many there were from which day on, ascending.
    pub days: Vec<Arrived>,
    /// What days are counted from: "days since recruiting opened on 3 March 2025".
    pub since: String,
}

/// How many contributors there were from a day on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arrived {
    /// Days since the beginning.
    pub day: f64,
    /// Contributors up to and with that day.
    pub contributors: u64,
}

/// Height of a panel's field, as a share of that of a picture with one field.
const PANEL: f64 = 0.6;

/// Half widths beyond so many targets are cut off (own choice), because those of the first few
/// players would press all others flat.
const MOST_TARGETS: f64 = 6.0;

/// Radius of the circle at the newest point.
const NEWEST: f64 = 4.5;

/// Draws the picture as SVG: the same values give the same bytes.
#[must_use]
pub fn progress(plot: &Progress, layout: Layout) -> String {
    let mut sheet = Sheet::headed(layout, &plot.heading);
    sheet.frame.field_height *= PANEL;
    let mut sentences = plot.heading.sentences();
    if plot.precision.is_empty() && plot.arrivals.is_none() {
        sheet.say(NOTHING);
        sentences.push(NOTHING.to_owned());
    }
    for panel in &plot.precision {
        head(&mut sheet, &panel.label, &panel.said);
        precision(&mut sheet, panel);
        sheet.y += sheet.frame.gap;
        sentences.push(precision_sentence(panel));
    }
    precision_key(&mut sheet, plot);
    if let Some(panel) = &plot.arrivals {
        head(&mut sheet, &panel.label, "");
        arrivals(&mut sheet, panel);
        sentences.push(arrivals_sentence(panel));
    }
    sheet.finish(sentences.join(" "))
}

fn head(sheet: &mut Sheet, label: &str, said: &str) {
    let width = sheet.frame.width;
    sheet.y = sheet.write(label, 0.0, sheet.y, width, true);
    sheet.say(said);
}

/// Points that can be placed.
fn placed(points: &[HalfWidth]) -> Vec<(f64, f64)> {
    points
        .iter()
        .map(|point| (point.players, point.half_width))
        .filter(|(players, half_width)| is_placeable(*players) && is_placeable(*half_width))
        .collect()
}

/// Why a panel has no marks.
fn why_not(panel: &Precision) -> Option<&str> {
    let empty = placed(&panel.reached).is_empty() && placed(&panel.expected).is_empty();
    panel.withheld.as_deref().or(empty.then_some(NOTHING))
}

fn precision(sheet: &mut Sheet, panel: &Precision) {
    if let Some(why) = why_not(panel) {
        sheet.say(why);
        return;
    }
    let (reached, expected) = (placed(&panel.reached), placed(&panel.expected));
    let target = panel
        .target
        .filter(|target| 0.0 < *target && is_placeable(*target));
    let mut players = Cover::counts();
    let mut widths = Cover::zero();
    let most = target.map_or(f64::INFINITY, |target| MOST_TARGETS * target);
    for (n, half_width) in reached.iter().chain(&expected) {
        players.include(*n);
        widths.include(if most < *half_width {
            most
        } else {
            *half_width
        });
    }
    if let Some(target) = target {
        widths.include(target);
    }
    let field = Field::new(
        sheet,
        players,
        (widths, Upright::Up),
        FieldWords {
            up: &format!("half the width of the range, {}", panel.unit),
            across: "players",
            above: ("", ""),
            below: ("", ""),
        },
    );
    if let Some(target) = target {
        let y = field.up.at(target);
        let line = Element::line(field.across.start(), y, field.across.end(), y);
        sheet.canvas.put(Layer::Curve, line);
    }
    field.curve(sheet, Layer::Guide, &expected);
    field.curve(sheet, Layer::Step, &reached);
    if let Some(newest) = reached.last().filter(|newest| field.holds(**newest)) {
        let (x, y) = field.at(*newest);
        sheet
            .canvas
            .put(Layer::Outside, Element::circle(x, y, NEWEST));
    }
    if reached.iter().any(|point| !field.holds(*point)) {
        sheet.say("With the first few players the range was wider than the picture shows.");
    }
}

fn precision_key(sheet: &mut Sheet, plot: &Progress) {
    let shown = || {
        plot.precision
            .iter()
            .filter(|panel| why_not(panel).is_none())
    };
    if shown().next().is_none() {
        return;
    }
    sheet.y -= sheet.frame.gap;
    sheet.key(&[
        (
            shown().any(|panel| !placed(&panel.reached).is_empty()),
            Mark::Step,
            "so far",
        ),
        (
            shown().any(|panel| !placed(&panel.expected).is_empty()),
            Mark::Guide,
            "to be expected with more players",
        ),
        (
            shown().any(|panel| panel.target.is_some()),
            Mark::Mean,
            "target",
        ),
    ]);
    sheet.y += sheet.frame.gap;
}

fn arrivals(sheet: &mut Sheet, panel: &Arrivals) {
    let days: Vec<(f64, f64)> = panel
        .days
        .iter()
        .filter(|arrived| is_placeable(arrived.day))
        .map(|arrived| (arrived.day, arrived.contributors as f64))
        .collect();
    if days.is_empty() {
        sheet.say(NOTHING);
        return;
    }
    let (mut across, mut up) = (Cover::counts(), Cover::counts());
    let mut steps = Vec::new();
    let mut before = 0.0;
    for (day, contributors) in &days {
        across.include(*day);
        up.include(*contributors);
        steps.extend([(*day, before), (*day, *contributors)]);
        before = *contributors;
    }
    let field = Field::new(
        sheet,
        across,
        (up, Upright::Up),
        FieldWords {
            up: "contributors",
            across: &panel.since,
            above: ("", ""),
            below: ("", ""),
        },
    );
    field.curve(sheet, Layer::Step, &steps);
}

fn precision_sentence(panel: &Precision) -> String {
    let mut said = vec![panel.label.clone()];
    if let Some(why) = why_not(panel) {
        return format!("{}: {}", panel.label, words::ended(why));
    }
    let shown = |(players, half_width): &(f64, f64)| {
        let decimals = numbers::decimals_for(*half_width);
        format!(
            "{} {} with {} players",
            numbers::fixed(*half_width, decimals),
            panel.unit,
            numbers::fixed(*players, 0)
        )
    };
    let newest = placed(&panel.reached);
    said.extend(
        newest
            .last()
            .map(|at| format!("half the width of the range is {}", shown(at))),
    );
    let farthest = placed(&panel.expected);
    said.extend(
        farthest
            .last()
            .map(|at| format!("to be expected: {}", shown(at))),
    );
    said.extend(
        panel
            .target
            .map(|target| format!("target {} {}", words::size(target), panel.unit)),
    );
    if !panel.said.is_empty() {
        said.push(panel.said.clone());
    }
    words::ended(&said.join("; "))
}

fn arrivals_sentence(panel: &Arrivals) -> String {
    match panel.days.last() {
        Some(last) => format!(
            "{}: {} after {} {}.",
            panel.label,
            numbers::count(last.contributors),
            numbers::fixed(last.day, 0),
            panel.since
        ),
        None => format!("{}: {NOTHING}", panel.label),
    }
}

#[cfg(test)]
mod tests;
