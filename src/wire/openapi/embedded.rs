//! The schema files as components of the document.
//!
//! A schema refers to its own parts by `#/$defs/…` and to other schemas by their `$id`. Inside one
//! document both become places in it, so that a tool finds everything without fetching anything.
//! `$id` and `$schema` go: with an `$id` of its own, an embedded schema would be a resource whose
//! `#` is not the document.

use super::operations::Operation;
use crate::intake::schema::Schema;
use crate::wire::problem::ProblemKind;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// Where the components stand.
const PLACE: &str = "#/components/schemas/";

/// A reference to a schema.
pub(super) fn reference(schema: Schema) -> Value {
    json!({"$ref": format!("{PLACE}{}", name(schema))})
}

/// The name of a schema among the components: that of its file without the version.
pub(super) fn name(schema: Schema) -> &'static str {
    let file = schema.file_name();
    file.split('.').next().unwrap_or(file)
}

/// A problem of one of these kinds.
pub(super) fn problem(kinds: &[ProblemKind]) -> Value {
    let types: Vec<String> = kinds
        .iter()
        .map(|kind| format!("/problems#{}", kind.code()))
        .collect();
    json!({
        "allOf": [
            reference(Schema::Problem),
            {"properties": {"type": {"enum": types}}},
        ],
    })
}

/// The schemas that operations speak of, and those that these refer to.
pub(super) fn schemas(operations: &[Operation]) -> Map<String, Value> {
    let spoken_of = operations.iter().flat_map(Operation::schemas);
    let mut wanted: Vec<Schema> = spoken_of.chain([Schema::Problem]).collect();
    let mut made = BTreeMap::new();
    while let Some(schema) = wanted.pop() {
        if made.contains_key(name(schema)) {
            continue;
        }
        made.insert(name(schema), embedded(schema, &mut wanted));
    }
    let named = made.into_iter();
    named.map(|(name, text)| (name.to_owned(), text)).collect()
}

fn embedded(schema: Schema, referred_to: &mut Vec<Schema>) -> Value {
    // The embedded files are JSON, which a test says; there is nothing to tell a reader otherwise.
    let mut text: Value = serde_json::from_str(schema.text()).unwrap_or_default();
    if let Some(fields) = text.as_object_mut() {
        fields.retain(|field, _| field != "$schema" && field != "$id");
    }
    point_here(&mut text, schema, referred_to);
    text
}

/// Turns every reference into a place in the document.
fn point_here(part: &mut Value, within: Schema, referred_to: &mut Vec<Schema>) {
    match part {
        Value::Object(fields) => {
            for (field, value) in fields {
                match value {
                    Value::String(target) if field == "$ref" => {
                        *target = place(target, within, referred_to);
                    }
                    value => point_here(value, within, referred_to),
                }
            }
        }
        Value::Array(items) => {
            for item in items {
                point_here(item, within, referred_to);
            }
        }
        _ => {}
    }
}

fn place(target: &str, within: Schema, referred_to: &mut Vec<Schema>) -> String {
    let (resource, pointer) = target.split_once('#').unwrap_or((target, ""));
    let other = Schema::ALL
        .iter()
        .copied()
        .find(|schema| resource == format!("urn:tautpool:schema:{}:v1", name(*schema)));
    referred_to.extend(other);
    format!("{PLACE}{}{pointer}", name(other.unwrap_or(within)))
}
