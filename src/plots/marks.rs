//! The marks of a forest plot: the strip of rows, the diamond, the bar, the axis.

use std::cmp::Ordering;

use super::canvas::{Canvas, Px, Shape, Square};
use super::forest::{Row, Summary};
use super::scale::{Scale, is_placeable};

/// Most lines of a strip. Up to a dozen rows have a line each, in rank order; more rows are
/// dealt out over the lines in rank order, so that squares close in rank do not lie on top of
/// each other and the strip shows where pairs crowd.
const MOST_LINES: usize = 12;

/// Height of one line of a strip, so that the highest has 72 units (own choice).
const STRIP_LINE: f64 = 6.0;

/// Least height of a strip: one large square.
const STRIP_LEAST: f64 = 14.0;

/// Mean area of a square when there are very many rows (own choice, by eye at 300 rows).
const AREA_WHEN_MANY: f64 = 10.0;

/// Extra area shared by all squares of a strip, which makes few rows larger (by eye at 8).
const AREA_SHARED: f64 = 160.0;

/// Least side of a square, so that a row of tiny weight is still seen; such a square is larger
/// than its weight.
const LEAST_SIDE: f64 = 1.4;

/// Half the height of the diamond.
pub(super) const DIAMOND_HALF: f64 = 7.0;

/// Half the height of the end strokes of the prediction bar.
const BAR_END_HALF: f64 = 4.0;

/// Depth and half height of an arrowhead for a row outside the picture.
const ARROW: (f64, f64) = (8.0, 3.5);

/// Length of a tick.
const TICK: f64 = 5.0;

/// Height of the strip for a number of rows.
pub(super) fn strip_height(n_rows: usize) -> f64 {
    if n_rows == 0 {
        return 0.0;
    }
    let wanted = STRIP_LINE * n_lines(n_rows) as f64;
    if wanted < STRIP_LEAST {
        STRIP_LEAST
    } else {
        wanted
    }
}

/// Lines of the strip: as few sweeps as the limit allows, and those of equal length.
fn n_lines(n_rows: usize) -> usize {
    let n_sweeps = n_rows.div_ceil(MOST_LINES).max(1);
    n_rows.div_ceil(n_sweeps)
}

/// The line of a row. Dealing in steps that share no divisor with the number of lines reaches
/// every line once before any twice, and draws no stripes that could be taken for a pattern
/// in the data.
fn line_of(rank: usize, n_rows: usize) -> usize {
    let n_lines = n_lines(n_rows);
    if n_rows <= MOST_LINES {
        rank
    } else if n_lines.is_multiple_of(5) {
        // The only such number of lines between 7 and 12 is 10.
        rank * 3 % n_lines
    } else {
        rank * 5 % n_lines
    }
}

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

/// Draws `rows`, which are in rank order, as squares with areas proportional to their weights; a row beyond the axis is an arrowhead at
/// the edge. A row that is not a number is only counted (see [`n_outside`]).
pub(super) fn strip(canvas: &mut Canvas, scale: &Scale, rows: &[Row], top: f64, most_side: f64) {
    let line = strip_height(rows.len()) / n_lines(rows.len()) as f64;
    let area_per_weight = area_per_weight(rows, most_side);
    for (rank, row) in rows.iter().enumerate() {
        let y = top + (line_of(rank, rows.len()) as f64 + 0.5) * line;
        if scale.holds(row.estimate) {
            let wanted = (row.weight * area_per_weight).sqrt();
            let side = if LEAST_SIDE < wanted {
                wanted
            } else {
                LEAST_SIDE
            };
            canvas.squares.push(Square {
                x: Px(scale.x(row.estimate) - side / 2.0),
                y: Px(y - side / 2.0),
                side: Px(side),
            });
        } else if !row.estimate.is_nan() {
            let (tip, base) = if row.estimate < 0.0 {
                (scale.left(), scale.left() + ARROW.0)
            } else {
                (scale.right(), scale.right() - ARROW.0)
            };
            canvas.outside.push(Shape::new(&[
                (tip, y),
                (base, y - ARROW.1),
                (base, y + ARROW.1),
            ]));
        }
    }
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

/// Draws the pooled estimate: a diamond as wide as its interval.
pub(super) fn diamond(canvas: &mut Canvas, scale: &Scale, summary: &Summary, middle: f64) {
    if ![summary.low, summary.estimate, summary.high]
        .into_iter()
        .all(is_placeable)
    {
        return;
    }
    canvas.pooled.push(Shape::new(&[
        (scale.x(summary.low), middle),
        (scale.x(summary.estimate), middle - DIAMOND_HALF),
        (scale.x(summary.high), middle),
        (scale.x(summary.estimate), middle + DIAMOND_HALF),
    ]));
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

/// A kind of mark, for the key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mark {
    /// A row's square.
    Row,
    /// The diamond.
    Pooled,
    /// The prediction bar.
    Expected,
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

    #[test]
    fn a_strip_grows_with_its_rows_up_to_its_limit() {
        assert!(strip_height(0) < strip_height(1));
        assert!(strip_height(1) < strip_height(8));
        assert!(strip_height(8) < strip_height(12));
        assert_eq!([1, 12, 13, 24, 25, 300].map(n_lines), [1, 12, 7, 12, 9, 12]);
        for n_rows in 0..400 {
            assert!(strip_height(n_rows) <= 72.0);
            assert!(n_lines(n_rows) <= n_rows);
        }
    }

    #[test]
    fn rows_are_dealt_evenly_over_the_lines() {
        assert_eq!([0, 1, 2, 11].map(|rank| line_of(rank, 12)), [0, 1, 2, 11]);
        for n_rows in 1..400 {
            let n_lines = n_lines(n_rows);
            let mut held = vec![0_usize; n_lines];
            for rank in 0..n_rows {
                held[line_of(rank, n_rows)] += 1;
            }
            let fewest = held.iter().min().unwrap();
            assert!(held.iter().all(|n| n - fewest <= 1), "{n_rows}: {held:?}");
        }
    }

    #[test]
    fn areas_are_proportional_to_weights_and_the_heaviest_fits() {
        let rows = [row(0.0, 0.1), row(1.0, 0.9)];
        let per_weight = area_per_weight(&rows, 10.0);
        assert!((0.9 * per_weight - 100.0).abs() < 1e-9);
        let even = vec![row(0.0, 1.0 / 300.0); 300];
        assert!((area_per_weight(&even, 10.0) / 300.0).sqrt() < 4.0);
    }

    #[test]
    fn rank_order_does_not_depend_on_input_order() {
        let forward = ranked(&[row(1.0, 0.2), row(-1.0, 0.5), row(1.0, 0.1)]);
        let backward = ranked(&[row(1.0, 0.1), row(-1.0, 0.5), row(1.0, 0.2)]);
        assert_eq!(forward, backward);
        assert_eq!(forward, [row(-1.0, 0.5), row(1.0, 0.1), row(1.0, 0.2)]);
    }
}
