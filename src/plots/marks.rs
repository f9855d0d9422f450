//! The marks of a forest plot: the strip of rows, the diamond, the bar, the axis.

use std::cmp::Ordering;

use super::canvas::{Canvas, Px, Shape, Square};
use super::forest::{Row, Summary};
use super::own::Difference;
use super::scale::{Scale, is_placeable};

/// Most height of a strip (own choice): a dozen lines of the squares of 100 rows.
const STRIP_MOST: f64 = 72.0;

/// Room between two squares of a strip.
const SQUARE_GAP: f64 = 1.0;

/// Mean area of a square when there are very many rows (own choice, by eye at 300 rows).
const AREA_WHEN_MANY: f64 = 18.0;

/// Extra area shared by all squares of a strip, which makes few rows larger (by eye at 8).
const AREA_SHARED: f64 = 240.0;

/// Least side of a square, so that a row of tiny weight is still seen; such a square is larger
/// than its weight.
const LEAST_SIDE: f64 = 1.4;

/// Half the height of the diamond.
pub(super) const DIAMOND_HALF: f64 = 7.0;

/// Half the height of the end strokes of the prediction bar.
const BAR_END_HALF: f64 = 4.0;

/// Side of the square of a reader's own difference (own choice, by eye beside the diamond).
const OWN_SIDE: f64 = 11.0;

/// Depth and half height of an arrowhead for a row outside the picture.
const ARROW: (f64, f64) = (8.0, 3.5);

/// Length of a tick.
const TICK: f64 = 5.0;

/// Rows in rank order: by estimate, then by weight, so that the order of the input leaves no
/// trace.
pub(super) fn ranked(rows: &[Row]) -> Vec<Row> {
    let mut sorted = rows.to_vec();
    sorted.sort_by(|a, b| match a.estimate.total_cmp(&b.estimate) {
        Ordering::Equal => a.weight.total_cmp(&b.weight),
        unequal => unequal,
    });
    sorted
}

/// Rows that cannot be drawn at their place: beyond the axis, or not a number.
pub(super) fn n_outside(rows: &[Row], scale: &Scale) -> usize {
    rows.iter().filter(|row| !scale.holds(row.estimate)).count()
}

/// Draws `rows`, which are in rank order, as squares with areas proportional to their weights; a
/// row beyond the axis is an arrowhead at the edge. A row that is not a number is only counted
/// (see [`n_outside`]). Gives the height of the strip.
pub(super) fn strip(
    canvas: &mut Canvas,
    scale: &Scale,
    rows: &[Row],
    top: f64,
    most_side: f64,
) -> f64 {
    let area_per_weight = area_per_weight(rows, most_side);
    let placed: Vec<(Span, &Row)> = rows
        .iter()
        .filter(|row| !row.estimate.is_nan())
        .map(|row| (span(scale, row, area_per_weight), row))
        .collect();
    let tallest = placed
        .iter()
        .map(|(span, _)| span.height)
        .fold(
            0.0,
            |most, height| if most < height { height } else { most },
        );
    let line = tallest + SQUARE_GAP;
    let lines = stacked(placed.iter().map(|(span, _)| *span), STRIP_MOST / line);
    let Some((lowest, highest)) = lines.iter().min().zip(lines.iter().max()) else {
        return 0.0;
    };
    for ((span, row), at) in placed.iter().zip(&lines) {
        let y = top + (f64::from(at - lowest) + 0.5) * line;
        let (left, right) = (span.left, span.right);
        if scale.holds(row.estimate) {
            canvas.squares.push(Square {
                x: Px(left),
                y: Px(y - span.height / 2.0),
                side: Px(span.height),
            });
        } else {
            let (tip, base) = if row.estimate < 0.0 {
                (left, right)
            } else {
                (right, left)
            };
            canvas.outside.push(Shape::new(&[
                (tip, y),
                (base, y - ARROW.1),
                (base, y + ARROW.1),
            ]));
        }
    }
    f64::from(highest - lowest + 1) * line
}

/// The room one row's mark takes.
#[derive(Debug, Clone, Copy)]
struct Span {
    left: f64,
    right: f64,
    height: f64,
}

fn span(scale: &Scale, row: &Row, area_per_weight: f64) -> Span {
    if scale.holds(row.estimate) {
        let wanted = (row.weight * area_per_weight).sqrt();
        let side = if LEAST_SIDE < wanted {
            wanted
        } else {
            LEAST_SIDE
        };
        let left = scale.x(row.estimate) - side / 2.0;
        Span {
            left,
            right: left + side,
            height: side,
        }
    } else {
        let left = if row.estimate < 0.0 {
            scale.left()
        } else {
            scale.right() - ARROW.0
        };
        Span {
            left,
            right: left + ARROW.0,
            height: 2.0 * ARROW.1,
        }
    }
}

/// The line of each mark, 0 in the middle, negative above: from left to right each takes the free
/// line nearest the middle, so that the stack is high where marks crowd. `most` bounds the
/// number of lines; when all of them are taken a mark lies over the one that ends first.
fn stacked(spans: impl Iterator<Item = Span>, most: f64) -> Vec<i32> {
    let mut ends: Vec<(i32, f64)> = Vec::new();
    let mut lines = Vec::new();
    for span in spans {
        let free = ends
            .iter_mut()
            .find(|(_, end)| *end + SQUARE_GAP <= span.left);
        let line = if let Some((line, end)) = free {
            *end = span.right;
            *line
        } else if ends.is_empty() || (ends.len() as f64) + 1.0 <= most {
            // Below and above the middle in turn: 0, 1, -1, 2, -2.
            let line = ends
                .last()
                .map_or(0, |(last, _)| if 0 < *last { -last } else { 1 - last });
            ends.push((line, span.right));
            line
        } else {
            let first = ends.iter_mut().min_by(|a, b| a.1.total_cmp(&b.1));
            first.map_or(0, |(line, end)| {
                *end = span.right;
                *line
            })
        };
        lines.push(line);
    }
    lines
}

/// Area of a square per unit of weight, such that the heaviest has at most `most_side`.
fn area_per_weight(rows: &[Row], most_side: f64) -> f64 {
    let heaviest =
        rows.iter().map(|row| row.weight).fold(
            0.0,
            |most, weight| if most < weight { weight } else { most },
        );
    let wanted = rows.len() as f64 * AREA_WHEN_MANY + AREA_SHARED;
    let limit = most_side * most_side;
    if limit < heaviest * wanted {
        limit / heaviest
    } else {
        wanted
    }
}

/// Draws the pooled estimate: a diamond as wide as its interval, hollow when it stands apart.
pub(super) fn diamond(
    canvas: &mut Canvas,
    scale: &Scale,
    summary: &Summary,
    apart: bool,
    middle: f64,
) {
    if ![summary.low, summary.estimate, summary.high]
        .into_iter()
        .all(is_placeable)
    {
        return;
    }
    let shape = Shape::new(&[
        (scale.x(summary.low), middle),
        (scale.x(summary.estimate), middle - DIAMOND_HALF),
        (scale.x(summary.high), middle),
        (scale.x(summary.estimate), middle + DIAMOND_HALF),
    ]);
    if apart {
        canvas.pooled_apart.push(shape);
    } else {
        canvas.pooled.push(shape);
    }
}

/// Draws the prediction interval: a thin bar with end strokes.
pub(super) fn bar(canvas: &mut Canvas, scale: &Scale, (low, high): (f64, f64), middle: f64) {
    if !is_placeable(low) || !is_placeable(high) {
        return;
    }
    bar_between(canvas, scale.x(low), scale.x(high), middle);
}

/// Draws a bar between two positions.
fn bar_between(canvas: &mut Canvas, left: f64, right: f64, middle: f64) {
    canvas
        .expected
        .push(Canvas::line(left, middle, right, middle));
    for end in [left, right] {
        canvas.expected.push(Canvas::line(
            end,
            middle - BAR_END_HALF,
            end,
            middle + BAR_END_HALF,
        ));
    }
}

/// Draws a reader's own difference: a square with a line as long as its interval.
pub(super) fn own(canvas: &mut Canvas, scale: &Scale, own: &Difference, middle: f64) {
    let places = [own.low, own.estimate, own.high];
    if places.into_iter().all(is_placeable) {
        own_between(canvas, places.map(|value| scale.x(value)), middle);
    }
}

/// Draws a square with its line at three positions.
fn own_between(canvas: &mut Canvas, [left, x, right]: [f64; 3], middle: f64) {
    canvas
        .own_ranges
        .push(Canvas::line(left, middle, right, middle));
    canvas.own.push(Square {
        x: Px(x - OWN_SIDE / 2.0),
        y: Px(middle - OWN_SIDE / 2.0),
        side: Px(OWN_SIDE),
    });
}

/// A kind of mark, for the key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mark {
    /// A row's square.
    Row,
    /// The diamond.
    Pooled,
    /// The prediction bar.
    Expected,
    /// The reader's own square with its line.
    Own,
}

/// Draws a specimen of a mark, 22 units wide at most, from `x` on around `middle`.
pub(super) fn key_mark(canvas: &mut Canvas, mark: Mark, x: f64, middle: f64) {
    match mark {
        Mark::Row => {
            for (offset, side) in [(1.0, 5.0), (10.0, 9.0)] {
                canvas.squares.push(Square {
                    x: Px(x + offset),
                    y: Px(middle - side / 2.0),
                    side: Px(side),
                });
            }
        }
        Mark::Pooled => canvas.pooled.push(Shape::new(&[
            (x, middle),
            (x + 11.0, middle - DIAMOND_HALF),
            (x + 22.0, middle),
            (x + 11.0, middle + DIAMOND_HALF),
        ])),
        Mark::Expected => bar_between(canvas, x + 1.5, x + 20.5, middle),
        Mark::Own => own_between(canvas, [x, x + 11.0, x + 22.0], middle),
    }
}

/// Draws the zero line beside one block's marks.
pub(super) fn zero_line(canvas: &mut Canvas, scale: &Scale, top: f64, bottom: f64) {
    let x = scale.x(0.0);
    canvas.zero.push(Canvas::line(x, top, x, bottom));
}

/// Draws the axis and its ticks at `y`; `most_ticks` bounds their number.
pub(super) fn axis_line(canvas: &mut Canvas, scale: &Scale, y: f64, most_ticks: f64) {
    canvas
        .axis
        .push(Canvas::line(scale.left(), y, scale.right(), y));
    for tick in scale.ticks(most_ticks) {
        canvas.axis.push(Canvas::line(tick.x, y, tick.x, y + TICK));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(estimate: f64, weight: f64) -> Row {
        Row { estimate, weight }
    }

    fn spans(lefts: &[f64], side: f64) -> Vec<Span> {
        lefts
            .iter()
            .map(|left| Span {
                left: *left,
                right: left + side,
                height: side,
            })
            .collect()
    }

    #[test]
    fn marks_far_from_each_other_share_the_middle_line() {
        let far = spans(&[0.0, 10.0, 20.0], 4.0);
        assert_eq!(stacked(far.into_iter(), 12.0), [0, 0, 0]);
    }

    #[test]
    fn marks_that_crowd_stack_below_and_above_the_middle_in_turn() {
        let close = spans(&[0.0, 1.0, 2.0, 3.0, 6.0], 4.0);
        assert_eq!(stacked(close.into_iter(), 12.0), [0, 1, -1, 2, 0]);
    }

    #[test]
    fn a_strip_has_a_most_height_and_every_mark_a_line_within_it() {
        let crowded = spans(&[0.0; 300], 4.0);
        let lines = stacked(crowded.into_iter(), 12.0);
        assert_eq!(lines.len(), 300);
        assert!(lines.iter().all(|line| (-5..=6).contains(line)));
    }

    #[test]
    fn areas_are_proportional_to_weights_and_the_heaviest_fits() {
        let rows = [row(0.0, 0.1), row(1.0, 0.9)];
        let per_weight = area_per_weight(&rows, 10.0);
        assert!((0.9 * per_weight - 100.0).abs() < 1e-9);
        let even = vec![row(0.0, 1.0 / 300.0); 300];
        assert!((area_per_weight(&even, 10.0) / 300.0).sqrt() < 4.5);
    }

    #[test]
    fn rank_order_does_not_depend_on_input_order() {
        let forward = ranked(&[row(1.0, 0.2), row(-1.0, 0.5), row(1.0, 0.1)]);
        let backward = ranked(&[row(1.0, 0.1), row(-1.0, 0.5), row(1.0, 0.2)]);
        assert_eq!(forward, backward);
        assert_eq!(forward, [row(-1.0, 0.5), row(1.0, 0.1), row(1.0, 0.2)]);
    }
}
