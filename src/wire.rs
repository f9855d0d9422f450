//! JSON documents on their way out. Together with `intake` the only place that knows JSON.
//!
//! An undefined figure is `null`, and the reason stands in the `not_estimable` list of its
//! analysis. Numbers are written with full double precision.

pub mod aggregate;
pub mod backup;
pub mod form_check;
pub mod openapi;
mod overall;
pub mod own;
pub mod package;
pub mod plan;
pub mod pooled;
pub mod problem;
pub mod protocol;
pub mod query;
pub mod regression;
pub mod release;
pub mod reply;
mod reproducible;
mod scrutiny;
pub mod security_txt;

use crate::findings::BatchLabel;
use crate::protocol::{GapBands, StudyLabel};
use crate::units::Hundredths;
use serde_json::{Value, json};

/// The line that marks made-up data in every document.
pub const INVENTED_NOTICE: &str =
    "Invented data from a demonstration; they say nothing about real string beds.";

/// A value as canonical JSON (RFC 8785), which is the same text whatever the order of its keys.
#[must_use]
pub fn canonical(value: &Value) -> String {
    #[expect(
        clippy::expect_used,
        reason = "a value has only texts as keys and only finite numbers, so it can be written"
    )]
    serde_json_canonicalizer::to_string(value).expect("a value is canonical JSON")
}

/// Who a document is about.
fn study_head(study: &StudyLabel) -> Value {
    json!({
        "study": study.slug,
        "question": study.question,
        "invented": study.invented,
        "notice": study.invented.then_some(INVENTED_NOTICE),
    })
}

fn batch_head(batch: Option<&BatchLabel>) -> Value {
    batch.map_or(
        Value::Null,
        |batch| json!({"number": batch.number, "date": batch.date}),
    )
}

/// A number as entered; whole numbers without a fraction.
fn decimal(value: Hundredths) -> Value {
    let count = value.count();
    if count % 100 == 0 {
        json!(count / 100)
    } else {
        json!(value.to_f64())
    }
}

fn bands(bands: &GapBands) -> Value {
    let edges: Vec<Value> = bands.edges().iter().copied().map(decimal).collect();
    json!(edges)
}
