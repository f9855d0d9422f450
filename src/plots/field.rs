//! A field between two axes: points, curves and regions of two numbers.

use super::canvas::Anchor;
use super::canvas::Element;
use super::canvas::layer::Layer;
use super::marks;
use super::scale::{Cover, Scale};
use super::sheet::Sheet;
use super::words;

/// Room between a tick and its label left of it.
const LABEL_ROOM: f64 = 5.0;

/// The words around a field.
#[derive(Debug, Clone, Copy)]
pub(super) struct FieldWords<'a> {
    /// Name and unit of the vertical axis, above the field.
    pub(super) up: &'a str,
    /// Name and unit of the horizontal axis, below the field.
    pub(super) across: &'a str,
    /// Words above the field, at its left and right end.
    pub(super) above: (&'a str, &'a str),
    /// Words below the field, at its left and right end.
    pub(super) below: (&'a str, &'a str),
}

/// Which way values grow on the vertical axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Upright {
    /// The larger the higher.
    Up,
    /// The larger the lower, as standard errors in a funnel plot.
    Down,
}

/// A field with its two axes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Field {
    pub(super) across: Scale,
    pub(super) up: Scale,
    pub(super) top: f64,
    pub(super) bottom: f64,
}

impl Field {
    /// Draws axes and words for the given ranges and leaves the sheet below them.
    pub(super) fn new(
        sheet: &mut Sheet,
        across: Cover,
        (up, upright): (Cover, Upright),
        words: FieldWords<'_>,
    ) -> Self {
        let frame = sheet.frame;
        sheet.say(words.up);
        let right = frame.width - frame.field_margin;
        // The vertical axis stands right of its widest label, whose words do not depend on where
        // the field lies.
        let ticks = Scale::new(up, frame.field_height, 0.0).ticks(frame.most_side_ticks);
        let widest = ticks
            .iter()
            .map(|tick| words::width(&tick.label, frame.font_size))
            .fold(0.0, |most, width| if most < width { width } else { most });
        let left = widest + LABEL_ROOM + marks::TICK;
        let top = sheet.write_ends(words.above, (left, right), sheet.y) + frame.line / 4.0;
        let bottom = top + frame.field_height;
        let across = Scale::new(across, left, right);
        let up = match upright {
            Upright::Up => Scale::new(up, bottom, top),
            Upright::Down => Scale::new(up, top, bottom),
        };
        let ticks = up.ticks(frame.most_side_ticks);
        marks::side_axis_line(&mut sheet.canvas, &up, left, &ticks);
        for tick in &ticks {
            let baseline = tick.at + frame.font_size * 0.35;
            let x = left - marks::TICK - LABEL_ROOM;
            sheet
                .canvas
                .write(x, baseline, Anchor::End, false, &tick.label);
        }
        let below = sheet.ticked(&across, bottom);
        let below = sheet.write_ends(words.below, (left, right), below);
        sheet.y = sheet.write_middle(words.across, f64::midpoint(left, right), below);
        Self {
            across,
            up,
            top,
            bottom,
        }
    }

    /// Position of a pair of values.
    pub(super) fn at(&self, (across, up): (f64, f64)) -> (f64, f64) {
        (self.across.at(across), self.up.at(up))
    }

    /// Whether a pair of values lies inside.
    pub(super) fn holds(&self, (across, up): (f64, f64)) -> bool {
        self.across.holds(across) && self.up.holds(up)
    }

    /// Draws the line of no difference from left to right.
    pub(super) fn zero_across(&self, sheet: &mut Sheet) {
        let y = self.up.at(0.0);
        let line = Element::line(self.across.start(), y, self.across.end(), y);
        sheet.canvas.put(Layer::Zero, line);
    }

    /// Draws the line of no difference from top to bottom.
    pub(super) fn zero_up(&self, sheet: &mut Sheet) {
        marks::zero_line(&mut sheet.canvas, &self.across, self.top, self.bottom);
    }

    /// Draws a line through values, broken where one lies outside.
    pub(super) fn curve(&self, sheet: &mut Sheet, layer: Layer, values: &[(f64, f64)]) {
        for part in values.split(|value| !self.holds(*value)) {
            if let [_, _, ..] = part {
                let places: Vec<(f64, f64)> = part.iter().map(|value| self.at(*value)).collect();
                sheet.canvas.put(layer, Element::curve(&places));
            }
        }
    }

    /// Draws a shape through values, unless one lies outside.
    pub(super) fn shape(&self, sheet: &mut Sheet, layer: Layer, values: &[(f64, f64)]) {
        if let [_, _, _, ..] = values
            && values.iter().all(|value| self.holds(*value))
        {
            let places: Vec<(f64, f64)> = values.iter().map(|value| self.at(*value)).collect();
            sheet.canvas.put(layer, Element::shape(&places));
        }
    }
}
