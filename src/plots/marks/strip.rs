//! A strip of rows: squares with areas by weight, stacked where they crowd.

use std::cmp::Ordering;

use super::super::canvas::layer::Layer;
use super::super::canvas::{Canvas, Element};
use super::super::forest::Row;
use super::super::scale::Scale;
use super::{ARROW, arrowhead};

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

/// Rows in rank order: by estimate, then by weight, so that the order of the input leaves no
/// trace.
pub(in crate::plots) fn ranked(rows: &[Row]) -> Vec<Row> {
    let mut sorted = rows.to_vec();
    sorted.sort_by(|a, b| match a.estimate.total_cmp(&b.estimate) {
        Ordering::Equal => a.weight.total_cmp(&b.weight),
        unequal => unequal,
    });
    sorted
}

/// Rows that cannot be drawn at their place: beyond the axis, or not a number.
pub(in crate::plots) fn n_outside(rows: &[Row], scale: &Scale) -> usize {
    rows.iter().filter(|row| !scale.holds(row.estimate)).count()
}

/// Draws `rows`, which are in rank order, as squares with areas proportional to their weights; a
/// row beyond the axis is an arrowhead at the edge. A row that is not a number is only counted
/// (see [`n_outside`]). Gives the height of the strip.
pub(in crate::plots) fn strip(
    canvas: &mut Canvas,
    scale: &Scale,
    rows: &[Row],
    top: f64,
    most_side: f64,
) -> f64 {
    let weights = rows.iter().map(|row| row.weight);
    let area_per_weight = area_per_weight(weights, most_side * most_side, 1.0);
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
            canvas.put(
                Layer::Row,
                Element::square((left + right) / 2.0, y, span.height),
            );
        } else if row.estimate < 0.0 {
            arrowhead(canvas, left, y, false);
        } else {
            arrowhead(canvas, right, y, true);
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
        let left = scale.at(row.estimate) - side / 2.0;
        Span {
            left,
            right: left + side,
            height: side,
        }
    } else {
        let left = if row.estimate < 0.0 {
            scale.start()
        } else {
            scale.end() - ARROW.0
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

/// Area of a mark per unit of weight, such that the heaviest has at most the area `limit`; marks are
/// `generosity` times as large as in a strip as long as none reaches it.
pub(in crate::plots) fn area_per_weight(
    weights: impl Iterator<Item = f64>,
    limit: f64,
    generosity: f64,
) -> f64 {
    let (heaviest, n) = weights.fold((0.0, 0.0), |(most, n), weight| {
        (if most < weight { weight } else { most }, n + 1.0)
    });
    let wanted = generosity * (n * AREA_WHEN_MANY + AREA_SHARED);
    if limit < heaviest * wanted {
        limit / heaviest
    } else {
        wanted
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
        let per_weight = area_per_weight(rows.iter().map(|row| row.weight), 100.0, 1.0);
        assert!((0.9 * per_weight - 100.0).abs() < 1e-9);
        let even = [1.0 / 300.0; 300].into_iter();
        assert!((area_per_weight(even, 100.0, 1.0) / 300.0).sqrt() < 4.5);
    }

    #[test]
    fn rank_order_does_not_depend_on_input_order() {
        let forward = ranked(&[row(1.0, 0.2), row(-1.0, 0.5), row(1.0, 0.1)]);
        let backward = ranked(&[row(1.0, 0.1), row(-1.0, 0.5), row(1.0, 0.2)]);
        assert_eq!(forward, backward);
        assert_eq!(forward, [row(-1.0, 0.5), row(1.0, 0.1), row(1.0, 0.2)]);
    }
}
