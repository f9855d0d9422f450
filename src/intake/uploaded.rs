//! A file that somebody chose: a contribution as JSON, or single shots as CSV. Either becomes a
//! document without consent, which is given on the page that shows what was read.

use super::json;
use super::shots::shots;
use super::{Admitted, MOST_VALUES, Rejection, contribution};
use crate::protocol::Study;
use crate::vocabulary::ConsentScope;
use serde_json::{Map, Value, json};

/// A file that passed the door but for its consent.
#[derive(Clone, Debug, PartialEq)]
pub struct Uploaded {
    /// The contribution without consent.
    pub document: Value,
    /// What the door made of it.
    pub admitted: Admitted,
    /// What was left out and why, a sentence each; nothing of a JSON file.
    pub remarks: Vec<String>,
}

/// How a file is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Written {
    /// A contribution as JSON.
    Json,
    /// Single shots as CSV.
    Csv,
}

impl Written {
    /// How a file is written, by the first sign in it, or else by its name.
    #[must_use]
    pub fn of(bytes: &[u8], name: &str) -> Self {
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        let first = bytes.iter().find(|byte| !byte.is_ascii_whitespace());
        let is_named_json = name.to_ascii_lowercase().ends_with(".json");
        if matches!(first, Some(b'{' | b'[')) || is_named_json {
            Self::Json
        } else {
            Self::Csv
        }
    }
}

/// Reads a file for a study. A JSON file's own consent is put aside.
///
/// # Errors
/// A [`Rejection`] with every fault found: by line and column in CSV, by JSON Pointer in JSON.
pub fn read(bytes: &[u8], written: Written, study: &Study) -> Result<Uploaded, Rejection> {
    let (document, remarks) = match written {
        Written::Csv => {
            let shots = shots(bytes, study)?;
            (shots.document, shots.remarks)
        }
        Written::Json => {
            let mut document = json::parse(bytes, MOST_VALUES)?;
            if let Some(fields) = document.as_object_mut() {
                fields.shift_remove("consent");
            }
            (document, Vec::new())
        }
    };
    Ok(Uploaded {
        admitted: checked(&document, study)?,
        document,
        remarks,
    })
}

/// Holds a document against every rule as if consent had been given.
///
/// # Errors
/// A [`Rejection`] with every fault found.
pub(super) fn checked(document: &Value, study: &Study) -> Result<Admitted, Rejection> {
    let consented = with_consent(document, study, ConsentScope::Pooling, true);
    contribution(consented.to_string().as_bytes(), study)
}

/// The document with a consent to the study's text in force. What is no object is left as it is.
#[must_use]
pub fn with_consent(document: &Value, study: &Study, scope: ConsentScope, adult: bool) -> Value {
    let mut consent = Map::new();
    let version = &study.protocol.consent.version;
    consent.insert("text_version".to_owned(), json!(version));
    if adult {
        consent.insert("adult".to_owned(), json!(true));
    }
    consent.insert("scope".to_owned(), json!(scope.code()));
    let mut document = document.clone();
    if let Some(fields) = document.as_object_mut() {
        fields.insert("consent".to_owned(), Value::Object(consent));
    }
    document
}

/// Puts a text at a field of the document, or at a field of an object in it; an empty one takes
/// the field away.
fn put(fields: &mut Map<String, Value>, name: &str, value: Option<Value>) {
    match value {
        Some(value) => {
            fields.insert(name.to_owned(), value);
        }
        None => {
            fields.shift_remove(name);
        }
    }
}

/// The document under a plan, or under none.
pub fn set_plan_code(document: &mut Value, plan_code: Option<&str>) {
    if let Some(fields) = document.as_object_mut() {
        put(fields, "plan_code", plan_code.map(|code| json!(code)));
    }
}

/// The document with the player's level, or without one.
pub fn set_itn(document: &mut Value, itn: Option<i64>) {
    let Some(fields) = document.as_object_mut() else {
        return;
    };
    let mut player = match fields.get("player") {
        Some(Value::Object(player)) => player.clone(),
        _ => Map::new(),
    };
    put(&mut player, "itn", itn.map(|itn| json!(itn)));
    let player = (!player.is_empty()).then_some(Value::Object(player));
    put(fields, "player", player);
}
