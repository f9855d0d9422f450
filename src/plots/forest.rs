//! The forest plot: every pair, the pooled estimate and the prediction interval of one or
//! more blocks on one axis.
//!
//! Source of the form: Lewis & Clarke 2001, "Forest plots: trying to see the wood and the
//! trees" (squares by weight, diamond, zero line). A block may hold hundreds of rows, so they
//! are not named but stacked in a strip of bounded height, in the manner of a dot plot
//! (Wilkinson 1999, "Dot plots"), which shows where pairs crowd, how far they disagree and which
//! of them carry the weight.
//!
//! Absent: which rows may be shown, which interval drives a sentence, and all computing.

use super::drawing::Drawing;
use super::marks::strip;
use super::scale::{Cover, Scale, is_placeable};
use super::words;

/// What a forest plot shows. All values are in `unit`.
#[derive(Debug, Clone, PartialEq)]
pub struct Forest {
    /// Unique in its page; a letter first, then letters, digits and hyphens.
    pub id: String,
    /// Name of the picture; it heads the picture and names it for readers who do not see it.
    pub title: String,
    /// A line under the title that has to stay with a copied picture: "Invented data".
    pub notice: Option<String>,
    /// What the picture shows, for readers who do not see it; each block's numbers are added.
    pub description: String,
    /// Unit of every value, as shown: "km/h".
    pub unit: String,
    /// What lies left of zero: "tighter faster".
    pub left_words: String,
    /// What lies right of zero: "looser faster".
    pub right_words: String,
    /// Name of the interval of every summary: "95 % range".
    pub interval_words: String,
    /// The blocks from top to bottom.
    pub blocks: Vec<Block>,
}

/// One analysis, such as a gap band.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Name: "5 to under 8 lb".
    pub label: String,
    /// Counts: "84 pairs, 78 players".
    pub counts: String,
    /// The pairs, in any order; may be empty.
    pub rows: Vec<Row>,
    /// The pooled estimate, when there is one.
    pub summary: Option<Summary>,
    /// A sentence shown instead of marks; rows and summary are then ignored.
    pub withheld: Option<String>,
    /// Why the block is no part of the answer: it is then set apart by a line with these words,
    /// and its diamond is hollow.
    pub apart: Option<String>,
}

/// One pair's effect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Effect. One that is not finite is not drawn, and is counted as outside.
    pub estimate: f64,
    /// Share of the block's weight, 0 to 1.
    pub weight: f64,
}

/// The pooled estimate of a block. Values must be finite: others are not drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Pooled estimate.
    pub estimate: f64,
    /// Lower end of its interval.
    pub low: f64,
    /// Upper end of its interval.
    pub high: f64,
    /// Prediction interval, when estimable.
    pub prediction: Option<(f64, f64)>,
    /// Estimate and interval as shown: "1.2 (0.3 to 2.1)".
    pub numbers: String,
    /// Prediction interval as shown: "−3.0 to 5.4".
    pub prediction_numbers: Option<String>,
}

impl Summary {
    /// Lower end, estimate and upper end.
    pub(super) fn span(&self) -> [f64; 3] {
        [self.low, self.estimate, self.high]
    }

    /// The prediction interval as shown, when there is one.
    pub(super) fn shown_prediction(&self) -> Option<&str> {
        self.prediction.and(self.prediction_numbers.as_deref())
    }
}

/// How much room a picture has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// 1000 units: labels left of the marks, numbers right of them. For 720 px and more.
    Wide,
    /// 340 units: labels and numbers above the marks. For a phone.
    Narrow,
}

/// Name of the prediction interval: what it speaks of.
pub(super) const PREDICTION_WORDS: &str = "another such player";

/// Draws the plot as SVG: the same values give the same bytes.
#[must_use]
pub fn forest(plot: &Forest, layout: Layout) -> String {
    let (left, right) = layout.plot();
    let scale = Scale::new(cover(plot), left, right);
    Drawing::new(plot, layout, scale).finish(description(plot, &scale))
}

/// The range that holds every summary, every prediction interval and the central rows.
fn cover(plot: &Forest) -> Cover {
    let mut cover = Cover::zero();
    for block in plot.blocks.iter().filter(|block| block.withheld.is_none()) {
        let estimates: Vec<f64> = strip::ranked(&block.rows)
            .iter()
            .map(|row| row.estimate)
            .filter(|e| is_placeable(*e))
            .collect();
        cover.include_central(&estimates);
        if let Some(summary) = &block.summary {
            cover.include_summary(summary);
        }
    }
    cover
}

/// Says how many rows are not at their place in the picture; none, nothing.
pub(super) fn outside_note(rows: &[Row], scale: &Scale) -> Option<String> {
    words::outside_note(strip::n_outside(rows, scale))
}

/// The caller's description, then each block's numbers, then what is not at its place.
fn description(plot: &Forest, scale: &Scale) -> String {
    let mut sentences = vec![plot.description.clone()];
    sentences.extend(plot.notice.clone());
    for block in &plot.blocks {
        let head: Vec<&str> = [&block.label, &block.counts]
            .into_iter()
            .chain(&block.apart)
            .map(String::as_str)
            .filter(|part| !part.is_empty())
            .collect();
        let head = head.join(", ");
        let Some(sentence) = &block.withheld else {
            let mut said = head;
            if let Some(summary) = &block.summary {
                said = format!("{said}: {}", words::summary(summary, &plot.unit));
            }
            if let Some(note) = outside_note(&block.rows, scale) {
                said = format!("{said}; {note}");
            }
            sentences.push(format!("{said}."));
            continue;
        };
        sentences.push(format!("{head}: {sentence}"));
    }
    sentences.join(" ")
}

#[cfg(test)]
mod tests;
