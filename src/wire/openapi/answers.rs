//! What operations answer: documents, files, problems, and the headers that go with them.

use super::embedded;
use super::operations::{Content, Operation, Reading, Receipt};
use crate::wire::package::{CSV, DESCRIPTOR, NDJSON};
use crate::wire::problem::ProblemKind;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// The media type of problems.
const PROBLEM: &str = "application/problem+json";

/// Headers by their names, with what they say, an example, and whether an answer always has it.
const HEADERS: &[(&str, &str, &str, bool)] = &[
    (
        "Request-Id",
        "identifier of this request, as in the service’s log",
        "3f6c2a58-4b0f-4c57-9a53-1f0f6f4f7a11",
        true,
    ),
    (
        "ETag",
        "strong entity tag of this form of the body",
        "\"0f3a-gzip\"",
        true,
    ),
    (
        "Vary",
        "the form depends on what the client accepts",
        "accept-encoding",
        false,
    ),
    (
        "Accept-Ranges",
        "pieces of this file can be asked for",
        "bytes",
        true,
    ),
    (
        "Content-Range",
        "which piece this is, and how long the file is; of a piece that is not there, the length alone",
        "bytes 0-999/5000",
        true,
    ),
    (
        "Content-Disposition",
        "the name of the file",
        "inline; filename=\"study-release-1.json\"",
        false,
    ),
    (
        "Repr-Digest",
        "SHA-256 of the file (RFC 9530), when it is sent as it is",
        "sha-256=:X48E9qOokqqrvdts8nOJRJN3OWDUoyWxBf7kbu9DBPE=:",
        false,
    ),
    (
        "Link",
        "where the next part of the list is (RFC 8288)",
        "</api/v1/studies?after=name>; rel=\"next\"",
        false,
    ),
    (
        "RateLimit-Policy",
        "how many requests a client may make in how many seconds; absent where there is no limit",
        "\"reading\";q=600;w=60",
        false,
    ),
    (
        "RateLimit",
        "how many are left, and in how many seconds all of them, or the next one, are there again",
        "\"reading\";r=599;t=1",
        false,
    ),
    ("Retry-After", "seconds after which to ask again", "1", true),
    (
        "WWW-Authenticate",
        "that a receipt is wanted",
        "Receipt",
        true,
    ),
];

/// The headers, described.
pub(super) fn headers() -> Map<String, Value> {
    let described = |(name, words, example, always): &(&str, &str, &str, bool)| {
        let header = json!({
            "description": words,
            "required": always,
            "schema": {"type": "string", "minLength": 1},
            "example": example,
        });
        ((*name).to_owned(), header)
    };
    HEADERS.iter().map(described).collect()
}

fn with(names: &[&str]) -> Value {
    let reference = |name: &&str| {
        let place = json!({"$ref": format!("#/components/headers/{name}")});
        ((*name).to_owned(), place)
    };
    Value::Object(names.iter().map(reference).collect())
}

/// Problems by their status.
fn by_status(
    operation: &Operation,
    status: impl Fn(ProblemKind) -> u16,
) -> BTreeMap<u16, Vec<ProblemKind>> {
    let mut found: BTreeMap<u16, Vec<ProblemKind>> = BTreeMap::new();
    for kind in operation.problems() {
        found.entry(status(kind)).or_default().push(kind);
    }
    found
}

/// The name of an answer with a problem of one of these kinds.
fn name(kinds: &[ProblemKind]) -> String {
    let codes: Vec<&str> = kinds.iter().map(|kind| kind.code()).collect();
    codes.join(".")
}

/// Answers with problems, each combination of kinds once.
pub(super) fn problems(
    operations: &[Operation],
    status: impl Fn(ProblemKind) -> u16,
) -> BTreeMap<String, Value> {
    let mut described = BTreeMap::new();
    for operation in operations {
        for (status, kinds) in by_status(operation, &status) {
            described
                .entry(name(&kinds))
                .or_insert_with(|| problem(status, &kinds));
        }
    }
    described
}

fn problem(status: u16, kinds: &[ProblemKind]) -> Value {
    let titles: Vec<String> = kinds
        .iter()
        .map(|kind| format!("{}.", kind.title()))
        .collect();
    let mut names = vec!["Request-Id"];
    match status {
        401 => names.push("WWW-Authenticate"),
        416 => names.push("Content-Range"),
        429 => names.extend(["Retry-After", "RateLimit-Policy", "RateLimit"]),
        503 => names.push("Retry-After"),
        _ => {}
    }
    json!({
        "description": titles.join(" "),
        "headers": with(&names),
        "content": {PROBLEM: {"schema": embedded::problem(kinds)}},
    })
}

/// Everything that an operation answers.
pub(super) fn responses(
    operation: &Operation,
    status: impl Fn(ProblemKind) -> u16,
) -> Map<String, Value> {
    let mut found: BTreeMap<u16, Value> = BTreeMap::new();
    let names = success_headers(operation);
    let success = json!({
        "description": operation.answers,
        "headers": with(&names),
        "content": content(&operation.content),
    });
    found.insert(operation.status, success);
    if operation.reading.is_some() {
        let validators = [
            "Request-Id",
            "ETag",
            "Vary",
            "RateLimit-Policy",
            "RateLimit",
        ];
        let words = "What you have is current.";
        found.insert(
            304,
            json!({"description": words, "headers": with(&validators)}),
        );
    }
    if operation.reading == Some(Reading::InPieces) {
        let piece: Vec<&str> = names.into_iter().chain(["Content-Range"]).collect();
        found.insert(
            206,
            json!({
                "description": "The piece that was asked for.",
                "headers": with(&piece),
                "content": pieces(&operation.content),
            }),
        );
    }
    if operation.id == "health" {
        let unwell = json!({
            "description": "The database does not answer.",
            "headers": with(&["Request-Id", "Retry-After"]),
            "content": content(&operation.content),
        });
        found.insert(503, unwell);
    }
    for (status, kinds) in by_status(operation, status) {
        let place = json!({"$ref": format!("#/components/responses/{}", name(&kinds))});
        found.insert(status, place);
    }
    let ordered = found.into_iter();
    ordered
        .map(|(status, answer)| (status.to_string(), answer))
        .collect()
}

fn success_headers(operation: &Operation) -> Vec<&'static str> {
    let mut names = vec!["Request-Id"];
    if operation.is_limited() {
        names.extend(["RateLimit-Policy", "RateLimit"]);
    }
    if operation.reading.is_some() {
        names.extend(["ETag", "Vary"]);
    }
    if operation.reading == Some(Reading::InPieces) {
        names.push("Accept-Ranges");
    }
    names.extend(operation.more_headers);
    names
}

fn content(content: &Content) -> Value {
    match content {
        Content::Document(schema) => {
            json!({"application/json": {"schema": embedded::reference(*schema)}})
        }
        Content::Description => json!({
            "application/json": {
                "schema": {"type": "object", "required": ["openapi", "info", "paths", "components"]},
            },
        }),
        Content::Schema => json!({
            "application/schema+json": {
                "schema": {"type": "object", "required": ["$schema", "$id", "title"]},
            },
        }),
        Content::Text {
            media_type,
            pattern,
        } => json!({
            *media_type: {"schema": {"type": "string", "pattern": pattern}},
        }),
        Content::Tables => json!({
            DESCRIPTOR: {"schema": {"type": "object"}},
            CSV: {"schema": {"type": "string", "minLength": 1}},
            NDJSON: {"schema": {"type": "string"}},
        }),
        Content::Pictures(media_types) => {
            let picture = |media_type: &&str| ((*media_type).to_owned(), json!({}));
            Value::Object(media_types.iter().map(picture).collect())
        }
    }
}

/// A piece of a document is a text, and no document.
fn pieces(whole: &Content) -> Value {
    let Value::Object(types) = content(whole) else {
        return Value::Null;
    };
    let types = types.into_iter();
    Value::Object(types.map(|(name, _)| (name, json!({}))).collect())
}

impl Receipt {
    /// Whether the receipt has to be sent; nothing where it is not looked at.
    pub(super) fn security(self) -> Option<Value> {
        match self {
            Self::None => None,
            Self::Optional => Some(json!([{}, {"receipt": []}])),
            Self::Needed => Some(json!([{"receipt": []}])),
        }
    }
}
