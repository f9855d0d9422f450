//! Pairs in a field as circles with areas by weight, and what keeps many of them from crowding.

use std::cmp::Ordering;
use std::f64::consts::PI;

use super::canvas::Element;
use super::canvas::layer::Layer;
use super::field::Field;
use super::marks::key::Mark;
use super::sheet::Sheet;
use super::words;
use crate::numbers;

/// Most circles (own choice, by eye in the narrow layout). When there are more pairs, those that lie
/// in one cell of a grid share one.
const MOST_CIRCLES: usize = 150;

/// How much larger cells become while there are still too many circles.
const CELL_GROWTH: f64 = 1.3;

/// Least radius of a circle, so that a pair of tiny weight is still seen.
const LEAST_RADIUS: f64 = 1.2;

/// Mean area of a mark when there are very many rows (own choice, by eye at 300 rows).
const AREA_WHEN_MANY: f64 = 18.0;

/// Extra area shared by all marks, which makes few rows larger (by eye at 8).
const AREA_SHARED: f64 = 240.0;

/// One pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pair {
    /// Its place on the two axes.
    pub(super) values: (f64, f64),
    /// Its share of the weight; one that is no positive number counts as tiny.
    pub(super) weight: f64,
}

/// What was drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Drawn {
    /// Pairs at their place.
    n_inside: usize,
    /// Pairs that are not.
    n_outside: usize,
    /// Circles.
    n_circles: usize,
}

impl Drawn {
    /// The entry of the circles in the key; `weighed` when pairs have weights of their own.
    pub(super) fn entry(self, weighed: bool) -> (bool, Mark, &'static str) {
        let any = 0 < self.n_circles;
        match (self.n_circles < self.n_inside, weighed) {
            (true, true) => (any, Mark::Point, "pairs near each other, area by weight"),
            (true, false) => (any, Mark::Point, "pairs near each other, area by number"),
            (false, true) => (any, Mark::Point, "one pair, area by weight"),
            (false, false) => (any, Mark::SinglePoint, "one pair"),
        }
    }

    /// What a reader has to know about pairs that are not drawn each at its place.
    pub(super) fn notes(self) -> Vec<String> {
        let merged = (self.n_circles < self.n_inside).then(|| {
            format!(
                "{} pairs are drawn as {} circles, one for all that lie close together",
                numbers::count(self.n_inside as u64),
                numbers::count(self.n_circles as u64)
            )
        });
        merged
            .into_iter()
            .chain(words::outside_note(self.n_outside))
            .collect()
    }
}

/// A circle to be drawn.
#[derive(Debug, Clone, Copy)]
struct Circle {
    cell: (f64, f64),
    place: (f64, f64),
    weight: f64,
    /// Pairs it stands for.
    n: f64,
}

/// Draws pairs, in any order.
pub(super) fn draw(sheet: &mut Sheet, field: &Field, pairs: &[Pair]) -> Drawn {
    let mut circles: Vec<Circle> = pairs
        .iter()
        .filter(|pair| field.holds(pair.values))
        .map(|pair| Circle {
            cell: (0.0, 0.0),
            place: field.at(pair.values),
            weight: if 0.0 < pair.weight && pair.weight.is_finite() {
                pair.weight
            } else {
                0.0
            },
            n: 1.0,
        })
        .collect();
    let n_inside = circles.len();
    let mut side = sheet.frame.cell;
    // A cell as large as the field holds them all, so this comes to an end.
    while MOST_CIRCLES < circles.len() {
        circles = gathered(circles, side);
        side *= CELL_GROWTH;
    }
    // The largest first, so that it does not hide a smaller one.
    circles.sort_by(|a, b| b.weight.total_cmp(&a.weight).then(order(a, b)));
    let most_radius = sheet.frame.most_radius;
    let limit = PI * most_radius * most_radius;
    let weights = circles.iter().map(|circle| circle.weight);
    let area_per_weight = area_per_weight(weights, limit, sheet.frame.generosity);
    for circle in &circles {
        let wanted = (circle.weight * area_per_weight / PI).sqrt();
        let radius = if LEAST_RADIUS < wanted {
            wanted
        } else {
            LEAST_RADIUS
        };
        let (x, y) = circle.place;
        sheet
            .canvas
            .put(Layer::Point, Element::circle(x, y, radius));
    }
    Drawn {
        n_inside,
        n_outside: pairs.len() - n_inside,
        n_circles: circles.len(),
    }
}

/// One circle for all in each cell of a grid with cells of the given side.
fn gathered(mut circles: Vec<Circle>, side: f64) -> Vec<Circle> {
    for circle in &mut circles {
        let (x, y) = circle.place;
        circle.cell = ((x / side).floor(), (y / side).floor());
    }
    circles.sort_by(order);
    circles.chunk_by(shares_cell).map(merged).collect()
}

/// By cell, then by place and weight, so that the order of the input leaves no trace.
fn order(a: &Circle, b: &Circle) -> Ordering {
    let keys = |circle: &Circle| {
        let (x, y) = circle.place;
        [circle.cell.0, circle.cell.1, x, y, circle.weight]
    };
    let unequal = keys(a)
        .into_iter()
        .zip(keys(b))
        .map(|(a, b)| a.total_cmp(&b))
        .find(|order| *order != Ordering::Equal);
    unequal.unwrap_or(Ordering::Equal)
}

fn shares_cell(a: &Circle, b: &Circle) -> bool {
    a.cell.0.total_cmp(&b.cell.0).is_eq() && a.cell.1.total_cmp(&b.cell.1).is_eq()
}

/// One circle for all of a cell, at the middle of their pairs, with the weight of all.
fn merged(cell: &[Circle]) -> Circle {
    let sum = |of: fn(&Circle) -> f64| cell.iter().map(of).sum::<f64>();
    let n = sum(|circle| circle.n);
    Circle {
        cell: (0.0, 0.0),
        place: (
            sum(|circle| circle.n * circle.place.0) / n,
            sum(|circle| circle.n * circle.place.1) / n,
        ),
        weight: sum(|circle| circle.weight),
        n,
    }
}

/// Area of a mark per unit of weight, such that the heaviest has at most the area `limit`; marks are
/// `generosity` times as large as [`AREA_WHEN_MANY`] and [`AREA_SHARED`] say as long as none reaches it.
fn area_per_weight(weights: impl Iterator<Item = f64>, limit: f64, generosity: f64) -> f64 {
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

    #[test]
    fn areas_are_proportional_to_weights_and_the_heaviest_fits() {
        let two = [0.1, 0.9].into_iter();
        assert!((0.9 * area_per_weight(two, 100.0, 1.0) - 100.0).abs() < 1e-9);
        let even = [1.0 / 300.0; 300].into_iter();
        assert!((area_per_weight(even, 100.0, 1.0) / 300.0).sqrt() < 4.5);
    }
}
