//! What is to be mended in a form, as a document (`schema/form_check.v1.schema.json`).

use crate::form::FieldFault;
use serde_json::{Value, json};

/// The faults of a form's entries.
#[must_use]
pub fn form_check(faults: &[FieldFault]) -> Value {
    let faults: Vec<Value> = faults
        .iter()
        .map(|fault| {
            json!({
                "field": fault.field,
                "step": fault.step.code(),
                "pointer": fault.pointer,
                "code": fault.code,
                "sentence": fault.sentence,
            })
        })
        .collect();
    json!({"document": "form_check", "version": 1, "faults": faults})
}
