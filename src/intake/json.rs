//! Strict JSON (RFC 8259): UTF-8, bounded depth, finite numbers, no repeated key.
//!
//! `serde_json` keeps the last of two equal keys without a word; a contributor who pasted a line
//! twice would lose one of them. Here every repeated key is a fault with its place.

use super::fault::{Fault, FaultCode, Rejection, RejectionKind};
use serde::de::{DeserializeSeed, Error as _, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Value};
use std::cell::{Cell, RefCell};
use std::fmt;

/// Longest token of a pointer that is repeated in full. No field of any schema is half as long.
const LONGEST_TOKEN: usize = 80;

/// What a document with too many values fails with, inside this module.
const TOO_MANY_VALUES: &str = "too many values";

/// Reads one JSON document of at most so many values, so that the work on it, and the list of its
/// faults, stays bounded by more than its bytes.
///
/// # Errors
/// A malformed [`Rejection`] that names the byte, the line and column, or the repeated keys.
pub fn parse(bytes: &[u8], most_values: usize) -> Result<Value, Rejection> {
    // RFC 8259, section 8.1, lets a reader pass over a byte order mark.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let text = std::str::from_utf8(bytes).map_err(|error| {
        Rejection::malformed(
            String::new(),
            FaultCode::NotUtf8,
            format!(
                "The text is not UTF-8 from byte {} on: save or send it as UTF-8.",
                error.valid_up_to() + 1
            ),
        )
    })?;
    let repeated = RefCell::new(Vec::new());
    let values_left = Cell::new(most_values);
    let mut deserializer = serde_json::Deserializer::from_str(text);
    let value = Place {
        inside: None,
        repeated: &repeated,
        values_left: &values_left,
    }
    .deserialize(&mut deserializer)
    .and_then(|value| deserializer.end().map(|()| value))
    .map_err(|error| syntax(&error, most_values))?;
    let mut faults = repeated.into_inner();
    if faults.is_empty() {
        return Ok(value);
    }
    faults.sort();
    faults.dedup();
    Err(Rejection::new(RejectionKind::Malformed, faults))
}

/// A text as it may be repeated to its sender: short, on one line.
pub(super) fn shorten(text: &str) -> String {
    const LONGEST: usize = 40;
    let mut short: String = text
        .chars()
        .take(LONGEST)
        .flat_map(char::escape_debug)
        .collect();
    if LONGEST < text.chars().count() {
        short.push('…');
    }
    short
}

/// Appends one reference token to a pointer, escaped as RFC 6901 says. A token longer than any
/// field's name is cut, since it would be repeated in every fault below it.
pub(super) fn pointer_to(parent: &str, token: &str) -> String {
    if token.len() <= LONGEST_TOKEN && !token.contains(['~', '/']) {
        // As every field of every schema: this is asked for each place that is looked at.
        return [parent, "/", token].concat();
    }
    let escaped = token.replace('~', "~0").replace('/', "~1");
    match escaped.char_indices().nth(LONGEST_TOKEN) {
        Some((end, _)) => format!("{parent}/{}…", escaped.get(..end).unwrap_or_default()),
        None => format!("{parent}/{escaped}"),
    }
}

fn syntax(error: &serde_json::Error, most_values: usize) -> Rejection {
    let text = error.to_string();
    if text.contains(TOO_MANY_VALUES) {
        return Rejection::malformed(
            String::new(),
            FaultCode::TooMany,
            format!(
                "The document holds more than {most_values} values; a full contribution holds about 2500."
            ),
        );
    }
    if text.contains("recursion limit") {
        return Rejection::malformed(
            String::new(),
            FaultCode::TooDeep,
            format!(
                "Arrays and objects are nested deeper than 127 levels at line {}, column {}: a contribution needs six.",
                error.line(),
                error.column()
            ),
        );
    }
    Rejection::malformed(
        String::new(),
        FaultCode::NotJson,
        format!(
            "The text is not JSON: {text}. Numbers are plain decimals; NaN and Infinity do not exist."
        ),
    )
}

/// A place in the document that is about to be read.
struct Place<'a> {
    /// What it stands in, and where in that. Pointers are put together for faults alone.
    inside: Option<(&'a Place<'a>, Token<'a>)>,
    repeated: &'a RefCell<Vec<Fault>>,
    values_left: &'a Cell<usize>,
}

/// Where something stands in what it is a part of.
#[derive(Clone, Copy)]
enum Token<'a> {
    Key(&'a str),
    Item(usize),
}

impl Place<'_> {
    fn inside<'b>(&'b self, token: Token<'b>) -> Place<'b> {
        Place {
            inside: Some((self, token)),
            repeated: self.repeated,
            values_left: self.values_left,
        }
    }

    fn pointer(&self) -> String {
        match self.inside {
            None => String::new(),
            Some((place, Token::Key(key))) => pointer_to(&place.pointer(), key),
            Some((place, Token::Item(idx))) => pointer_to(&place.pointer(), &idx.to_string()),
        }
    }
}

impl<'de> DeserializeSeed<'de> for Place<'_> {
    type Value = Value;

    fn deserialize<D: serde::Deserializer<'de>>(self, deserializer: D) -> Result<Value, D::Error> {
        let left = self.values_left.get().checked_sub(1);
        self.values_left
            .set(left.ok_or_else(|| D::Error::custom(TOO_MANY_VALUES))?);
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Place<'_> {
    type Value = Value;

    fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("a JSON value")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_f64<E: serde::de::Error>(self, value: f64) -> Result<Value, E> {
        serde_json::Number::from_f64(value)
            .map(Value::Number)
            .ok_or_else(|| E::custom("number out of range"))
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_string<E>(self, value: String) -> Result<Value, E> {
        Ok(Value::String(value))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut access: A) -> Result<Value, A::Error> {
        let mut items = Vec::new();
        while let Some(item) = access.next_element_seed(self.inside(Token::Item(items.len())))? {
            items.push(item);
        }
        Ok(Value::Array(items))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<Value, A::Error> {
        let mut fields = Map::new();
        while let Some(key) = access.next_key::<String>()? {
            let value = access.next_value_seed(self.inside(Token::Key(&key)))?;
            if fields.contains_key(&key) {
                let pointer = self.inside(Token::Key(&key)).pointer();
                self.repeated
                    .try_borrow_mut()
                    .map_err(A::Error::custom)?
                    .push(Fault::new(
                        pointer,
                        FaultCode::DuplicateKey,
                        format!(
                            "The key `{}` stands twice in one object: keep one of them.",
                            shorten(&key)
                        ),
                    ));
            }
            fields.insert(key, value);
        }
        Ok(Value::Object(fields))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn only_code(bytes: &[u8]) -> (String, FaultCode) {
        let rejection = parse(bytes, 1000).unwrap_err();
        assert_eq!(rejection.faults.len(), 1);
        let fault = rejection.faults[0].clone();
        (fault.pointer, fault.code)
    }

    #[test]
    fn every_way_of_not_being_json_has_its_code() {
        assert_eq!(only_code(b"{\"a\": \xff}").1, FaultCode::NotUtf8);
        for text in ["", "{", "{\"a\": NaN}", "{\"a\": 1e999}", "{} {}", "[1,]"] {
            assert_eq!(only_code(text.as_bytes()).1, FaultCode::NotJson, "{text}");
        }
        let deep = "[".repeat(100_000);
        assert_eq!(only_code(deep.as_bytes()).1, FaultCode::TooDeep);
    }

    #[test]
    fn a_byte_order_mark_is_passed_over() {
        assert!(parse(b"\xef\xbb\xbf{}", 1000).unwrap().is_object());
    }

    #[test]
    fn repeated_keys_are_named_by_place() {
        let (pointer, code) = only_code(br#"{"x": [{"a/b": 1, "a/b": 2}]}"#);
        assert_eq!(
            (pointer.as_str(), code),
            ("/x/0/a~1b", FaultCode::DuplicateKey)
        );
    }

    #[test]
    fn values_are_counted_and_long_keys_are_cut() {
        assert!(parse(b"[1,2]", 3).is_ok());
        assert_eq!(
            only_code(format!("[{}1]", "1,".repeat(1000)).as_bytes()).1,
            FaultCode::TooMany
        );
        let key = "k".repeat(500);
        let (pointer, _) = only_code(format!(r#"{{"{key}": 1, "{key}": 2}}"#).as_bytes());
        assert!(pointer.len() < 100, "{pointer}");
    }

    #[test]
    fn reads_what_serde_json_reads() {
        let text = r#"{"a": [1, -2, 3.25, true, null, "x\u00e9"], "b": {}}"#;
        let expected: Value = serde_json::from_str(text).unwrap();
        assert_eq!(parse(text.as_bytes(), 1000).unwrap(), expected);
    }
}
