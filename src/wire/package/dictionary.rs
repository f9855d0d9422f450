//! What the schema of the download says of a figure: its meaning in words, its type and its bounds.

use crate::intake::schema::Schema;
use serde_json::{Map, Value};

/// Keywords of JSON Schema that Table Schema has under the same name with the same meaning
/// (Data Package v2, Table Schema, "Field Constraints").
const BOUNDS: &[&str] = &[
    "minimum",
    "maximum",
    "exclusiveMinimum",
    "exclusiveMaximum",
    "minLength",
    "maxLength",
    "pattern",
];

/// The schema of the download.
pub(super) struct Dictionary(Value);

/// What is said of one figure.
pub(super) struct Entry {
    /// In one or more sentences.
    pub(super) description: String,
    /// A type of Table Schema.
    pub(super) kind: &'static str,
    /// Constraints of Table Schema.
    pub(super) constraints: Map<String, Value>,
}

impl Dictionary {
    pub(super) fn new() -> Self {
        // The text is embedded; tests read every schema.
        Self(serde_json::from_str(Schema::Aggregate.text()).unwrap_or_default())
    }

    /// The fields of a definition, in their published order.
    pub(super) fn fields(&self, definition: &str) -> Vec<String> {
        let required = self.0.pointer(&format!("/$defs/{definition}/required"));
        let names = required.and_then(Value::as_array).into_iter().flatten();
        names
            .filter_map(|name| Some(name.as_str()?.to_owned()))
            .collect()
    }

    /// What a definition itself is.
    pub(super) fn of_definition(&self, definition: &str) -> String {
        let said = self.0.pointer(&format!("/$defs/{definition}/description"));
        said.and_then(Value::as_str).unwrap_or_default().to_owned()
    }

    /// Whether a figure is a number.
    pub(super) fn is_number(&self, definition: &str, at: &str) -> bool {
        let kind = self.entry(definition, at).map(|entry| entry.kind);
        matches!(kind, Some("number" | "integer"))
    }

    /// What is said of a figure of a definition; `None` when the schema has no such place.
    pub(super) fn entry(&self, definition: &str, at: &str) -> Option<Entry> {
        let mut node = self.0.get("$defs")?.get(definition)?;
        let mut said: Vec<&str> = Vec::new();
        let mut of_target = None;
        let mut can_be_null = false;
        for name in at.split('/').skip(1) {
            let place = node.get("properties")?.get(name)?;
            // What holds a figure is told shortly: when it is null as a whole is seen in the table.
            if let Some(holder) = said.last_mut() {
                *holder = before_null(holder);
            }
            said.extend(place.get("description").and_then(Value::as_str));
            node = self.resolved(place)?;
            of_target = place
                .get("$ref")
                .and_then(|_| node.get("description")?.as_str());
            can_be_null |= is_nullable(node);
        }
        let path = capitalised(&said.join(": "));
        let sentences = [Some(path.as_str()), of_target].into_iter().flatten();
        let sentences: Vec<String> = sentences.map(sentence).collect();
        Some(Entry {
            description: sentences.join(" "),
            kind: kind(node),
            constraints: constraints(node, can_be_null),
        })
    }

    /// What a place refers to, or the place itself.
    fn resolved<'a>(&'a self, place: &'a Value) -> Option<&'a Value> {
        match place.get("$ref").and_then(Value::as_str) {
            Some(target) => self.0.pointer(target.strip_prefix('#')?),
            None => Some(place),
        }
    }
}

/// A description without when what it describes is null.
fn before_null(description: &str) -> &str {
    let before = description.split_once("; null").map(|(before, _)| before);
    before.unwrap_or(description)
}

/// The types that a place allows.
fn types(node: &Value) -> Vec<&str> {
    match node.get("type") {
        Some(Value::String(one)) => vec![one],
        Some(Value::Array(several)) => several.iter().filter_map(Value::as_str).collect(),
        _ => Vec::new(),
    }
}

fn is_nullable(node: &Value) -> bool {
    let of_list = node.get("enum").and_then(Value::as_array);
    let of_list = of_list.is_some_and(|words| words.iter().any(Value::is_null));
    of_list || types(node).contains(&"null")
}

/// The type as Table Schema has it; closed lists of words have none in the schema and are texts.
fn kind(node: &Value) -> &'static str {
    let types = types(node);
    let known = ["integer", "number", "boolean"];
    let found = known.into_iter().find(|known| types.contains(known));
    found.unwrap_or("string")
}

fn constraints(node: &Value, can_be_null: bool) -> Map<String, Value> {
    let mut constraints = Map::new();
    if !can_be_null {
        constraints.insert("required".to_owned(), Value::Bool(true));
    }
    for bound in BOUNDS {
        if let Some(value) = node.get(*bound) {
            constraints.insert((*bound).to_owned(), value.clone());
        }
    }
    if let Some(words) = node.get("enum").and_then(Value::as_array) {
        let words = words.iter().filter(|word| !word.is_null()).cloned();
        constraints.insert("enum".to_owned(), words.collect());
    }
    constraints
}

/// A text with a capital first letter.
pub(super) fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

/// A text that ends as a sentence.
fn sentence(text: &str) -> String {
    if text.ends_with('.') {
        text.to_owned()
    } else {
        format!("{text}.")
    }
}
