//! Where everything in a forest plot goes: its two layouts, from top to bottom.

use super::canvas::Element;
use super::canvas::layer::Layer;
use super::forest::{Block, Forest, Layout, PREDICTION_WORDS, outside_note};
use super::marks::key::Mark;
use super::marks::{self, strip};
use super::scale::Scale;
use super::sheet::{LABEL_GAP, Sheet, later};

/// A picture being drawn from top to bottom.
#[derive(Debug)]
pub(super) struct Drawing<'a> {
    plot: &'a Forest,
    scale: Scale,
    sheet: Sheet,
}

impl<'a> Drawing<'a> {
    /// Draws the whole plot but its description.
    pub(super) fn new(plot: &'a Forest, layout: Layout, scale: Scale) -> Self {
        let mut drawing = Self {
            plot,
            scale,
            sheet: Sheet::new(layout, &plot.id, &plot.title),
        };
        drawing.title(layout);
        for block in &plot.blocks {
            if let Some(reason) = &block.apart {
                drawing.set_apart(reason);
            }
            match (layout, &block.withheld) {
                (_, Some(sentence)) => drawing.withheld(layout, block, sentence),
                (Layout::Wide, None) => drawing.wide(block),
                (Layout::Narrow, None) => drawing.narrow(block),
            }
            drawing.sheet.y += drawing.sheet.frame.gap;
        }
        drawing.foot();
        drawing
    }

    /// The picture as SVG.
    pub(super) fn finish(self, description: String) -> String {
        self.sheet.finish(description)
    }

    /// Blocks that have marks.
    fn shown(&self) -> impl Iterator<Item = &'a Block> {
        self.plot
            .blocks
            .iter()
            .filter(|block| block.withheld.is_none())
    }

    /// Writes the title and the notice, and heads the column of numbers.
    fn title(&mut self, layout: Layout) {
        let plot = self.plot;
        let room = match layout {
            Layout::Wide => self.sheet.frame.numbers - LABEL_GAP,
            Layout::Narrow => self.sheet.frame.width,
        };
        let mut below = self.sheet.write(&plot.title, 0.0, 0.0, room, true);
        if let Some(notice) = &plot.notice {
            below = self.sheet.write(notice, 0.0, below, room, false);
        }
        self.sheet.y = below + self.sheet.frame.gap / 2.0;
        if self.shown().any(|block| block.summary.is_some()) {
            self.head(layout, below);
        }
    }

    /// Heads the column of numbers, in the wide layout on the last line of the title.
    fn head(&mut self, layout: Layout, below: f64) {
        // The interval's name stays on one line, whatever the unit's length.
        let interval_words = self.plot.interval_words.replace(' ', "\u{A0}");
        let head = format!("{} ({interval_words})", self.plot.unit);
        let (width, numbers) = (self.sheet.frame.width, self.sheet.frame.numbers);
        self.sheet.y = match layout {
            Layout::Wide => {
                let top = below - self.sheet.frame.line;
                self.sheet
                    .write(&head, numbers, top, width - numbers, false)
            }
            Layout::Narrow => self.sheet.write(&head, 0.0, below, width, false),
        } + self.sheet.frame.gap / 2.0;
    }

    /// Draws a line across the picture and says why what follows is no part of the answer.
    fn set_apart(&mut self, reason: &str) {
        let (y, width) = (self.sheet.y, self.sheet.frame.width);
        self.sheet
            .canvas
            .put(Layer::Axis, Element::line(0.0, y, width, y));
        let below = self
            .sheet
            .write(reason, 0.0, y + self.sheet.frame.gap / 3.0, width, false);
        self.sheet.y = below + self.sheet.frame.gap / 3.0;
    }

    /// A block without marks: its name, its counts and the sentence that says why.
    fn withheld(&mut self, layout: Layout, block: &Block, sentence: &str) {
        let top = self.sheet.y;
        if layout == Layout::Wide {
            let room = self.sheet.frame.plot.0 - LABEL_GAP;
            let names = self.sheet.write(&block.label, 0.0, top, room, true);
            let left = self.sheet.write_list(&block.counts, names, room);
            let x = self.sheet.frame.plot.0;
            let right = self
                .sheet
                .write(sentence, x, top, self.sheet.frame.width - x, false);
            self.sheet.y = later(left, right);
        } else {
            let names = self.names_narrow(block);
            self.sheet.y = self
                .sheet
                .write(sentence, 0.0, names, self.sheet.frame.width, false);
        }
    }

    /// A block with its names and numbers beside the marks.
    fn wide(&mut self, block: &Block) {
        let (line, numbers) = (self.sheet.frame.line, self.sheet.frame.numbers);
        let label_room = self.sheet.frame.plot.0 - LABEL_GAP;
        let number_room = self.sheet.frame.width - numbers;
        let top = self.sheet.y;
        let names = self.sheet.write(&block.label, 0.0, top, label_room, true);
        let note = outside_note(&block.rows, &self.scale).map_or(top, |note| {
            self.sheet.write(&note, numbers, top, number_room, false)
        });
        let strip = top + self.strip(block, top);
        let pooled_top = later(later(names, note), strip);
        let counts = self.sheet.write_list(&block.counts, pooled_top, label_room);
        let mut bottom = counts;
        if let Some(summary) = &block.summary {
            marks::diamond(
                &mut self.sheet.canvas,
                &self.scale,
                summary.span(),
                block.apart.is_some(),
                pooled_top + line / 2.0,
            );
            let shown = self
                .sheet
                .write(&summary.numbers, numbers, pooled_top, number_room, true);
            bottom = later(counts, shown);
            if let Some(prediction) = summary.prediction {
                let bar_top = bottom;
                marks::bar(
                    &mut self.sheet.canvas,
                    &self.scale,
                    prediction,
                    bar_top + line / 2.0,
                );
                let named = self
                    .sheet
                    .write(PREDICTION_WORDS, 0.0, bar_top, label_room, false);
                let shown = summary.shown_prediction().unwrap_or_default();
                bottom = later(
                    named,
                    self.sheet
                        .write(shown, numbers, bar_top, number_room, false),
                );
            }
        }
        marks::zero_line(&mut self.sheet.canvas, &self.scale, top, bottom);
        self.sheet.y = bottom;
    }

    /// A block with its names and numbers above the marks.
    fn narrow(&mut self, block: &Block) {
        let width = self.sheet.frame.width;
        let mut top = self.names_narrow(block);
        if let Some(summary) = &block.summary {
            top = self
                .sheet
                .write_apart("all pairs together", &summary.numbers, top, false);
            if let Some(numbers) = summary.shown_prediction() {
                top = self
                    .sheet
                    .write_apart(PREDICTION_WORDS, numbers, top, false);
            }
        }
        if let Some(note) = outside_note(&block.rows, &self.scale) {
            top = self.sheet.write(&note, 0.0, top, width, false);
        }
        top += self.sheet.frame.line / 4.0;
        let mut bottom = top + self.strip(block, top);
        if let Some(summary) = &block.summary {
            let middle = bottom + marks::DIAMOND_HALF + 4.0;
            marks::diamond(
                &mut self.sheet.canvas,
                &self.scale,
                summary.span(),
                block.apart.is_some(),
                middle,
            );
            bottom = middle + marks::DIAMOND_HALF;
            if let Some(prediction) = summary.prediction {
                marks::bar(
                    &mut self.sheet.canvas,
                    &self.scale,
                    prediction,
                    bottom + 9.0,
                );
                bottom += 15.0;
            }
        }
        marks::zero_line(&mut self.sheet.canvas, &self.scale, top, bottom);
        self.sheet.y = bottom;
    }

    /// Writes a block's name and counts, on one line when both fit; gives the lower edge.
    fn names_narrow(&mut self, block: &Block) -> f64 {
        self.sheet
            .write_apart(&block.label, &block.counts, self.sheet.y, true)
    }

    /// Draws a block's rows from `top`; gives the height they take.
    fn strip(&mut self, block: &Block, top: f64) -> f64 {
        let rows = strip::ranked(&block.rows);
        let most_side = self.sheet.frame.most_side;
        strip::strip(&mut self.sheet.canvas, &self.scale, &rows, top, most_side)
    }

    /// Draws the axis, its words and the key, when there is any mark.
    fn foot(&mut self) {
        let any_row = self.shown().any(|block| !block.rows.is_empty());
        let any_summary = self.shown().any(|block| block.summary.is_some());
        if !any_row && !any_summary {
            return;
        }
        let plot = self.plot;
        let ends = (plot.left_words.as_str(), plot.right_words.as_str());
        self.sheet.axis(&self.scale, ends, &plot.unit);
        self.key(any_row, any_summary);
    }

    /// Says what each kind of mark is.
    fn key(&mut self, any_row: bool, any_summary: bool) {
        let any_prediction = self
            .shown()
            .filter_map(|block| block.summary.as_ref())
            .any(|summary| summary.prediction.is_some());
        let pooled = format!("all pairs, {}", self.plot.interval_words);
        let expected = format!("{PREDICTION_WORDS} (approximate)");
        self.sheet.key(&[
            (any_row, Mark::Row, "one pair, area by weight"),
            (any_summary, Mark::Pooled, pooled.as_str()),
            (any_prediction, Mark::Expected, expected.as_str()),
        ]);
    }
}
