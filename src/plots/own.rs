//! One reader's own differences against the pool: a panel for each outcome, each with its own axis,
//! one above the other.
//!
//! The own difference is a filled square with a line as long as its interval; below it stand the
//! pooled diamond and the thin prediction bar of the forest plot (see [`super::summary`]), so that
//! own and pooled are told apart by shape and by name before any colour.
//!
//! Absent: which figures may be shown, and all computing.

use super::marks;
use super::marks::key::Mark;
use super::parts::{Layout, Summary};
use super::scale::{Cover, Scale};
use super::sheet::{LABEL_GAP, Sheet, later};
use super::words::{self, PREDICTION_WORDS};

/// What the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Own {
    /// Unique in its page; a letter first, then letters, digits and hyphens.
    pub id: String,
    /// Name of the picture; it heads the picture and names it for readers who do not see it.
    pub title: String,
    /// A line under the title that has to stay with a copied picture.
    pub notice: Option<String>,
    /// What the picture shows, for readers who do not see it; each panel's numbers are added.
    pub description: String,
    /// Name of every interval but the prediction interval: "95 % range".
    pub interval_words: String,
    /// The panels from top to bottom.
    pub panels: Vec<Panel>,
}

/// One outcome. All values are in `unit`.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// Name: "Mean ball speed, forehand".
    pub label: String,
    /// Unit of every value, as shown: "km/h".
    pub unit: String,
    /// What lies left of zero: "tighter faster".
    pub left_words: String,
    /// What lies right of zero: "looser faster".
    pub right_words: String,
    /// The own difference, or a sentence that says why there is none.
    pub own: Result<Difference, String>,
    /// The pooled estimate, when there is one.
    pub pooled: Option<Pooled>,
}

/// The reader's own difference. Values must be finite: others are not drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// Estimate.
    pub estimate: f64,
    /// Lower end of its interval.
    pub low: f64,
    /// Upper end of its interval.
    pub high: f64,
    /// Estimate and interval as shown: "2.1 (0.4 to 3.8)".
    pub numbers: String,
}

/// The pooled estimate of a panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Pooled {
    /// Who is behind it: "84 pairs, 78 players".
    pub counts: String,
    /// The estimate with its intervals.
    pub summary: Summary,
}

/// Name of the own difference.
const OWN_WORDS: &str = "your sessions";

/// Draws the picture as SVG: the same values give the same bytes.
#[must_use]
pub fn own(plot: &Own, layout: Layout) -> String {
    let mut sheet = Sheet::new(layout, &plot.id, &plot.title);
    let width = sheet.frame.width;
    let mut below = sheet.write(&plot.title, 0.0, 0.0, width, true);
    if let Some(notice) = &plot.notice {
        below = sheet.write(notice, 0.0, below, width, false);
    }
    sheet.y = below + sheet.frame.gap / 2.0;
    for panel in &plot.panels {
        let (left, right) = layout.plot();
        let scale = Scale::new(cover(panel), left, right);
        match layout {
            Layout::Wide => wide(&mut sheet, plot, panel, &scale),
            Layout::Narrow => narrow(&mut sheet, plot, panel, &scale),
        }
        if panel.own.is_ok() || panel.pooled.is_some() {
            sheet.y += sheet.frame.gap * 2.0 / 3.0;
            let ends = (panel.left_words.as_str(), panel.right_words.as_str());
            sheet.axis(&scale, ends, &panel.unit);
        }
        sheet.y += sheet.frame.gap;
    }
    key(&mut sheet, plot);
    sheet.finish(description(plot))
}

/// The range that holds every value of a panel.
fn cover(panel: &Panel) -> Cover {
    let mut cover = Cover::zero();
    if let Ok(own) = &panel.own {
        for value in [own.low, own.estimate, own.high] {
            cover.include(value);
        }
    }
    if let Some(pooled) = &panel.pooled {
        cover.include_summary(&pooled.summary);
    }
    cover
}

/// A panel with names left of the marks and numbers right of them, a row for each mark.
fn wide(sheet: &mut Sheet, plot: &Own, panel: &Panel, scale: &Scale) {
    let frame = sheet.frame;
    let (label_room, number_room) = (frame.plot.0 - LABEL_GAP, frame.width - frame.numbers);
    let names = sheet.write(&panel.label, 0.0, sheet.y, frame.numbers - LABEL_GAP, true);
    let head = sheet.write(
        &head(plot, panel),
        frame.numbers,
        sheet.y,
        number_room,
        false,
    );
    let top = later(names, head);
    let middle = |row: f64| row + frame.line / 2.0;
    let named = sheet.write(OWN_WORDS, 0.0, top, label_room, false);
    let shown = match &panel.own {
        Ok(own) => {
            marks::own(&mut sheet.canvas, scale, own, middle(top));
            sheet.write(&own.numbers, frame.numbers, top, number_room, true)
        }
        Err(why) => sheet.write(why, frame.plot.0, top, frame.width - frame.plot.0, false),
    };
    let mut bottom = later(named, shown);
    if let Some(Pooled { counts, summary }) = &panel.pooled {
        let row = bottom;
        let named = sheet.write_list(counts, row, label_room);
        marks::diamond(&mut sheet.canvas, scale, summary.span(), false, middle(row));
        let shown = sheet.write(&summary.numbers, frame.numbers, row, number_room, false);
        bottom = later(named, shown);
        if let Some(prediction) = summary.prediction {
            let row = bottom;
            marks::bar(&mut sheet.canvas, scale, prediction, middle(row));
            let named = sheet.write(PREDICTION_WORDS, 0.0, row, label_room, false);
            let numbers = summary.shown_prediction().unwrap_or_default();
            let shown = sheet.write(numbers, frame.numbers, row, number_room, false);
            bottom = later(named, shown);
        }
    }
    if panel.own.is_ok() || panel.pooled.is_some() {
        marks::zero_line(&mut sheet.canvas, scale, top, bottom);
    }
    sheet.y = bottom;
}

/// A panel with names and numbers above the marks.
fn narrow(sheet: &mut Sheet, plot: &Own, panel: &Panel, scale: &Scale) {
    let frame = sheet.frame;
    let mut top = sheet.write_apart(&panel.label, &head(plot, panel), sheet.y, true);
    top = match &panel.own {
        Ok(own) => sheet.write_apart(OWN_WORDS, &own.numbers, top, false),
        Err(why) => sheet.write(&format!("{OWN_WORDS}: {why}"), 0.0, top, frame.width, false),
    };
    if let Some(Pooled { counts, summary }) = &panel.pooled {
        top = sheet.write_apart(counts, &summary.numbers, top, false);
        if let Some(numbers) = summary.shown_prediction() {
            top = sheet.write_apart(PREDICTION_WORDS, numbers, top, false);
        }
    }
    top += frame.line / 4.0;
    let mut bottom = top;
    if let Ok(own) = &panel.own {
        marks::own(&mut sheet.canvas, scale, own, bottom + MARK_ROW / 2.0);
        bottom += MARK_ROW;
    }
    if let Some(Pooled { summary, .. }) = &panel.pooled {
        marks::diamond(
            &mut sheet.canvas,
            scale,
            summary.span(),
            false,
            bottom + MARK_ROW / 2.0,
        );
        bottom += MARK_ROW;
        if let Some(prediction) = summary.prediction {
            marks::bar(
                &mut sheet.canvas,
                scale,
                prediction,
                bottom + MARK_ROW / 2.0,
            );
            bottom += MARK_ROW;
        }
    }
    if top < bottom {
        marks::zero_line(&mut sheet.canvas, scale, top, bottom);
    }
    sheet.y = bottom;
}

/// Height of one mark's row in the narrow layout: the diamond and a little air (by eye).
const MARK_ROW: f64 = 20.0;

/// Heads the numbers of a panel.
fn head(plot: &Own, panel: &Panel) -> String {
    // The interval's name stays on one line, whatever the unit's length.
    let interval_words = plot.interval_words.replace(' ', "\u{A0}");
    format!("{} ({interval_words})", panel.unit)
}

/// Says what each kind of mark is; only kinds that are drawn are named.
fn key(sheet: &mut Sheet, plot: &Own) {
    let pooled = || plot.panels.iter().filter_map(|panel| panel.pooled.as_ref());
    let is_expected = |pooled: &Pooled| pooled.summary.prediction.is_some();
    let own_words = format!("{OWN_WORDS}, {}", plot.interval_words);
    let pooled_words = format!("all pairs, {}", plot.interval_words);
    let expected_words = format!("{PREDICTION_WORDS} (approximate)");
    sheet.key(&[
        (
            plot.panels.iter().any(|panel| panel.own.is_ok()),
            Mark::Own,
            own_words.as_str(),
        ),
        (
            pooled().next().is_some(),
            Mark::Pooled,
            pooled_words.as_str(),
        ),
        (
            pooled().any(is_expected),
            Mark::Expected,
            expected_words.as_str(),
        ),
    ]);
}

/// The caller's description, then each panel's numbers.
fn description(plot: &Own) -> String {
    let mut sentences = vec![plot.description.clone()];
    sentences.extend(plot.notice.clone());
    for panel in &plot.panels {
        let unit = &panel.unit;
        let own = match &panel.own {
            Ok(own) => format!("{} {unit}", own.numbers),
            Err(why) => why.clone(),
        };
        let mut parts = vec![format!("{OWN_WORDS}: {own}")];
        if let Some(Pooled { counts, summary }) = &panel.pooled {
            parts.push(format!("{counts}: {}", words::summary(summary, unit)));
        }
        sentences.push(format!(
            "{}, left of zero {}, right of zero {}: {}.",
            panel.label,
            panel.left_words,
            panel.right_words,
            parts.join("; ")
        ));
    }
    sentences.join(" ")
}

#[cfg(test)]
mod tests;
