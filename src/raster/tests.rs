use super::*;
use crate::plots::card::{Size, card, tests::samples};
use resvg::tiny_skia::ColorU8;
use resvg::usvg::{Group, Node};

const PAPER: (u8, u8, u8) = (0xFD, 0xFD, 0xFB);
const INK: (u8, u8, u8) = (0x1C, 0x1B, 0x19);
const ACCENT: (u8, u8, u8) = (0x86, 0x30, 0x5F);

fn decoded(png: &[u8]) -> Pixmap {
    Pixmap::decode_png(png).unwrap()
}

fn n_dots(dots: &Pixmap, (red, green, blue): (u8, u8, u8)) -> usize {
    let all = dots.pixels().iter().map(|dot| dot.demultiply());
    all.filter(|dot| *dot == ColorU8::from_rgba(red, green, blue, 255))
        .count()
}

/// A small picture with `text`.
fn with_text(text: &str) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"120\" height=\"40\">\
         <text x=\"4\" y=\"30\" font-size=\"24\" font-family=\"'{}'\">{text}</text></svg>",
        font::FAMILY
    )
}

fn drawn(text: &str) -> Vec<u8> {
    png(&with_text(text), 120, 40).unwrap()
}

/// Width of every text as the drawing crate lays it out.
fn widths(group: &Group, found: &mut Vec<f64>) {
    for node in group.children() {
        match node {
            Node::Text(text) => found.push(f64::from(text.bounding_box().width())),
            Node::Group(group) => widths(group, found),
            _ => {}
        }
    }
}

#[test]
fn lines_are_as_wide_as_they_were_measured() {
    for (name, sample) in samples() {
        // Without the written length, which would stretch a line to it.
        let svg = card(&sample, Size::Post);
        let lengths: Vec<f64> = svg
            .split("textLength=\"")
            .skip(1)
            .map(|rest| rest.split('"').next().unwrap().parse().unwrap())
            .collect();
        let mut found = Vec::new();
        let natural = svg.replace("textLength=", "data-length=");
        widths(tree(&natural).unwrap().root(), &mut found);
        assert_eq!(found.len(), lengths.len(), "{name}");
        for (found, length) in found.iter().zip(&lengths) {
            // Lengths are written to a tenth.
            assert!((found - length).abs() < 0.1, "{name}: {found}, {length}");
        }
    }
}

#[test]
fn a_card_is_drawn_in_both_sizes_on_paper_in_ink_and_accent() {
    for size in Size::ALL {
        let (width, height) = size.dots();
        let invented = samples().remove(1).1;
        let bytes = png(&card(&invented, *size), width, height).unwrap();
        assert!(bytes.len() < 400_000, "{}", bytes.len());
        let dots = decoded(&bytes);
        assert_eq!((dots.width(), dots.height()), (width, height));
        let all = (width * height) as usize;
        let (paper, ink, accent) = (
            n_dots(&dots, PAPER),
            n_dots(&dots, INK),
            n_dots(&dots, ACCENT),
        );
        assert!(all * 3 / 4 < paper && paper < all, "{paper}");
        assert!(all / 50 < ink && all / 1000 < accent, "{ink}, {accent}");
        for (x, y) in [
            (0, 0),
            (width - 1, 0),
            (0, height - 1),
            (width - 1, height - 1),
        ] {
            let corner = dots.pixel(x, y).unwrap().demultiply();
            assert_eq!(corner, ColorU8::from_rgba(PAPER.0, PAPER.1, PAPER.2, 255));
        }
    }
}

#[test]
fn the_same_text_gives_the_same_bytes() {
    assert_eq!(drawn("\u{2212}0.4 km/h"), drawn("\u{2212}0.4 km/h"));
    assert_ne!(drawn("\u{2212}0.4 km/h"), drawn("+0.4 km/h"));
}

#[test]
fn a_character_without_a_glyph_is_a_box_and_not_nothing() {
    let of_box = drawn("a\u{25A1}b");
    assert_ne!(of_box, drawn("ab"));
    for character in ["球", "🎾", "א", "\u{E000}"] {
        assert_eq!(drawn(&format!("a{character}b")), of_box, "{character}");
    }
}

#[test]
fn every_family_is_the_embedded_one() {
    let own = with_text("Ab 12");
    for family in ["Some Other", "serif", "monospace", "cursive", "fantasy"] {
        let other = own.replace(&format!("'{}'", font::FAMILY), family);
        assert_ne!(own, other);
        assert_eq!(png(&own, 120, 40), png(&other, 120, 40), "{family}");
    }
    assert_ne!(own.replace("<text ", "<text font-weight=\"700\" "), own);
    let bold = own.replace("<text ", "<text font-weight=\"700\" ");
    assert_ne!(png(&own, 120, 40), png(&bold, 120, 40));
}

#[test]
fn no_file_address_or_picture_inside_is_read() {
    let plain = with_text("a");
    for reference in [
        "Cargo.toml",
        "http://127.0.0.1:1/a.png",
        "data:image/svg+xml,<svg/>",
    ] {
        let image = format!(
            "<image href=\"{}\" width=\"9\" height=\"9\"/></svg>",
            reference.replace('<', "&lt;")
        );
        let svg = plain.replace("</svg>", &image);
        assert_eq!(png(&svg, 120, 40), png(&plain, 120, 40), "{reference}");
    }
}

#[test]
fn what_cannot_be_drawn_is_said() {
    assert!(matches!(png("<svg", 10, 10), Err(RasterError::Svg(_))));
    for (width, height) in [(0, 10), (10, 0), (MOST_DOTS + 1, 10), (10, u32::MAX)] {
        let refused = png(&with_text("a"), width, height);
        assert_eq!(refused, Err(RasterError::Size(width, height)));
    }
}
