//! Who gains: the share of players whose true difference is above zero, and above the smallest
//! worthwhile one, each with its interval, for each gap band.
//!
//! Absent: how a share is found, and of what it is a share.

use super::canvas::Element;
use super::canvas::layer::Layer;
use super::marks;
use super::marks::key::Mark;
use super::parts::{Heading, Layout};
use super::scale::{Cover, Scale};
use super::sheet::{LABEL_GAP, Sheet, later};
use super::words;

/// What the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Gains {
    /// What heads it.
    pub heading: Heading,
    /// Name of the interval of every share: "95 % range".
    pub interval_words: String,
    /// Of what: "players" or "pairs of sessions".
    pub share_of: String,
    /// The groups from top to bottom.
    pub groups: Vec<GainGroup>,
}

/// One analysis, such as a gap band.
#[derive(Debug, Clone, PartialEq)]
pub struct GainGroup {
    /// Name: "5 to under 8 lb".
    pub label: String,
    /// Counts: "84 pairs, 78 players".
    pub counts: String,
    /// Its shares, or a sentence that says why there are none.
    pub lines: Result<Vec<GainLine>, String>,
}

/// One share.
#[derive(Debug, Clone, PartialEq)]
pub struct GainLine {
    /// Above what: "looser faster at all".
    pub label: String,
    /// Whether the threshold is the smallest worthwhile difference and not zero; the square is then
    /// hollow.
    pub worthwhile: bool,
    /// The share, or why there is none.
    pub share: Result<GainShare, String>,
}

/// A share with its interval, in percent. Values must be finite: others are not drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct GainShare {
    /// The share, 0 to 100.
    pub percent: f64,
    /// Lower end of its interval.
    pub low: f64,
    /// Upper end of its interval.
    pub high: f64,
    /// Share and interval as shown: "62 % (51 to 72)".
    pub numbers: String,
}

/// Height of a mark's row in the narrow layout (by eye).
const MARK_ROW: f64 = 20.0;

/// Draws the picture as SVG: the same values give the same bytes.
#[must_use]
pub fn gains(plot: &Gains, layout: Layout) -> String {
    let mut sheet = Sheet::headed(layout, &plot.heading);
    let (left, right) = layout.plot();
    let mut cover = Cover::counts();
    cover.include(100.0);
    let scale = Scale::new(cover, left, right);
    let any = shares(plot).next().is_some();
    if any {
        let head = ("share", plot.interval_words.as_str());
        sheet.number_head(layout, head, false);
    }
    for group in &plot.groups {
        match layout {
            Layout::Wide => wide(&mut sheet, &scale, group),
            Layout::Narrow => narrow(&mut sheet, &scale, group),
        }
        sheet.y += sheet.frame.gap * 2.0 / 3.0;
    }
    if any {
        sheet.axis_titled(&scale, None, &format!("share of {}, %", plot.share_of));
        key(&mut sheet, plot);
    }
    sheet.finish(description(plot))
}

/// Shares that have marks, with whether their threshold is the smallest worthwhile difference.
fn shares(plot: &Gains) -> impl Iterator<Item = (bool, &GainShare)> {
    let lines = plot
        .groups
        .iter()
        .filter_map(|group| group.lines.as_ref().ok());
    lines
        .flatten()
        .filter_map(|line| Some((line.worthwhile, line.share.as_ref().ok()?)))
}

fn wide(sheet: &mut Sheet, scale: &Scale, group: &GainGroup) {
    let frame = sheet.frame;
    let (label_room, number_room) = (frame.plot.0 - LABEL_GAP, frame.width - frame.numbers);
    let top = sheet.y;
    let marks_left = frame.plot.0 + LABEL_GAP;
    let names = sheet.write(&group.label, 0.0, top, label_room, true);
    let said_room = frame.width - marks_left;
    let below = match &group.lines {
        Err(why) => sheet.write(why, marks_left, top, said_room, false),
        Ok(_) => top,
    };
    sheet.y = later(below, sheet.write_list(&group.counts, names, label_room));
    for line in group.lines.iter().flatten() {
        let top = sheet.y;
        let named = sheet.write(&line.label, 0.0, top, label_room, false);
        let shown = match &line.share {
            Err(why) => sheet.write(why, marks_left, top, said_room, false),
            Ok(share) => {
                mark(sheet, scale, line.worthwhile, share, top + frame.line / 2.0);
                half(sheet, scale, (top, top + frame.line));
                sheet.write(&share.numbers, frame.numbers, top, number_room, false)
            }
        };
        sheet.y = later(named, shown);
    }
}

fn narrow(sheet: &mut Sheet, scale: &Scale, group: &GainGroup) {
    sheet.y = sheet.write_apart(&group.label, &group.counts, sheet.y, true);
    if let Err(why) = &group.lines {
        sheet.say(why);
    }
    for line in group.lines.iter().flatten() {
        match &line.share {
            Err(why) => sheet.say(&format!("{}: {why}", line.label)),
            Ok(share) => {
                sheet.y = sheet.write_apart(&line.label, &share.numbers, sheet.y, false);
                let top = sheet.y;
                mark(sheet, scale, line.worthwhile, share, top + MARK_ROW / 2.0);
                sheet.y += MARK_ROW;
                half(sheet, scale, (top, sheet.y));
            }
        }
    }
}

fn mark(sheet: &mut Sheet, scale: &Scale, worthwhile: bool, share: &GainShare, middle: f64) {
    let layer = if worthwhile {
        Layer::PartApart
    } else {
        Layer::Part
    };
    let values = [share.low, share.percent, share.high];
    let at = (middle, marks::PLAIN_SIDE);
    // A share beyond 0 or 100 % is no share.
    if values.iter().all(|value| scale.holds(*value)) {
        marks::boxed(&mut sheet.canvas, scale, layer, values, at);
    }
}

/// Draws the line of one half behind the marks.
fn half(sheet: &mut Sheet, scale: &Scale, (top, bottom): (f64, f64)) {
    let x = scale.at(50.0);
    sheet
        .canvas
        .put(Layer::Guide, Element::line(x, top, x, bottom));
}

fn key(sheet: &mut Sheet, plot: &Gains) {
    let drawn = |worthwhile: bool| shares(plot).any(|(of, _)| of == worthwhile);
    sheet.key(&[
        (drawn(false), Mark::Part, "any difference that way"),
        (
            drawn(true),
            Mark::PartApart,
            "a worthwhile difference that way",
        ),
        (true, Mark::Guide, "one half"),
    ]);
}

/// The caller's description, then each group's shares.
fn description(plot: &Gains) -> String {
    let mut sentences = plot.heading.sentences();
    sentences.push(format!(
        "Share of {}, with its {}.",
        plot.share_of, plot.interval_words
    ));
    for group in &plot.groups {
        let head = if group.counts.is_empty() {
            group.label.clone()
        } else {
            format!("{}, {}", group.label, group.counts)
        };
        let said = match &group.lines {
            Err(why) => why.clone(),
            Ok(lines) => {
                let lines: Vec<String> = lines
                    .iter()
                    .map(|line| {
                        let found = match &line.share {
                            Ok(share) => &share.numbers,
                            Err(why) => why,
                        };
                        format!("{}: {found}", line.label)
                    })
                    .collect();
                lines.join("; ")
            }
        };
        sentences.push(format!("{head}: {}", words::ended(&said)));
    }
    sentences.join(" ")
}

#[cfg(test)]
mod tests;
