//! A picture as SVG turned into one of dots: text in, PNG out.
//!
//! Nothing but the text and the embedded typeface gets into it: no font, file or address of the
//! machine is read, whatever the SVG refers to. The same text gives the same bytes on one build and
//! machine type. The only module that knows the drawing crate.

use crate::font::{self, Weight};
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::fontdb::Database;
use resvg::usvg::{ImageHrefResolver, Options, Tree};
use std::sync::{Arc, LazyLock};
use thiserror::Error;

/// Most dots on one side: the picture's bytes are four times the dots (own bound).
const MOST_DOTS: u32 = 4096;

/// Why there is no picture.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum RasterError {
    /// The text is no SVG that can be drawn.
    #[error("the picture cannot be read: {0}")]
    Svg(String),
    /// A side without dots, or with too many.
    #[error("a picture of {0} × {1} dots is not made: 1 to {MOST_DOTS} on each side")]
    Size(u32, u32),
    /// The dots could not be written as PNG.
    #[error("the picture cannot be written: {0}")]
    Png(String),
}

/// The embedded typeface and no other.
static TYPEFACE: LazyLock<Arc<Database>> = LazyLock::new(|| {
    let mut fonts = Database::new();
    for weight in [Weight::Regular, Weight::Bold] {
        fonts.load_font_data(weight.file().to_vec());
    }
    // Whoever asks for another family, or for a kind of typeface, gets this one.
    fonts.set_serif_family(font::FAMILY);
    fonts.set_sans_serif_family(font::FAMILY);
    fonts.set_cursive_family(font::FAMILY);
    fonts.set_fantasy_family(font::FAMILY);
    fonts.set_monospace_family(font::FAMILY);
    Arc::new(fonts)
});

/// Draws `svg` stretched to `width` × `height` dots. Every text is set in the embedded typeface,
/// whatever family it asks for, and a character that it does not have is drawn as a box.
///
/// # Errors
/// [`RasterError`]
pub fn png(svg: &str, width: u32, height: u32) -> Result<Vec<u8>, RasterError> {
    let too_large = || RasterError::Size(width, height);
    if MOST_DOTS < width || MOST_DOTS < height {
        return Err(too_large());
    }
    let mut dots = Pixmap::new(width, height).ok_or_else(too_large)?;
    let tree = tree(svg)?;
    let scale = Transform::from_scale(
        f32_of(width) / tree.size().width(),
        f32_of(height) / tree.size().height(),
    );
    resvg::render(&tree, scale, &mut dots.as_mut());
    dots.encode_png()
        .map_err(|error| RasterError::Png(error.to_string()))
}

/// The picture as the drawing crate knows it.
fn tree(svg: &str) -> Result<Tree, RasterError> {
    let options = Options {
        font_family: font::FAMILY.to_owned(),
        fontdb: Arc::clone(&TYPEFACE),
        image_href_resolver: ImageHrefResolver {
            resolve_data: Box::new(|_, _, _| None),
            resolve_string: Box::new(|_, _| None),
        },
        ..Options::default()
    };
    Tree::from_str(&boxed(svg), &options).map_err(|error| RasterError::Svg(error.to_string()))
}

/// The text with a box for every character without a glyph. Markup is ASCII, which has them all,
/// so only what is written in the picture changes.
fn boxed(svg: &str) -> String {
    let shown = |c: char| match c.is_ascii() || font::has(c) {
        true => c,
        false => font::NO_GLYPH,
    };
    svg.chars().map(shown).collect()
}

/// Exact: a side is at most [`MOST_DOTS`].
#[expect(
    clippy::cast_precision_loss,
    reason = "whole numbers up to 2^24 are exact, and the sides are smaller"
)]
fn f32_of(dots: u32) -> f32 {
    dots as f32
}

#[cfg(test)]
mod tests;
