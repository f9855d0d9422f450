//! The host's form as a study's document, and a document as entries.

use super::insert;
use super::number::{shown, typed};
use crate::form::Kind;
use crate::form::study::{
    MOST_PRIMARY, PRIMARY_FIELDS, STUDY_FIELDS, StudyEntries, StudyFault, StudyField, primary_name,
};
use crate::intake::fault::{Fault, Rejection};
use crate::protocol::Protocol;
use serde_json::{Map, Value, json};

/// A field for several numbers: band edges.
const EDGES: &str = "gap_band_edges";

/// Name of the first wording of a text, unless the host gives it another.
const FIRST_WORDING: &str = "1";

/// The choice that makes no release rule.
const NO_RULE: &str = "none";

/// The document that entries make. Nothing is judged here.
#[must_use]
pub fn study_document(entries: &StudyEntries) -> Value {
    let mut root = Map::new();
    for field in STUDY_FIELDS {
        if let Some(value) = value(field, entries.get(field.name)) {
            insert(&mut root, field.place, value);
        }
    }
    let primary: Vec<Value> = numbers_in_use(entries)
        .map(|number| Value::Object(primary(entries, number)))
        .collect();
    insert(&mut root, "protocol/primary", Value::Array(primary));
    let mut document = Value::Object(root);
    leave_out_unasked(&mut document);
    document
}

/// The value that a text makes; `None` when nothing is to stand there.
fn value(field: &StudyField, text: &str) -> Option<Value> {
    match field.kind {
        Kind::Tick => Some(json!(!text.is_empty())),
        Kind::Whole | Kind::Decimal => typed(text, false),
        Kind::Choice(_) | Kind::Text if field.name == EDGES => Some(edges(text)),
        Kind::Choice(_) | Kind::Text => (!text.is_empty()).then(|| json!(text)),
    }
}

/// Numbers with spaces between, and a comma or semicolon after each if one likes.
fn edges(text: &str) -> Value {
    let parts = text.split_whitespace();
    let parts = parts.map(|part| part.trim_end_matches([',', ';']));
    parts.filter_map(|part| typed(part, false)).collect()
}

/// The primary outcomes of which something was chosen.
fn numbers_in_use(entries: &StudyEntries) -> impl Iterator<Item = usize> + '_ {
    (1..=MOST_PRIMARY).filter(|number| !entries.get(&format!("outcome_{number}")).is_empty())
}

fn primary(entries: &StudyEntries, number: usize) -> Map<String, Value> {
    let mut primary = Map::new();
    for field in PRIMARY_FIELDS {
        let text = entries.get(&primary_name(field, number));
        if let Some(value) = value(field, text) {
            insert(&mut primary, field.place, value);
        }
    }
    primary
}

/// Takes out what belongs to a choice that was not made, or to a text that was not written.
fn leave_out_unasked(document: &mut Value) {
    let kind = document.pointer("/protocol/release_rule/kind");
    let kind = kind.and_then(Value::as_str).unwrap_or(NO_RULE).to_owned();
    if kind == NO_RULE {
        remove(document, "/protocol", "release_rule");
    } else {
        let other = if kind == "date" { "at_least" } else { "on" };
        remove(document, "/protocol/release_rule", other);
    }
    if document.pointer("/privacy/text").is_none() {
        remove(document, "", "privacy");
    }
}

fn remove(document: &mut Value, object: &str, name: &str) {
    let object = document.pointer_mut(object).and_then(Value::as_object_mut);
    if let Some(object) = object {
        object.remove(name);
    }
}

/// The entries that make a document.
#[must_use]
pub fn study_entries(document: &Value) -> StudyEntries {
    let mut entries = StudyEntries::default();
    for field in STUDY_FIELDS {
        let found = document.pointer(&format!("/{}", field.place));
        entries.set(field.name, &found.map_or_else(String::new, text));
    }
    let left_out = |name| document.pointer(&format!("/protocol/{name}")).is_none();
    if left_out("adults_only") {
        entries.set("adults_only", "yes");
    }
    if left_out("session_minutes") {
        entries.set("session_minutes", &Protocol::SESSION_MINUTES.to_string());
    }
    if left_out("warm_up_minutes") {
        entries.set("warm_up_minutes", &Protocol::WARM_UP_MINUTES.to_string());
    }
    if left_out("release_rule") {
        entries.set("release_kind", NO_RULE);
    }
    if document.pointer("/privacy").is_none() {
        entries.set("privacy_version", FIRST_WORDING);
    }
    let outcomes = document.pointer("/protocol/primary");
    let outcomes = outcomes.and_then(Value::as_array).into_iter().flatten();
    for (number, outcome) in (1..).zip(outcomes) {
        for field in PRIMARY_FIELDS {
            let found = outcome.get(field.place);
            let found = found.map_or_else(String::new, text);
            entries.set(&primary_name(field, number), &found);
        }
    }
    entries
}

fn text(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Number(number) => shown(number).unwrap_or_default(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Array(items) => items.iter().map(text).collect::<Vec<_>>().join(" "),
        Value::Null | Value::Bool(false) | Value::Object(_) => String::new(),
    }
}

/// Faults of the document at the fields that made their places, in the order of the form.
#[must_use]
pub fn at_study_fields(entries: &StudyEntries, rejection: &Rejection) -> Vec<StudyFault> {
    let places = places(entries);
    let mut found: Vec<(usize, StudyFault)> = rejection
        .faults
        .iter()
        .map(|fault| at_field(fault, &places))
        .collect();
    found.sort_by_key(|(place, _)| *place);
    found.into_iter().map(|(_, fault)| fault).collect()
}

/// Every place of the document with the field that makes it, in the order of the form.
fn places(entries: &StudyEntries) -> Vec<(String, String)> {
    let fields = STUDY_FIELDS.iter();
    let mut places: Vec<(String, String)> = fields
        .map(|field| (format!("/{}", field.place), field.name.to_owned()))
        .collect();
    let mut primary = Vec::new();
    for (place, number) in numbers_in_use(entries).enumerate() {
        for field in PRIMARY_FIELDS {
            let pointer = format!("/protocol/primary/{place}/{}", field.place);
            primary.push((pointer, primary_name(field, number)));
        }
    }
    if primary.is_empty() {
        primary.push(("/protocol/primary".to_owned(), "outcome_1".to_owned()));
    }
    // They stand before the definition of deep.
    let before = STUDY_FIELDS
        .iter()
        .take_while(|field| field.part < crate::form::study::Part::Outcomes)
        .count();
    places.splice(before..before, primary);
    places
}

/// A fault at the field that made its place, a part of it, or the first field of it.
fn at_field(fault: &Fault, places: &[(String, String)]) -> (usize, StudyFault) {
    let is_inside = |inner: &str, outer: &str| {
        inner
            .strip_prefix(outer)
            .is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    };
    let mut numbered = places.iter().enumerate();
    let found = numbered
        .clone()
        .find(|(_, (place, _))| is_inside(&fault.pointer, place))
        .or_else(|| numbered.find(|(_, (place, _))| is_inside(place, &fault.pointer)));
    let place = found.map_or(usize::MAX, |(number, _)| number);
    let fault = StudyFault {
        field: found.map(|(_, (_, name))| name.clone()),
        sentence: fault.sentence.clone(),
    };
    (place, fault)
}

/// What a new study begins with: the default protocol, and texts to be read and changed. They are
/// those of the demonstration without what is true of that alone.
#[must_use]
pub fn new_study(demonstration: &Value) -> StudyEntries {
    let mut entries = study_entries(demonstration);
    for name in [
        "question",
        "study",
        "invented",
        "host_name",
        "contact",
        "privacy_text",
        "licence_name",
        "licence_url",
        "release_at_least",
    ] {
        entries.set(name, "");
    }
    for name in ["consent_version", "privacy_version"] {
        entries.set(name, FIRST_WORDING);
    }
    entries.set("release_kind", NO_RULE);
    let consent = entries.get("consent_text").to_owned();
    // The first paragraph says that everything is invented.
    if let Some((_, rest)) = consent.split_once("\n\n") {
        entries.set(
            "consent_text",
            &format!("Please read this before you send anything.\n\n{rest}"),
        );
    }
    entries
}

#[cfg(test)]
mod tests;
