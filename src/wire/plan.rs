//! A plan as a document (`schema/plan.v1.schema.json`).

use super::study_head;
use crate::plan::{Code, Kind};
use crate::protocol::StudyLabel;
use crate::vocabulary::{Arm, Sequence};
use serde_json::{Value, json};

/// A plan.
#[derive(Debug)]
pub struct Plan<'a> {
    /// Its study.
    pub study: &'a StudyLabel,
    /// Its code.
    pub code: &'a Code,
    /// How many sessions it is for.
    pub kind: Kind,
    /// When it was drawn (RFC 3339).
    pub drawn: String,
    /// When it was first opened (RFC 3339), and its order; `None` while it is sealed.
    pub opened: Option<(String, Sequence)>,
}

/// The plan as a document.
#[must_use]
pub fn plan(plan: &Plan<'_>) -> Value {
    let (opened, sequence) = plan.opened.as_ref().map_or((None, None), |opened| {
        (Some(opened.0.as_str()), Some(opened.1))
    });
    json!({
        "document": "plan",
        "version": 1,
        "study": study_head(plan.study),
        "code": plan.code.canonical(),
        "kind": plan.kind.code(),
        "drawn": plan.drawn,
        "opened": opened,
        "sequence": sequence.map(Sequence::code),
        "words": sequence.map_or_else(sealed_words, opened_words),
    })
}

fn sealed_words() -> String {
    "Keep the code. Open the plan on court, or let whoever holds the frames open it and keep it from the player.".to_owned()
}

fn opened_words(sequence: Sequence) -> String {
    let arms: Vec<&str> = sequence.arms().iter().copied().map(Arm::code).collect();
    format!(
        "Play {}. If it went otherwise, send the order really played: both are kept.",
        arms.join(", then ")
    )
}
