//! A picture being drawn from top to bottom: what every layout of every picture shares.

use super::canvas::{Anchor, Canvas, Px};
use super::marks;
use super::marks::key::{Mark, key_mark};
use super::parts::{Heading, Layout};
use super::scale::{Scale, Tick};
use super::words::{self, PREDICTION_WORDS};

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
    pub(super) most_ticks: f64,
    /// Most ticks of a vertical axis.
    pub(super) most_side_ticks: f64,
    /// Height of a field between two axes.
    pub(super) field_height: f64,
    /// Room right of a field.
    pub(super) field_margin: f64,
    /// Least side of a cell whose pairs are drawn together when they are many.
    pub(super) cell: f64,
    /// Most radius of a circle.
    pub(super) most_radius: f64,
    /// How many times the mean area that `bubbles` names circles in a field have.
    pub(super) generosity: f64,
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
                most_ticks: 9.0,
                most_side_ticks: 7.0,
                field_height: 420.0,
                field_margin: 8.0,
                cell: 12.0,
                most_radius: 13.0,
                generosity: 3.0,
            },
            Layout::Narrow => Self {
                name: "narrow",
                width: 340.0,
                plot: (8.0, 332.0),
                numbers: 0.0,
                font_size: 13.0,
                line: 19.0,
                gap: 24.0,
                most_ticks: 6.0,
                most_side_ticks: 6.0,
                field_height: 270.0,
                field_margin: 4.0,
                cell: 7.0,
                most_radius: 9.0,
                generosity: 1.5,
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
        let mut canvas = Canvas::new(id, frame.name, title);
        canvas.width = Px(frame.width);
        canvas.font_size = Px(frame.font_size);
        Self {
            frame,
            canvas,
            y: 0.0,
        }
    }

    /// A picture with its title and notice.
    pub(super) fn headed(layout: Layout, heading: &Heading) -> Self {
        let mut sheet = Self::new(layout, &heading.id, &heading.title);
        let width = sheet.frame.width;
        let mut below = sheet.write(&heading.title, 0.0, 0.0, width, true);
        if let Some(notice) = &heading.notice {
            below = sheet.write(notice, 0.0, below, width, false);
        }
        sheet.y = below + sheet.frame.gap / 2.0;
        sheet
    }

    /// Heads the column of numbers: the interval, and below it, when it is shown, what is expected
    /// of another such player.
    pub(super) fn number_head(
        &mut self,
        layout: Layout,
        (unit, interval_words): (&str, &str),
        predicted: bool,
    ) {
        // The interval's name stays on one line, whatever the unit's length.
        let interval_words = interval_words.replace(' ', "\u{A0}");
        let head = format!("{unit} ({interval_words})");
        let (width, numbers) = (self.frame.width, self.frame.numbers);
        if layout == Layout::Wide {
            let top = self.y;
            self.y = self.write(&head, numbers, top, width - numbers, false);
            if predicted {
                self.y = self.write(PREDICTION_WORDS, numbers, self.y, width - numbers, false);
            }
        } else if predicted {
            self.say(&format!("{head}; below it: {PREDICTION_WORDS}"));
        } else {
            self.say(&head);
        }
        self.y += self.frame.gap / 2.0;
    }

    /// Writes a sentence over the whole width.
    pub(super) fn say(&mut self, sentence: &str) {
        self.y = self.write(sentence, 0.0, self.y, self.frame.width, false);
    }

    /// Writes notes below a picture, each on lines of its own.
    pub(super) fn notes(&mut self, notes: &[String]) {
        for note in notes {
            self.say(&words::ended(note));
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

    /// Font size by which the width of a text is estimated whose room ends at `right`. What would be
    /// cut there is estimated as bold as it is; elsewhere the room between columns makes up for it.
    fn estimated_size(&self, strong: bool, right: f64) -> f64 {
        if strong && self.frame.width <= right {
            words::STRONG * self.frame.font_size
        } else {
            self.frame.font_size
        }
    }

    /// Writes text in lines of at most `room` from `top` on; gives the lower edge.
    pub(super) fn write(&mut self, body: &str, x: f64, top: f64, room: f64, strong: bool) -> f64 {
        let mut y = top;
        let size = self.estimated_size(strong, x + room);
        for line in words::wrap(body, size, room) {
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

    /// Writes one text from `left` on and one that ends at `right`, on one line when both fit and
    /// else side by side in lines; gives the lower edge.
    pub(super) fn write_ends(
        &mut self,
        (first, second): (&str, &str),
        (left, right): (f64, f64),
        top: f64,
    ) -> f64 {
        let font_size = self.frame.font_size;
        let between = font_size;
        let together = words::width(first, font_size) + between + words::width(second, font_size);
        let room = if together <= right - left {
            right - left
        } else {
            (right - left - between) / 2.0
        };
        let below = self.write(first, left, top, room, false);
        let mut y = top;
        for line in words::wrap(second, font_size, room) {
            self.canvas
                .write(right, self.baseline(y), Anchor::End, false, &line);
            y += self.frame.line;
        }
        later(below, y)
    }

    /// Draws the axis of a difference: its ticks, the words at its two ends, and its unit.
    pub(super) fn axis(&mut self, scale: &Scale, ends: (&str, &str), unit: &str) {
        self.axis_titled(scale, Some(ends), &format!("difference, {unit}"));
    }

    /// Draws a horizontal axis with its ticks, the words at its two ends, and its title.
    pub(super) fn axis_titled(&mut self, scale: &Scale, ends: Option<(&str, &str)>, title: &str) {
        let (left, right) = (scale.start(), scale.end());
        let axis = self.y - self.frame.gap / 3.0;
        let mut y = self.ticked(scale, axis);
        if let Some((left_words, right_words)) = ends {
            let first = format!("\u{2190} {left_words}");
            let second = format!("{right_words} \u{2192}");
            y = self.write_ends((&first, &second), (left, right), y);
        }
        self.y = self.write_middle(title, (left + right) / 2.0, y);
    }

    /// Draws a horizontal axis at `axis` with its ticks and their labels; gives their lower edge.
    pub(super) fn ticked(&mut self, scale: &Scale, axis: f64) -> f64 {
        let ticks = self.fitting_ticks(scale);
        marks::axis_line(&mut self.canvas, scale, axis, &ticks);
        let top = axis + marks::TICK;
        for tick in &ticks {
            self.write_middle(&tick.label, tick.at, top);
        }
        top + self.frame.line
    }

    /// Ticks whose labels do not run into each other.
    fn fitting_ticks(&self, scale: &Scale) -> Vec<Tick> {
        let font_size = self.frame.font_size;
        let mut most = self.frame.most_ticks;
        loop {
            let ticks = scale.ticks(most);
            let collide = ticks.iter().zip(ticks.iter().skip(1)).any(|(a, b)| {
                let halves =
                    (words::width(&a.label, font_size) + words::width(&b.label, font_size)) / 2.0;
                b.at < a.at + halves + font_size / 2.0
            });
            if !collide || most < 1.0 {
                return ticks;
            }
            most /= 2.0;
        }
    }

    /// Writes text around `middle` in lines; one that would be cut at the picture's edge moves
    /// inwards. Gives the lower edge.
    pub(super) fn write_middle(&mut self, body: &str, middle: f64, top: f64) -> f64 {
        let (width, font_size) = (self.frame.width, self.frame.font_size);
        let mut y = top;
        for line in words::wrap(body, font_size, width) {
            let half = words::width(&line, font_size) / 2.0;
            let x = if middle < half {
                half
            } else if width < middle + half {
                width - half
            } else {
                middle
            };
            self.canvas
                .write(x, self.baseline(y), Anchor::Middle, false, &line);
            y += self.frame.line;
        }
        y
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
            key_mark(&mut self.canvas, *mark, x, top + line / 2.0);
            let left = x + KEY_MARK;
            let below = self.write(said, left, top, self.frame.width - left, false);
            if top + line < below {
                // Words of several lines have the rest of theirs alone.
                top = below - line;
                x = self.frame.width;
            } else {
                x += room + font_size;
            }
        }
        self.y = top + line;
    }
}

/// The lower of two edges.
pub(super) fn later(a: f64, b: f64) -> f64 {
    if a < b { b } else { a }
}
