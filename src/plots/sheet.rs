//! A picture being drawn from top to bottom: what every layout of every picture shares.

use super::canvas::{Anchor, Canvas, Px};
use super::forest::Layout;
use super::marks::{self, Mark};
use super::scale::Scale;
use super::words;

/// Room for a mark in the key, and the gap to its words.
const KEY_MARK: f64 = 32.0;

/// Room between the labels and the marks of the wide layout.
pub(super) const LABEL_GAP: f64 = 8.0;

impl Layout {
    /// Horizontal range of the marks, in user units.
    pub(super) fn plot(self) -> (f64, f64) {
        Frame::of(self).plot
    }
}

/// The measures of a layout, in user units (own proportions, by eye).
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    name: &'static str,
    pub(super) width: f64,
    /// Horizontal range of the marks.
    pub(super) plot: (f64, f64),
    /// Left end of the numbers.
    pub(super) numbers: f64,
    /// 18 units shown at 680 px of 1000, and 13 at 328 px of 340, are at least 12 px.
    pub(super) font_size: f64,
    pub(super) line: f64,
    pub(super) gap: f64,
    pub(super) most_side: f64,
    pub(super) most_ticks: f64,
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

/// What is drawn so far.
#[derive(Debug)]
pub(super) struct Sheet {
    pub(super) frame: Frame,
    pub(super) canvas: Canvas,
    /// Lower edge of what is drawn so far.
    pub(super) y: f64,
}

impl Sheet {
    /// An empty picture.
    pub(super) fn new(layout: Layout, id: &str, title: &str) -> Self {
        let frame = Frame::of(layout);
        let canvas = Canvas {
            id: id.to_owned(),
            layout: frame.name,
            width: Px(frame.width),
            height: Px(0.0),
            font_size: Px(frame.font_size),
            title: title.to_owned(),
            description: String::new(),
            zero: Vec::new(),
            axis: Vec::new(),
            squares: Vec::new(),
            outside: Vec::new(),
            own: Vec::new(),
            own_ranges: Vec::new(),
            expected: Vec::new(),
            pooled: Vec::new(),
            pooled_apart: Vec::new(),
            texts: Vec::new(),
        };
        Self {
            frame,
            canvas,
            y: 0.0,
        }
    }

    /// The picture as SVG.
    pub(super) fn finish(mut self, description: String) -> String {
        self.canvas.description = description;
        self.canvas.height = Px(self.y);
        self.canvas.into_svg()
    }

    /// Baseline of text on the line that starts at `top`.
    pub(super) fn baseline(&self, top: f64) -> f64 {
        top + self.frame.line / 2.0 + self.frame.font_size * 0.35
    }

    /// Writes text in lines of at most `room` from `top` on; gives the lower edge.
    pub(super) fn write(&mut self, body: &str, x: f64, top: f64, room: f64, strong: bool) -> f64 {
        let mut y = top;
        for line in words::wrap(body, self.frame.font_size, room) {
            self.canvas
                .write(x, self.baseline(y), Anchor::Start, strong, &line);
            y += self.frame.line;
        }
        y
    }

    /// Writes a list at the left edge, broken after its commas; gives the lower edge.
    pub(super) fn write_list(&mut self, body: &str, top: f64, room: f64) -> f64 {
        words::wrap_list(body, self.frame.font_size, room)
            .iter()
            .fold(top, |y, item| self.write(item, 0.0, y, room, false))
    }

    /// Writes one text at the left edge and one at the right, on one line when both fit; gives
    /// the lower edge.
    pub(super) fn write_apart(&mut self, left: &str, right: &str, top: f64, strong: bool) -> f64 {
        let (width, font_size) = (self.frame.width, self.frame.font_size);
        let together = words::width(left, font_size) + font_size + words::width(right, font_size);
        let below = self.write(left, 0.0, top, width, strong);
        let right_top = if together <= width { top } else { below };
        let baseline = self.baseline(right_top);
        self.canvas
            .write(width, baseline, Anchor::End, false, right);
        later(below, right_top + self.frame.line)
    }

    /// Draws the axis with its ticks, the words at its two ends, and its unit.
    pub(super) fn axis(
        &mut self,
        scale: &Scale,
        (left_words, right_words): (&str, &str),
        unit: &str,
    ) {
        let (line, (left, right)) = (self.frame.line, self.frame.plot);
        let axis = self.y - self.frame.gap / 3.0;
        marks::axis_line(&mut self.canvas, scale, axis, self.frame.most_ticks);
        let ticks = self.baseline(axis + 5.0);
        for tick in scale.ticks(self.frame.most_ticks) {
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
        let left_end = format!("\u{2190} {left_words}");
        let right_end = format!("{right_words} \u{2192}");
        self.canvas
            .write(left, ends, Anchor::Start, false, &left_end);
        self.canvas
            .write(right, ends, Anchor::End, false, &right_end);
        let title = self.baseline(axis + 5.0 + 2.0 * line);
        let title_words = format!("difference, {unit}");
        self.canvas.write(
            (left + right) / 2.0,
            title,
            Anchor::Middle,
            false,
            &title_words,
        );
        self.y = axis + 5.0 + 3.0 * line;
    }

    /// Says what each kind of mark is; only kinds that are drawn, as each entry says, are named.
    pub(super) fn key(&mut self, entries: &[(bool, Mark, &str)]) {
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
pub(super) fn later(a: f64, b: f64) -> f64 {
    if a < b { b } else { a }
}
