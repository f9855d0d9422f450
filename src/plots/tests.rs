//! What the tests of every picture share.

use super::parts::{Heading, Layout, Sides, Summary};
use super::words;
use crate::numbers;
use std::fs;
use std::path::Path;

pub(super) const LAYOUTS: [Layout; 2] = [Layout::Wide, Layout::Narrow];

/// Lines of the group with the given class; a picture without it has none.
pub(super) fn group<'a>(svg: &'a str, class: &str) -> Vec<&'a str> {
    let Some((_, after)) = svg.split_once(&format!("<g class=\"{class}\"")) else {
        return Vec::new();
    };
    let (inside, _) = after.split_once("</g>").unwrap();
    inside
        .lines()
        .skip(1)
        .filter(|line| !line.is_empty())
        .collect()
}

/// Value of an attribute of one element.
pub(super) fn attribute(element: &str, name: &str) -> f64 {
    text_attribute(element, name).parse().unwrap()
}

fn text_attribute<'a>(element: &'a str, name: &str) -> &'a str {
    let (_, after) = element.split_once(&format!(" {name}=\"")).unwrap();
    after.split_once('"').unwrap().0
}

/// What is written between the tags of an element, as it was before escaping.
pub(super) fn content(element: &str) -> String {
    let (_, after) = element.split_once('>').unwrap();
    let inside = after.rsplit_once("</").unwrap().0;
    let entities = [
        ("&#60;", "<"),
        ("&#62;", ">"),
        ("&#34;", "\""),
        ("&#39;", "'"),
    ];
    let unescaped = entities
        .into_iter()
        .fold(inside.to_owned(), |text, (from, to)| text.replace(from, to));
    unescaped.replace("&#38;", "&")
}

/// The description for readers who do not see the picture.
pub(super) fn description(svg: &str) -> String {
    let element = svg.lines().find(|line| line.starts_with("<desc ")).unwrap();
    content(element)
}

/// Where a text is estimated to lie: left, top, right, bottom.
fn extent(text: &str, font_size: f64) -> [f64; 4] {
    let (x, baseline) = (attribute(text, "x"), attribute(text, "y"));
    let width = words::width(&content(text), font_size);
    let left = match text_attribute(text, "text-anchor") {
        "start" => x,
        "middle" => x - width / 2.0,
        _ => x - width,
    };
    // Ascent and descent of common system fonts.
    let (top, bottom) = (baseline - 0.75 * font_size, baseline + 0.2 * font_size);
    [left, top, left + width, bottom]
}

/// Whether two extents share more than a hair.
fn overlap(a: [f64; 4], b: [f64; 4]) -> bool {
    a[0] + 0.5 < b[2] && b[0] + 0.5 < a[2] && a[1] + 0.5 < b[3] && b[1] + 0.5 < a[3]
}

/// What holds for every picture: it names and describes itself, needs no style and no script, no
/// figure in it is not a number, every mark and text lies inside, and no two texts overlap.
pub(super) fn assert_sound(svg: &str) {
    assert!(svg.contains("role=\"img\" aria-labelledby=\""));
    assert!(svg.contains("<title id=\"") && !description(svg).is_empty());
    for needless in [
        "style=",
        "<style",
        "<script",
        "href",
        "NaN",
        "inf\"",
        "not estimable",
    ] {
        assert!(!svg.contains(needless), "{needless}");
    }
    let (head, body) = svg.split_once('\n').unwrap();
    let view: Vec<f64> = text_attribute(head, "viewBox")
        .split(' ')
        .map(|value| value.parse().unwrap())
        .collect();
    let font_size = attribute(head, "font-size");
    let (width, height) = (view[2], view[3]);
    // 680 px of a page 720 px wide, and 328 of a phone 360 px wide.
    let shown = if width < 500.0 { 328.0 } else { 680.0 };
    assert!(11.0 <= font_size * shown / width, "text is readable");
    for element in body.lines() {
        for (x, y) in corners(element) {
            assert!(-0.1 <= x && x <= width + 0.1, "{element}");
            assert!(-0.1 <= y && y <= height + 0.1, "{element}");
        }
    }
    let texts = group(svg, "mark-text");
    let extents: Vec<[f64; 4]> = texts.iter().map(|text| extent(text, font_size)).collect();
    for (idx, a) in extents.iter().enumerate() {
        assert!(-0.1 <= a[0] && a[2] <= width + 0.1, "{}", texts[idx]);
        assert!(-0.1 <= a[1] && a[3] <= height + 0.1, "{}", texts[idx]);
        for (other, b) in extents.iter().enumerate().skip(idx + 1) {
            assert!(!overlap(*a, *b), "{} and {}", texts[idx], texts[other]);
        }
    }
}

/// The corners of an element that is drawn.
fn corners(element: &str) -> Vec<(f64, f64)> {
    let at = |name: &str| attribute(element, name);
    if element.starts_with("<line ") {
        vec![(at("x1"), at("y1")), (at("x2"), at("y2"))]
    } else if element.starts_with("<rect ") {
        let (x, y) = (at("x"), at("y"));
        vec![(x, y), (x + at("width"), y + at("height"))]
    } else if element.starts_with("<circle ") {
        vec![(at("cx"), at("cy"))]
    } else if element.starts_with("<poly") {
        text_attribute(element, "points")
            .split(' ')
            .map(|point| point.split_once(',').unwrap())
            .map(|(x, y)| (x.parse().unwrap(), y.parse().unwrap()))
            .collect()
    } else if element.starts_with("<path ") {
        strokes(element)
            .into_iter()
            .flat_map(|(left, y, right)| [(left, y), (right, y)])
            .collect()
    } else {
        Vec::new()
    }
}

/// The strokes of a path: left end, height, right end.
pub(super) fn strokes(path: &str) -> Vec<(f64, f64, f64)> {
    text_attribute(path, "d")
        .split('M')
        .skip(1)
        .map(|stroke| {
            let (start, right) = stroke.split_once('H').unwrap();
            let (left, y) = start.split_once(',').unwrap();
            (
                left.parse().unwrap(),
                y.parse().unwrap(),
                right.parse().unwrap(),
            )
        })
        .collect()
}

/// Compares with a file under `fixtures/golden`, or rewrites it when `TAUTPOOL_BLESS` is 1.
pub(super) fn assert_golden(name: &str, actual: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/golden")
        .join(name);
    if std::env::var("TAUTPOOL_BLESS").is_ok_and(|value| value == "1") {
        fs::write(&path, actual).unwrap();
    }
    let golden = fs::read_to_string(&path).unwrap_or_default();
    assert!(
        golden == actual,
        "{} differs; read the new picture, then bless it with TAUTPOOL_BLESS=1",
        path.display()
    );
}

/// What heads a picture of tests.
pub(super) fn heading(id: &str, title: &str) -> Heading {
    Heading {
        id: id.to_owned(),
        title: title.to_owned(),
        notice: Some("Invented data: nobody hit these balls.".to_owned()),
        description: "Looser minus tighter.".to_owned(),
    }
}

/// The axis of speed.
pub(super) fn speed() -> Sides {
    Sides {
        unit: "km/h".to_owned(),
        negative_words: "tighter faster".to_owned(),
        positive_words: "looser faster".to_owned(),
    }
}

/// A pooled estimate with a prediction interval, in numbers and words.
pub(super) fn pooled(estimate: f64, half_width: f64, reach: f64) -> Summary {
    let (low, high) = (estimate - half_width, estimate + half_width);
    let expected = (estimate - reach, estimate + reach);
    Summary {
        estimate,
        low,
        high,
        prediction: Some(expected),
        numbers: numbers::estimate_and_interval(estimate, low, high),
        prediction_numbers: Some(numbers::interval(expected.0, expected.1, 1)),
    }
}

/// Numbers of pairs from none to more than any study has.
pub(super) const CROWDS: [u32; 9] = [0, 1, 2, 6, 40, 81, 151, 300, 500];

/// A label longer than any protocol should have.
pub(super) const LONG: &str = "Mean ball speed, forehand, crosscourt and down the line together, \
     from twelve and a half to under seventeen and a half pounds";

/// `n` values spread as normal draws would be, without drawing: the same every time.
pub(super) fn spread(n: u32, mean: f64, deviation: f64) -> Vec<f64> {
    // A sum of three waves with unrelated periods is near enough to a normal spread for a picture.
    (0..n)
        .map(f64::from)
        .map(|idx| {
            let waves = (idx * 2.399_963).sin() + (idx * 1.324_718).cos() + (idx * 0.754_878).sin();
            mean + deviation * waves * 0.816_497
        })
        .collect()
}
