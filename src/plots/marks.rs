//! The marks of a picture: the diamond, the bar, squares with their intervals, the axis.

pub(super) mod key;

use super::canvas::layer::Layer;
use super::canvas::{Canvas, Element};
use super::own::Difference;
use super::scale::{Scale, Tick, is_placeable};

/// Half the height of the diamond.
pub(super) const DIAMOND_HALF: f64 = 7.0;

/// Half the height of the end strokes of the prediction bar.
const BAR_END_HALF: f64 = 4.0;

/// Side of a square with an interval when no weight gives it one (own choice, by eye beside the
/// diamond).
pub(super) const PLAIN_SIDE: f64 = 11.0;

/// Width of the stroke of the layers that hold squares with their intervals. It lies half outside
/// the square, so the square drawn is smaller by it.
const OUTLINE: f64 = 2.0;

/// Depth and half height of an arrowhead for a row outside the picture.
const ARROW: (f64, f64) = (8.0, 3.5);

/// Length of a tick.
pub(super) const TICK: f64 = 5.0;

/// Length of the tick at the edge of a band of values, inside the field.
pub(super) const EDGE_TICK: f64 = 14.0;

/// Draws a pooled estimate: a diamond as wide as its interval, hollow when it stands apart. Values
/// are the lower end, the estimate and the upper end; unless all are numbers nothing is drawn.
pub(super) fn diamond(
    canvas: &mut Canvas,
    scale: &Scale,
    values: [f64; 3],
    apart: bool,
    middle: f64,
) {
    if values.into_iter().all(is_placeable) {
        let layer = if apart {
            Layer::PooledApart
        } else {
            Layer::Pooled
        };
        diamond_between(canvas, layer, values.map(|value| scale.at(value)), middle);
    }
}

fn diamond_between(canvas: &mut Canvas, layer: Layer, [left, x, right]: [f64; 3], middle: f64) {
    let corners = [
        (left, middle),
        (x, middle - DIAMOND_HALF),
        (right, middle),
        (x, middle + DIAMOND_HALF),
    ];
    canvas.put(layer, Element::shape(&corners));
}

/// Draws the prediction interval: a thin bar with end strokes.
pub(super) fn bar(canvas: &mut Canvas, scale: &Scale, (low, high): (f64, f64), middle: f64) {
    if is_placeable(low) && is_placeable(high) {
        bar_between(canvas, scale.at(low), scale.at(high), middle);
    }
}

/// Draws a bar between two positions.
fn bar_between(canvas: &mut Canvas, left: f64, right: f64, middle: f64) {
    canvas.put(Layer::Expected, Element::line(left, middle, right, middle));
    for end in [left, right] {
        canvas.put(
            Layer::Expected,
            Element::line(end, middle - BAR_END_HALF, end, middle + BAR_END_HALF),
        );
    }
}

/// Draws a reader's own difference: a square with a line as long as its interval.
pub(super) fn own(canvas: &mut Canvas, scale: &Scale, own: &Difference, middle: f64) {
    let values = [own.low, own.estimate, own.high];
    boxed(canvas, scale, Layer::Own, values, (middle, PLAIN_SIDE));
}

/// Draws a square of the given side with a line as long as its interval, around `middle`. Values
/// are the lower end, the estimate and the upper end; unless all are numbers nothing is drawn.
pub(super) fn boxed(
    canvas: &mut Canvas,
    scale: &Scale,
    layer: Layer,
    values: [f64; 3],
    (middle, side): (f64, f64),
) {
    if values.into_iter().all(is_placeable) {
        let places = values.map(|value| scale.at(value));
        boxed_between(canvas, layer, places, (middle, side));
    }
}

/// Draws a square with its line at three positions.
fn boxed_between(
    canvas: &mut Canvas,
    layer: Layer,
    [left, x, right]: [f64; 3],
    (middle, side): (f64, f64),
) {
    canvas.put(layer, Element::line(left, middle, right, middle));
    let drawn = if OUTLINE < side { side - OUTLINE } else { 0.0 };
    canvas.put(layer, Element::square(x, middle, drawn));
}

/// Draws an arrowhead whose tip is at `tip`, `y`.
pub(super) fn arrowhead(canvas: &mut Canvas, tip: f64, y: f64, to_the_right: bool) {
    let base = if to_the_right {
        tip - ARROW.0
    } else {
        tip + ARROW.0
    };
    let corners = [(tip, y), (base, y - ARROW.1), (base, y + ARROW.1)];
    canvas.put(Layer::Outside, Element::shape(&corners));
}

/// Draws an arrowhead that points down to `x`, `tip`.
pub(super) fn arrowhead_down(canvas: &mut Canvas, x: f64, tip: f64) {
    let base = tip - ARROW.0;
    let corners = [(x, tip), (x - ARROW.1, base), (x + ARROW.1, base)];
    canvas.put(Layer::Outside, Element::shape(&corners));
}

/// Shades the differences smaller than what is worthwhile, between `top` and `bottom`; none, nor
/// one that is no positive number, nothing.
pub(super) fn zone(
    canvas: &mut Canvas,
    scale: &Scale,
    worthwhile: Option<f64>,
    (top, bottom): (f64, f64),
) {
    let Some(size) = worthwhile.filter(|size| 0.0 < *size) else {
        return;
    };
    let Some((left, right)) = scale.clipped(-size, size) else {
        return;
    };
    canvas.put(
        Layer::Zone,
        Element::rect(left, top, right - left, bottom - top),
    );
    for edge in [-size, size] {
        if scale.holds(edge) {
            let x = scale.at(edge);
            canvas.put(Layer::ZoneEdge, Element::line(x, top, x, bottom));
        }
    }
}

/// Draws the zero line beside one block's marks.
pub(super) fn zero_line(canvas: &mut Canvas, scale: &Scale, top: f64, bottom: f64) {
    let x = scale.at(0.0);
    canvas.put(Layer::Zero, Element::line(x, top, x, bottom));
}

/// Draws a horizontal axis and its ticks at `y`.
pub(super) fn axis_line(canvas: &mut Canvas, scale: &Scale, y: f64, ticks: &[Tick]) {
    canvas.put(Layer::Axis, Element::line(scale.start(), y, scale.end(), y));
    for tick in ticks {
        canvas.put(Layer::Axis, Element::line(tick.at, y, tick.at, y + TICK));
    }
}

/// Draws a vertical axis at `x` and its ticks, on its left.
pub(super) fn side_axis_line(canvas: &mut Canvas, scale: &Scale, x: f64, ticks: &[Tick]) {
    canvas.put(Layer::Axis, Element::line(x, scale.start(), x, scale.end()));
    for tick in ticks {
        canvas.put(Layer::Axis, Element::line(x - TICK, tick.at, x, tick.at));
    }
}
