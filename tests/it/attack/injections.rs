//! The corpus of injections, and the places that take a text: as the schemas tell them, so that no
//! new one is forgotten.

use serde_json::Value;
use std::collections::BTreeMap;
use tautpool::intake::schema::Schema;

/// What every injection of the corpus has in it somewhere that would run, load or say something.
const CORPUS: &str = include_str!(concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/fixtures/injections.json"
));

/// Every text of the corpus.
pub(crate) fn injections() -> Vec<String> {
    let kinds: BTreeMap<String, Vec<String>> = serde_json::from_str(CORPUS).unwrap();
    kinds.into_values().flatten().collect()
}

/// A place for a text that its writer chooses.
pub(super) struct TextPlace {
    /// As a JSON Pointer.
    pub(super) pointer: String,
    /// Whether a word of the program's own form is asked for: a short name, a code, a day.
    pub(super) is_formal: bool,
    pub(super) schema: Value,
}

/// Every place of a document that takes a text and not one of a list of words.
pub(super) fn text_places(schema: Schema) -> Vec<TextPlace> {
    let root: Value = serde_json::from_str(schema.text()).unwrap();
    let mut places = Vec::new();
    walk(&root, &root, String::new(), &mut places);
    places.sort_by(|a, b| a.pointer.cmp(&b.pointer));
    places.dedup_by(|a, b| a.pointer == b.pointer);
    places
}

fn walk(root: &Value, part: &Value, pointer: String, places: &mut Vec<TextPlace>) {
    if let Some(reference) = part["$ref"].as_str() {
        let definition = reference.strip_prefix('#').unwrap();
        walk(root, root.pointer(definition).unwrap(), pointer, places);
        return;
    }
    let is_text = part["type"] == "string";
    if is_text && part["enum"].is_null() && part["const"].is_null() {
        let pattern = part["pattern"].as_str().unwrap_or_default();
        places.push(TextPlace {
            pointer: pointer.clone(),
            is_formal: pattern.starts_with("^[a-z0-9]")
                || pattern.starts_with("^[0-9")
                || !part["format"].is_null(),
            schema: part.clone(),
        });
    }
    if let Some(fields) = part["properties"].as_object() {
        for (name, field) in fields {
            walk(root, field, format!("{pointer}/{name}"), places);
        }
    }
    if part["items"].is_object() {
        walk(root, &part["items"], format!("{pointer}/0"), places);
    }
    for kind in ["oneOf", "anyOf", "allOf"] {
        for option in part[kind].as_array().into_iter().flatten() {
            walk(root, option, pointer.clone(), places);
        }
    }
}

/// A text made of an injection that a place takes as far as its schema goes: cut to its length, and
/// an address where one is asked for.
pub(super) fn fitted(place: &TextPlace, injection: &str) -> String {
    let is_address = place.schema["pattern"]
        .as_str()
        .is_some_and(|pattern| pattern.starts_with("^https://"));
    let text = if is_address {
        format!("https://elsewhere.example/{injection}")
    } else {
        injection.to_owned()
    };
    let longest = place.schema["maxLength"].as_u64().unwrap_or(u64::MAX);
    let longest = usize::try_from(longest).unwrap_or(usize::MAX);
    text.chars().take(longest).collect()
}

/// Puts a text at a place, with the objects on the way there.
pub(super) fn put(document: &mut Value, pointer: &str, text: &str) {
    let mut at = document;
    for name in pointer.split('/').skip(1) {
        at = match name.parse::<usize>() {
            Ok(number) if at.is_array() => &mut at[number],
            _ => &mut at[name],
        };
    }
    *at = Value::String(text.to_owned());
}

#[test]
fn the_places_for_texts_are_found() {
    let found = |schema| {
        let places = text_places(schema);
        let free = places.into_iter().filter(|place| !place.is_formal);
        free.map(|place| place.pointer).collect::<Vec<String>>()
    };
    let free = found(Schema::Contribution);
    assert_eq!(
        free,
        ["/consent/text_version", "/note", "/setup/frame/label"]
    );
    let free = found(Schema::Study);
    for place in ["/question", "/contact", "/licence/url", "/protocol/caution"] {
        assert!(free.iter().any(|found| found == place), "{free:?}");
    }
    assert!(110 < injections().len());
}
