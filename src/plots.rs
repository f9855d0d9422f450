//! Pictures as text: values in, SVG out, the same bytes for the same values.
//!
//! The forms are those of the published literature: squares with area proportional to weight,
//! a diamond for the pooled estimate and a zero line (Lewis & Clarke 2001), and a thin bar for
//! the prediction interval; circles between two axes for what two numbers say of one pair. No
//! picture crowds, however many pairs there are: ranked pairs have a most height, fields a most
//! number of circles, and rows no labels.
//!
//! Invariants:
//! - No style attribute, style element, script or outside reference, so that a page may forbid
//!   them all. Colours are presentation attributes, and the classes let a style sheet override
//!   them for a dark ground, for print and for forced colours.
//! - Coordinates are rounded to a tenth of a unit.
//! - Every text goes through the template's escaping.
//! - Nothing is drawn that the caller did not hand over, and nothing handed over disappears
//!   without being counted in words. Which rows may be shown is the caller's decision.

pub mod card;
pub mod cumulative;
pub mod dose;
pub mod flow;
pub mod funnel;
pub mod gains;
pub mod own;
pub mod parts;
pub mod progress;
pub mod ranked;
pub mod summary;
pub mod tradeoff;

mod bubbles;
mod canvas;
mod field;
mod marks;
mod scale;
mod sheet;
mod words;

#[cfg(test)]
mod tests;
