//! What a picture is made of before it becomes SVG: marks with their places.

pub(super) mod layer;

use std::fmt;

use askama::Template;

use layer::Layer;

/// A length or position, shown rounded to a tenth of a unit, without a trailing ".0".
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Px(pub(super) f64);

impl fmt::Display for Px {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let shown = format!("{:.1}", self.0);
        let short = shown.strip_suffix(".0").unwrap_or(&shown);
        f.write_str(if short == "-0" { "0" } else { short })
    }
}

/// Which end of a text stands at its position.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

impl fmt::Display for Anchor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Start => "start",
            Self::Middle => "middle",
            Self::End => "end",
        })
    }
}

/// One line of text; `x` and `baseline` place it.
#[derive(Debug)]
pub(super) struct Text {
    pub(super) x: Px,
    pub(super) baseline: Px,
    pub(super) anchor: Anchor,
    pub(super) strong: bool,
    pub(super) body: String,
}

/// A straight line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Line {
    pub(super) x1: Px,
    pub(super) y1: Px,
    pub(super) x2: Px,
    pub(super) y2: Px,
}

/// Corners, as the `points` of a polygon or a polyline.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Points(String);

impl Points {
    pub(super) fn new(corners: &[(f64, f64)]) -> Self {
        let points: Vec<String> = corners
            .iter()
            .map(|(x, y)| format!("{},{}", Px(*x), Px(*y)))
            .collect();
        Self(points.join(" "))
    }
}

impl fmt::Display for Points {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Separate strokes, as the `d` of one path: hundreds of them cost one element.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Strokes(String);

impl fmt::Display for Strokes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// One thing drawn. How it looks is the layer's affair.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Element {
    /// A straight line.
    Line(Line),
    /// An upright rectangle; `x` and `y` are its upper left corner.
    Rect { x: Px, y: Px, width: Px, height: Px },
    /// A circle.
    Circle { x: Px, y: Px, radius: Px },
    /// A closed shape.
    Shape(Points),
    /// An open line through its corners.
    Curve(Points),
    /// Many separate horizontal strokes.
    Strokes(Strokes),
}

impl Element {
    /// A straight line.
    pub(super) fn line(x1: f64, y1: f64, x2: f64, y2: f64) -> Self {
        Self::Line(Line {
            x1: Px(x1),
            y1: Px(y1),
            x2: Px(x2),
            y2: Px(y2),
        })
    }

    /// A rectangle with its upper left corner at `x`, `y`.
    pub(super) fn rect(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self::Rect {
            x: Px(x),
            y: Px(y),
            width: Px(width),
            height: Px(height),
        }
    }

    /// A square around a point.
    pub(super) fn square(x: f64, y: f64, side: f64) -> Self {
        Self::rect(x - side / 2.0, y - side / 2.0, side, side)
    }

    /// A circle around a point.
    pub(super) fn circle(x: f64, y: f64, radius: f64) -> Self {
        Self::Circle {
            x: Px(x),
            y: Px(y),
            radius: Px(radius),
        }
    }

    /// A closed shape through the given corners.
    pub(super) fn shape(corners: &[(f64, f64)]) -> Self {
        Self::Shape(Points::new(corners))
    }

    /// An open line through the given corners.
    pub(super) fn curve(corners: &[(f64, f64)]) -> Self {
        Self::Curve(Points::new(corners))
    }

    /// Horizontal strokes, each from its left end, at its height, to its right end.
    pub(super) fn strokes(strokes: &[(f64, f64, f64)]) -> Self {
        let moves: Vec<String> = strokes
            .iter()
            .map(|(left, y, right)| format!("M{},{}H{}", Px(*left), Px(*y), Px(*right)))
            .collect();
        Self::Strokes(Strokes(moves.concat()))
    }
}

/// A group of the picture that is to be written.
#[derive(Debug)]
struct Group {
    layer: Layer,
    elements: Vec<Element>,
}

/// A whole picture.
#[derive(Debug, Template)]
#[template(
    path = "picture.svg",
    config = "src/pages/askama.toml",
    escape = "html"
)]
pub(super) struct Canvas {
    pub(super) id: String,
    pub(super) layout: &'static str,
    pub(super) width: Px,
    pub(super) height: Px,
    pub(super) font_size: Px,
    pub(super) title: String,
    pub(super) description: String,
    groups: Vec<Group>,
    texts: Vec<Text>,
}

impl Canvas {
    /// An empty picture.
    pub(super) fn new(id: &str, layout: &'static str, title: &str) -> Self {
        Self {
            id: id.to_owned(),
            layout,
            width: Px(0.0),
            height: Px(0.0),
            font_size: Px(0.0),
            title: title.to_owned(),
            description: String::new(),
            groups: Vec::new(),
            texts: Vec::new(),
        }
    }

    /// Adds an element to a layer. Within a layer what comes later lies above.
    pub(super) fn put(&mut self, layer: Layer, element: Element) {
        match self.groups.iter_mut().find(|group| group.layer == layer) {
            Some(group) => group.elements.push(element),
            None => self.groups.push(Group {
                layer,
                elements: vec![element],
            }),
        }
    }

    /// Writes a line of text.
    pub(super) fn write(
        &mut self,
        x: f64,
        baseline: f64,
        anchor: Anchor,
        strong: bool,
        body: &str,
    ) {
        self.texts.push(Text {
            x: Px(x),
            baseline: Px(baseline),
            anchor,
            strong,
            body: body.to_owned(),
        });
    }

    /// The picture as SVG.
    pub(super) fn into_svg(mut self) -> String {
        self.groups.sort_by_key(|group| group.layer);
        // Rendering writes to a string through Display implementations that never fail, so
        // there is no failure to report.
        self.render().unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_are_rounded_to_a_tenth_and_zero_has_no_sign() {
        assert_eq!(Px(12.34).to_string(), "12.3");
        assert_eq!(Px(12.0).to_string(), "12");
        assert_eq!(Px(-0.04).to_string(), "0");
        assert_eq!(Px(-1.25).to_string(), "-1.2");
        assert_eq!(
            Points::new(&[(0.0, 1.0), (2.26, 3.0)]).to_string(),
            "0,1 2.3,3"
        );
    }

    #[test]
    fn layers_are_written_from_back_to_front_whatever_came_first() {
        let mut canvas = Canvas::new("a", "wide", "A");
        canvas.put(Layer::Pooled, Element::shape(&[(0.0, 0.0)]));
        canvas.put(Layer::Zone, Element::rect(0.0, 0.0, 1.0, 1.0));
        canvas.put(
            Layer::Pooled,
            Element::strokes(&[(0.0, 1.0, 2.0), (3.04, 4.0, 5.0)]),
        );
        let svg = canvas.into_svg();
        let places = ["mark-zone", "mark-pooled", "points=\"0,0\"", "M0,1H2M3,4H5"]
            .map(|mark| svg.find(mark).unwrap());
        assert!(places.is_sorted(), "{svg}");
    }
}
