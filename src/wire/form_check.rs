//! What is to be mended in a form, as a document (`schema/form_check.v1.schema.json`).

use crate::form::FieldFault;
use serde_json::{Value, json};

/// The faults of a form's entries, and what is worth a second look in them.
#[must_use]
pub fn form_check(faults: &[FieldFault], flags: &[FieldFault]) -> Value {
    json!({
        "document": "form_check",
        "version": 1,
        "faults": at_fields(faults),
        "flags": at_fields(flags),
    })
}

fn at_fields(told: &[FieldFault]) -> Vec<Value> {
    told.iter()
        .map(|one| {
            json!({
                "field": one.field,
                "step": one.step.code(),
                "pointer": one.pointer,
                "code": one.code,
                "sentence": one.sentence,
            })
        })
        .collect()
}
