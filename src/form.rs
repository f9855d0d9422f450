//! The form by which a contribution is typed: its steps, its fields, and what was typed.
//!
//! One table ([`FIELDS`]) says of every field what it is called, where it stands, what it takes and
//! where in the document it goes. The page, the document and the way back from a document are all
//! made from it.
//!
//! Absent on purpose: JSON, HTML, and any judgement of what was typed. `intake` judges the document
//! that is made from it.

mod entries;
mod fields;
mod steps;
pub mod study;
mod table;
mod typed;
mod words;

pub use entries::Entries;
pub use fields::{Field, Fold, Kind, Repeat, Shown, Spot, Unit, find, spots, spots_of};
pub use steps::{MOST_SESSIONS, Order, Step};
pub use table::FIELDS;
pub use words::{Choice, reason_words};

use crate::protocol::Study;
use crate::vocabulary::ShotClass;

/// Most shot classes that the form has room for.
pub const MOST_CLASSES: usize = 4;

/// Something to mend in what was typed or, among flags, something to look at again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldFault {
    /// The field's name; `None` when no single field is at fault.
    pub field: Option<String>,
    /// The step that has it.
    pub step: Step,
    /// JSON Pointer (RFC 6901) to the place in the document.
    pub pointer: String,
    /// Stable code, as in the documents of errors.
    pub code: &'static str,
    /// How to mend it, or what was noticed.
    pub sentence: String,
}

/// The classes that a study asks for, each once, in the order of its protocol. They are the first
/// classes of the form, and the player cannot change them.
#[must_use]
pub fn asked_classes(study: &Study) -> Vec<ShotClass> {
    let mut classes = Vec::new();
    for primary in &study.protocol.analysis.primary {
        if !classes.contains(&primary.class) && classes.len() < MOST_CLASSES {
            classes.push(primary.class);
        }
    }
    classes
}
