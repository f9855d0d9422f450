//! Specimens of marks, for the key.

use super::super::canvas::layer::Layer;
use super::super::canvas::{Canvas, Element};
use super::{EDGE_TICK, PLAIN_SIDE, bar_between, boxed_between, diamond_between};

/// A kind of mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::plots) enum Mark {
    /// The diamond.
    Pooled,
    /// The prediction bar.
    Expected,
    /// The reader's own square with its line.
    Own,
    /// A part's square with its line.
    Part,
    /// The same, hollow.
    PartApart,
    /// Differences too small to be worthwhile.
    Zone,
    /// A pair's point on its range.
    Range,
    /// A pair's circle.
    Point,
    /// The same, where all are alike.
    SinglePoint,
    /// Where one band of values ends and the next begins.
    Edge,
    /// A curve with its band.
    Curve,
    /// A line of a pooled mean.
    Mean,
    /// A region of a pooled mean, with its middle.
    Region,
    /// Outline of what is expected of another such player.
    ExpectedEdge,
    /// A line to compare with.
    Guide,
    /// A count or a width as it changed.
    Step,
}

/// Width of a specimen.
const WIDTH: f64 = 22.0;

/// Draws a specimen of a mark, [`WIDTH`] wide at most, from `x` on around `middle`.
pub(in crate::plots) fn key_mark(canvas: &mut Canvas, mark: Mark, x: f64, middle: f64) {
    let places = [x, x + WIDTH / 2.0, x + WIDTH];
    let across = Element::line(x, middle, x + WIDTH, middle);
    match mark {
        Mark::Point => {
            for (offset, radius) in [(4.0, 3.0), (15.0, 5.5)] {
                canvas.put(Layer::Point, Element::circle(x + offset, middle, radius));
            }
        }
        Mark::SinglePoint => {
            let [_, centre, _] = places;
            canvas.put(Layer::Point, Element::circle(centre, middle, 5.0));
        }
        Mark::Edge => {
            let [_, centre, _] = places;
            let half = EDGE_TICK / 2.0;
            canvas.put(
                Layer::Axis,
                Element::line(centre, middle - half, centre, middle + half),
            );
        }
        Mark::Pooled => diamond_between(canvas, Layer::Pooled, places, middle),
        Mark::Expected => bar_between(canvas, x + 1.5, x + WIDTH - 1.5, middle),
        Mark::Own => boxed_between(canvas, Layer::Own, places, (middle, PLAIN_SIDE)),
        Mark::Part => boxed_between(canvas, Layer::Part, places, (middle, PLAIN_SIDE)),
        Mark::PartApart => boxed_between(canvas, Layer::PartApart, places, (middle, PLAIN_SIDE)),
        Mark::Zone => {
            let (top, height) = (middle - 7.0, 14.0);
            canvas.put(Layer::Zone, Element::rect(x, top, WIDTH, height));
            for edge in [x, x + WIDTH] {
                let line = Element::line(edge, top, edge, top + height);
                canvas.put(Layer::ZoneEdge, line);
            }
        }
        Mark::Range => {
            canvas.put(Layer::Range, Element::strokes(&[(x, middle, x + WIDTH)]));
            let [_, centre, _] = places;
            canvas.put(Layer::Dot, Element::strokes(&[(centre, middle, centre)]));
        }
        Mark::Curve => {
            canvas.put(Layer::Band, Element::rect(x, middle - 6.0, WIDTH, 12.0));
            canvas.put(Layer::Curve, across);
        }
        Mark::Mean => canvas.put(Layer::Curve, across),
        Mark::Region => {
            let [_, centre, _] = places;
            for layer in [Layer::Band, Layer::BandEdge] {
                canvas.put(layer, Element::circle(centre, middle, 8.5));
            }
            diamond_between(
                canvas,
                Layer::Pooled,
                [centre - 4.0, centre, centre + 4.0],
                middle,
            );
        }
        Mark::ExpectedEdge => canvas.put(Layer::ExpectedEdge, across),
        Mark::Guide => canvas.put(Layer::Guide, across),
        Mark::Step => canvas.put(Layer::Step, across),
    }
}
