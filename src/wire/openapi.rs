//! The data interface as an `OpenAPI` 3.1 document (OpenAPI Specification 3.1.1, 2024).
//!
//! What can be done is told by a table kept by hand (`operations`), which a test holds against the
//! routes of the program; the shape of documents is made from the schema files (`embedded`), so
//! that it cannot differ from them. The page for people is made from the document (`outline`).
//!
//! Not in it: pages for people, and what only browsers that show them ask for. A status is told for
//! each operation by kinds of problems; which status a kind has is handed in.

mod answers;
mod embedded;
mod operations;
mod outline;
#[expect(unreachable_pub, reason = "the macro of word lists makes public ones")]
mod parameters;

pub use outline::{Answer, Described, Group, Outline, Parameter, outline};

use crate::findings::query;
use crate::wire::problem::ProblemKind;
use operations::{Operation, operations};
use serde_json::{Map, Value, json};

/// What every reader should know, in paragraphs of plain text.
const ABOUT: &str = "Everything here can be read without an account. Contributing needs none either: the reply to a first contribution has a receipt, and whoever sends it in the Authorization header can read, mend and withdraw what they sent.

Documents are JSON, and each holds to a published schema, which is also a file of its own under /schema/. A figure that cannot be given is null, with the reason beside it. A difference is always looser minus tighter.

Errors are problem documents (RFC 9457). Their type is the address of an explanation, and their list of faults names everything that is to be mended, each with its place. Another method than those described is refused with 405 and the header Allow; every address that takes GET takes HEAD.

Public documents have a strong entity tag: send it in If-None-Match, and the answer is 304 as long as nothing has changed. They are compressed with gzip for whoever accepts it, and a compressed body has a tag of its own. Pages of other origins may read them (CORS); nothing that takes a receipt is open to them.

How many requests a client makes in a minute is limited. The header RateLimit-Policy tells the limit, and RateLimit what is left of it (draft-ietf-httpapi-ratelimit-headers-10). Whoever goes on all the same gets 429 and, in Retry-After, the seconds to wait.";

/// Groups of operations, in the order in which they are told.
const TAGS: &[(&str, &str)] = &[
    (
        "Studies",
        "What is studied, by which rules, and what has been found so far.",
    ),
    (
        "Releases",
        "What has been published for good. A release never changes.",
    ),
    ("Plans", "Drawing an order of play by lot before hitting."),
    (
        "Contributions",
        "Sending sessions, and what the holder of a receipt may do with them.",
    ),
    (
        "Pictures and files",
        "Pictures that pages elsewhere may show, and a table to fill in.",
    ),
    (
        "Service",
        "The service itself: whether it answers, its schemas, this description.",
    ),
];

/// The document. `status` says which status goes with a kind of problem.
#[must_use]
pub fn document(status: impl Fn(ProblemKind) -> u16) -> Value {
    let operations = operations();
    let mut paths = Map::new();
    for operation in &operations {
        let path = paths
            .entry(operation.path.as_str())
            .or_insert_with(|| json!({}));
        if let Some(path) = path.as_object_mut() {
            path.insert(operation.method.to_owned(), described(operation, &status));
        }
    }
    let tags: Vec<Value> = TAGS
        .iter()
        .map(|(name, words)| json!({"name": name, "description": words}))
        .collect();
    json!({
        "openapi": "3.1.1",
        "info": {
            "title": "Tautpool data interface",
            "version": "1",
            "summary": "Pooled racquet sessions from many players: does a looser string bed hit faster and deeper, and what does it cost in control?",
            "description": ABOUT,
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "servers": [{"url": "/", "description": "the service that this document was fetched from"}],
        "tags": tags,
        "paths": paths,
        "components": {
            "parameters": parameters::components(&operations),
            "headers": answers::headers(),
            "responses": answers::problems(&operations, &status),
            "securitySchemes": {
                "receipt": {
                    "type": "http",
                    "scheme": "Receipt",
                    "description": "Authorization: Receipt, a space, and the receipt as it was given. Groups and capitals do not matter.",
                },
            },
            "schemas": embedded::schemas(&operations),
        },
    })
}

fn described(operation: &Operation, status: impl Fn(ProblemKind) -> u16) -> Value {
    let mut described = Map::new();
    let mut put = |name: &str, value: Value| {
        described.insert(name.to_owned(), value);
    };
    put("operationId", json!(operation.id));
    put("tags", json!([operation.tag]));
    put("summary", json!(operation.summary));
    put("description", json!(operation.description));
    let own = operation.parameters.iter();
    let own = own.map(|parameter| parameter.code().to_owned());
    let parts = query::Parameter::ALL.iter().filter(|_| operation.asks);
    let parts = parts.map(|part| parameters::name_of(*part));
    let parameters: Vec<Value> = own
        .chain(parts)
        .map(|name| json!({"$ref": format!("#/components/parameters/{name}")}))
        .collect();
    put("parameters", json!(parameters));
    if let Some(schema) = operation.body {
        put(
            "requestBody",
            json!({
                "required": true,
                "content": {"application/json": {"schema": embedded::reference(schema)}},
            }),
        );
    }
    if let Some(security) = operation.receipt.security() {
        put("security", security);
    }
    let responses = answers::responses(operation, status);
    put("responses", Value::Object(responses));
    Value::Object(described)
}

#[cfg(test)]
mod tests;
