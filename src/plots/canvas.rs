//! What a picture is made of before it becomes SVG: marks with their places.

use std::fmt;

use askama::Template;

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

/// One row's mark; `x` and `y` are its upper left corner.
#[derive(Debug)]
pub(super) struct Square {
    pub(super) x: Px,
    pub(super) y: Px,
    pub(super) side: Px,
}

/// A straight line.
#[derive(Debug)]
pub(super) struct Line {
    pub(super) x1: Px,
    pub(super) y1: Px,
    pub(super) x2: Px,
    pub(super) y2: Px,
}

/// A closed shape, as the `points` of a polygon.
#[derive(Debug)]
pub(super) struct Shape(String);

impl Shape {
    /// A shape through the given corners.
    pub(super) fn new(corners: &[(f64, f64)]) -> Self {
        let points: Vec<String> = corners
            .iter()
            .map(|(x, y)| format!("{},{}", Px(*x), Px(*y)))
            .collect();
        Self(points.join(" "))
    }
}

impl fmt::Display for Shape {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A whole picture, in drawing order of its lists.
#[derive(Debug, Template)]
#[template(path = "forest.svg", config = "src/pages/askama.toml", escape = "html")]
pub(super) struct Canvas {
    pub(super) id: String,
    pub(super) layout: &'static str,
    pub(super) width: Px,
    pub(super) height: Px,
    pub(super) font_size: Px,
    pub(super) title: String,
    pub(super) description: String,
    pub(super) zero: Vec<Line>,
    pub(super) axis: Vec<Line>,
    pub(super) squares: Vec<Square>,
    pub(super) outside: Vec<Shape>,
    pub(super) own: Vec<Square>,
    pub(super) own_ranges: Vec<Line>,
    pub(super) expected: Vec<Line>,
    pub(super) pooled: Vec<Shape>,
    pub(super) pooled_apart: Vec<Shape>,
    pub(super) texts: Vec<Text>,
}

impl Canvas {
    /// Adds a horizontal or vertical line to one of the lists.
    pub(super) fn line(x1: f64, y1: f64, x2: f64, y2: f64) -> Line {
        Line {
            x1: Px(x1),
            y1: Px(y1),
            x2: Px(x2),
            y2: Px(y2),
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
    pub(super) fn into_svg(self) -> String {
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
            Shape::new(&[(0.0, 1.0), (2.26, 3.0)]).to_string(),
            "0,1 2.3,3"
        );
    }
}
