//! Where everything in a forest plot goes: its two layouts, from top to bottom.

use super::canvas::{Anchor, Canvas, Px};
use super::forest::{Block, Forest, Layout, PREDICTION_WORDS, outside_note};
use super::marks::{self, Mark};
use super::scale::Scale;
use super::words;

/// Room for a mark in the key, and the gap to its words.
const KEY_MARK: f64 = 32.0;

/// Room between the labels and the marks of the wide layout.
const LABEL_GAP: f64 = 8.0;

impl Layout {
    /// Horizontal range of the marks, in user units.
    pub(super) fn plot(self) -> (f64, f64) {
        Frame::of(self).plot
    }
}

/// The measures of a layout, in user units (own proportions, by eye).
#[derive(Debug, Clone, Copy)]
struct Frame {
    name: &'static str,
    width: f64,
    /// Horizontal range of the marks.
    plot: (f64, f64),
    /// Left end of the numbers.
    numbers: f64,
    /// 18 units shown at 680 px of 1000, and 13 at 328 px of 340, are at least 12 px.
    font_size: f64,
    line: f64,
    gap: f64,
    most_side: f64,
    most_ticks: f64,
}

impl Frame {
    fn of(layout: Layout) -> Self {
        match layout {
            Layout::Wide => Self {
                name: "wide",
                width: 1000.0,
                plot: (240.0, 742.0),
                numbers: 762.0,
                font_size: 18.0,
                line: 24.0,
                gap: 26.0,
                most_side: 14.0,
                most_ticks: 9.0,
            },
            Layout::Narrow => Self {
                name: "narrow",
                width: 340.0,
                plot: (8.0, 332.0),
                numbers: 0.0,
                font_size: 13.0,
                line: 19.0,
                gap: 24.0,
                most_side: 12.0,
                most_ticks: 6.0,
            },
        }
    }
}

/// A picture being drawn from top to bottom.
#[derive(Debug)]
pub(super) struct Drawing<'a> {
    plot: &'a Forest,
    frame: Frame,
    scale: Scale,
    canvas: Canvas,
    /// Lower edge of what is drawn so far.
    y: f64,
}

impl<'a> Drawing<'a> {
    /// Draws the whole plot but its description.
    pub(super) fn new(plot: &'a Forest, layout: Layout, scale: Scale) -> Self {
        let frame = Frame::of(layout);
        let canvas = Canvas {
            id: plot.id.clone(),
            layout: frame.name,
            width: Px(frame.width),
            height: Px(0.0),
            font_size: Px(frame.font_size),
            title: plot.title.clone(),
            description: String::new(),
            zero: Vec::new(),
            axis: Vec::new(),
            squares: Vec::new(),
            outside: Vec::new(),
            expected: Vec::new(),
            pooled: Vec::new(),
            pooled_apart: Vec::new(),
            texts: Vec::new(),
        };
        let mut drawing = Self {
            plot,
            frame,
            scale,
            canvas,
            y: 0.0,
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
            drawing.y += drawing.frame.gap;
        }
        drawing.foot();
        drawing
    }

    /// The picture as SVG.
    pub(super) fn finish(mut self, description: String) -> String {
        self.canvas.description = description;
        self.canvas.height = Px(self.y);
        self.canvas.into_svg()
    }

    /// Blocks that have marks.
    fn shown(&self) -> impl Iterator<Item = &'a Block> {
        self.plot
            .blocks
            .iter()
            .filter(|block| block.withheld.is_none())
    }

    /// Baseline of text on the line that starts at `top`.
    fn baseline(&self, top: f64) -> f64 {
        top + self.frame.line / 2.0 + self.frame.font_size * 0.35
    }

    /// Writes text in lines of at most `room` from `top` on; gives the lower edge.
    fn write(&mut self, body: &str, x: f64, top: f64, room: f64, strong: bool) -> f64 {
        let mut y = top;
        for line in words::wrap(body, self.frame.font_size, room) {
            self.canvas
                .write(x, self.baseline(y), Anchor::Start, strong, &line);
            y += self.frame.line;
        }
        y
    }

    /// Writes a list at the left edge, broken after its commas; gives the lower edge.
    fn write_list(&mut self, body: &str, top: f64, room: f64) -> f64 {
        words::wrap_list(body, self.frame.font_size, room)
            .iter()
            .fold(top, |y, item| self.write(item, 0.0, y, room, false))
    }

    /// Writes the title and the notice, and heads the column of numbers.
    fn title(&mut self, layout: Layout) {
        let plot = self.plot;
        let room = match layout {
            Layout::Wide => self.frame.numbers - LABEL_GAP,
            Layout::Narrow => self.frame.width,
        };
        let mut below = self.write(&plot.title, 0.0, 0.0, room, true);
        if let Some(notice) = &plot.notice {
            below = self.write(notice, 0.0, below, room, false);
        }
        self.y = below + self.frame.gap / 2.0;
        if self.shown().any(|block| block.summary.is_some()) {
            self.head(layout, below);
        }
    }

    /// Heads the column of numbers, in the wide layout on the last line of the title.
    fn head(&mut self, layout: Layout, below: f64) {
        // The interval's name stays on one line, whatever the unit's length.
        let interval_words = self.plot.interval_words.replace(' ', "\u{A0}");
        let head = format!("{} ({interval_words})", self.plot.unit);
        let (width, numbers) = (self.frame.width, self.frame.numbers);
        self.y = match layout {
            Layout::Wide => {
                let top = below - self.frame.line;
                self.write(&head, numbers, top, width - numbers, false)
            }
            Layout::Narrow => self.write(&head, 0.0, below, width, false),
        } + self.frame.gap / 2.0;
    }

    /// Draws a line across the picture and says why what follows is no part of the answer.
    fn set_apart(&mut self, reason: &str) {
        let (y, width) = (self.y, self.frame.width);
        self.canvas.axis.push(Canvas::line(0.0, y, width, y));
        let below = self.write(reason, 0.0, y + self.frame.gap / 3.0, width, false);
        self.y = below + self.frame.gap / 3.0;
    }

    /// A block without marks: its name, its counts and the sentence that says why.
    fn withheld(&mut self, layout: Layout, block: &Block, sentence: &str) {
        let top = self.y;
        if layout == Layout::Wide {
            let room = self.frame.plot.0 - LABEL_GAP;
            let names = self.write(&block.label, 0.0, top, room, true);
            let left = self.write_list(&block.counts, names, room);
            let x = self.frame.plot.0;
            let right = self.write(sentence, x, top, self.frame.width - x, false);
            self.y = later(left, right);
        } else {
            let names = self.names_narrow(block);
            self.y = self.write(sentence, 0.0, names, self.frame.width, false);
        }
    }

    /// A block with its names and numbers beside the marks.
    fn wide(&mut self, block: &Block) {
        let (line, numbers) = (self.frame.line, self.frame.numbers);
        let label_room = self.frame.plot.0 - LABEL_GAP;
        let number_room = self.frame.width - numbers;
        let top = self.y;
        let names = self.write(&block.label, 0.0, top, label_room, true);
        let note = outside_note(&block.rows, &self.scale).map_or(top, |note| {
            self.write(&note, numbers, top, number_room, false)
        });
        let strip = top + self.strip(block, top);
        let pooled_top = later(later(names, note), strip);
        let counts = self.write_list(&block.counts, pooled_top, label_room);
        let mut bottom = counts;
        if let Some(summary) = &block.summary {
            marks::diamond(
                &mut self.canvas,
                &self.scale,
                summary,
                block.apart.is_some(),
                pooled_top + line / 2.0,
            );
            let shown = self.write(&summary.numbers, numbers, pooled_top, number_room, true);
            bottom = later(counts, shown);
            if let Some(prediction) = summary.prediction {
                let bar_top = bottom;
                marks::bar(
                    &mut self.canvas,
                    &self.scale,
                    prediction,
                    bar_top + line / 2.0,
                );
                let named = self.write(PREDICTION_WORDS, 0.0, bar_top, label_room, false);
                let shown = summary.shown_prediction().unwrap_or_default();
                bottom = later(
                    named,
                    self.write(shown, numbers, bar_top, number_room, false),
                );
            }
        }
        marks::zero_line(&mut self.canvas, &self.scale, top, bottom);
        self.y = bottom;
    }

    /// A block with its names and numbers above the marks.
    fn narrow(&mut self, block: &Block) {
        let width = self.frame.width;
        let mut top = self.names_narrow(block);
        if let Some(summary) = &block.summary {
            top = self.write_apart("all pairs together", &summary.numbers, top, false);
            if let Some(numbers) = summary.shown_prediction() {
                top = self.write_apart(PREDICTION_WORDS, numbers, top, false);
            }
        }
        if let Some(note) = outside_note(&block.rows, &self.scale) {
            top = self.write(&note, 0.0, top, width, false);
        }
        top += self.frame.line / 4.0;
        let mut bottom = top + self.strip(block, top);
        if let Some(summary) = &block.summary {
            let middle = bottom + marks::DIAMOND_HALF + 4.0;
            marks::diamond(
                &mut self.canvas,
                &self.scale,
                summary,
                block.apart.is_some(),
                middle,
            );
            bottom = middle + marks::DIAMOND_HALF;
            if let Some(prediction) = summary.prediction {
                marks::bar(&mut self.canvas, &self.scale, prediction, bottom + 9.0);
                bottom += 15.0;
            }
        }
        marks::zero_line(&mut self.canvas, &self.scale, top, bottom);
        self.y = bottom;
    }

    /// Writes a block's name and counts, on one line when both fit; gives the lower edge.
    fn names_narrow(&mut self, block: &Block) -> f64 {
        self.write_apart(&block.label, &block.counts, self.y, true)
    }

    /// Writes one text at the left edge and one at the right, on one line when both fit; gives
    /// the lower edge.
    fn write_apart(&mut self, left: &str, right: &str, top: f64, strong: bool) -> f64 {
        let (width, font_size) = (self.frame.width, self.frame.font_size);
        let together = words::width(left, font_size) + font_size + words::width(right, font_size);
        let below = self.write(left, 0.0, top, width, strong);
        let right_top = if together <= width { top } else { below };
        let baseline = self.baseline(right_top);
        self.canvas
            .write(width, baseline, Anchor::End, false, right);
        later(below, right_top + self.frame.line)
    }

    /// Draws a block's rows from `top`; gives the height they take.
    fn strip(&mut self, block: &Block, top: f64) -> f64 {
        let rows = marks::ranked(&block.rows);
        let most_side = self.frame.most_side;
        marks::strip(&mut self.canvas, &self.scale, &rows, top, most_side)
    }

    /// Draws the axis, its words and the key, when there is any mark.
    fn foot(&mut self) {
        let any_row = self.shown().any(|block| !block.rows.is_empty());
        let any_summary = self.shown().any(|block| block.summary.is_some());
        if !any_row && !any_summary {
            return;
        }
        let (line, (left, right)) = (self.frame.line, self.frame.plot);
        let axis = self.y - self.frame.gap / 3.0;
        marks::axis_line(&mut self.canvas, &self.scale, axis, self.frame.most_ticks);
        let ticks = self.baseline(axis + 5.0);
        for tick in self.scale.ticks(self.frame.most_ticks) {
            // A label at the picture's edge moves inwards rather than being cut.
            let half = words::width(&tick.label, self.frame.font_size) / 2.0;
            let x = if tick.x < half {
                half
            } else if self.frame.width < tick.x + half {
                self.frame.width - half
            } else {
                tick.x
            };
            self.canvas
                .write(x, ticks, Anchor::Middle, false, &tick.label);
        }
        let ends = self.baseline(axis + 5.0 + line);
        let left_words = format!("\u{2190} {}", self.plot.left_words);
        let right_words = format!("{} \u{2192}", self.plot.right_words);
        self.canvas
            .write(left, ends, Anchor::Start, false, &left_words);
        self.canvas
            .write(right, ends, Anchor::End, false, &right_words);
        let title = self.baseline(axis + 5.0 + 2.0 * line);
        let unit = format!("difference, {}", self.plot.unit);
        self.canvas
            .write((left + right) / 2.0, title, Anchor::Middle, false, &unit);
        self.y = axis + 5.0 + 3.0 * line;
        self.key(any_row, any_summary);
    }

    /// Says what each kind of mark is; only kinds that are drawn are named.
    fn key(&mut self, any_row: bool, any_summary: bool) {
        let any_prediction = self
            .shown()
            .filter_map(|block| block.summary.as_ref())
            .any(|summary| summary.prediction.is_some());
        let pooled = format!("all pairs, {}", self.plot.interval_words);
        let expected = format!("{PREDICTION_WORDS} (approximate)");
        let entries = [
            (any_row, Mark::Row, "one pair, area by weight"),
            (any_summary, Mark::Pooled, pooled.as_str()),
            (any_prediction, Mark::Expected, expected.as_str()),
        ];
        let (font_size, line) = (self.frame.font_size, self.frame.line);
        let mut x = 0.0;
        let mut top = self.y + self.frame.gap / 2.0;
        for (_, mark, said) in entries.iter().filter(|(drawn, _, _)| *drawn) {
            let room = KEY_MARK + words::width(said, font_size);
            if 0.0 < x && self.frame.width < x + room {
                x = 0.0;
                top += line;
            }
            marks::key_mark(&mut self.canvas, *mark, x, top + line / 2.0);
            let baseline = self.baseline(top);
            self.canvas
                .write(x + KEY_MARK, baseline, Anchor::Start, false, said);
            x += room + font_size;
        }
        self.y = top + line;
    }
}

/// The lower of two edges.
fn later(a: f64, b: f64) -> f64 {
    if a < b { b } else { a }
}
