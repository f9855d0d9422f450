//! An answer as it arrives, held against the schemas and the list of headers.

use serde_json::Value;
use std::collections::BTreeSet;
use std::io::{self, BufRead, BufReader, Read};
use std::net::TcpStream;
use tautpool::intake::schema::Schema;

/// Every header that the service may send.
const HEADERS: &[&str] = &[
    "accept-ranges",
    "access-control-allow-headers",
    "access-control-allow-methods",
    "access-control-allow-origin",
    "access-control-expose-headers",
    "access-control-max-age",
    "allow",
    "cache-control",
    "connection",
    "content-disposition",
    "content-encoding",
    "content-length",
    "content-range",
    "content-security-policy",
    "content-type",
    "cross-origin-opener-policy",
    "cross-origin-resource-policy",
    "date",
    "etag",
    "link",
    "location",
    "permissions-policy",
    "ratelimit",
    "ratelimit-policy",
    "referrer-policy",
    "repr-digest",
    "request-id",
    "retry-after",
    "set-cookie",
    "strict-transport-security",
    "vary",
    "www-authenticate",
    "x-content-type-options",
    "x-robots-tag",
];

/// Headers of every answer by a handler, errors included.
const ALWAYS: &[&str] = &[
    "content-security-policy",
    "cross-origin-opener-policy",
    "cross-origin-resource-policy",
    "permissions-policy",
    "referrer-policy",
    "request-id",
    "x-content-type-options",
];

/// What is JSON of a kind without a schema of ours: its tests hold it against what it follows.
const NO_DOCUMENTS: &[&str] = &[
    "application/schema+json",
    "application/vnd.datapackage+json",
    "application/x-ndjson",
];

/// Reads one answer by its content length. `None` when the other side closes without a word.
pub(crate) fn read_answer(stream: &mut TcpStream) -> Option<Answer> {
    let mut reader = BufReader::new(stream);
    let mut head = Vec::new();
    loop {
        let mut line = String::new();
        match reader.read_line(&mut line) {
            Ok(0) => break,
            Ok(_) if line.trim_end().is_empty() => break,
            Ok(_) => head.push(line.trim_end().to_owned()),
            Err(error) if error.kind() == io::ErrorKind::ConnectionReset => break,
            Err(error) => panic!("the server fell silent: {error}"),
        }
    }
    let (first, fields) = head.split_first()?;
    let status = first.split(' ').nth(1).unwrap().parse().unwrap();
    let headers: Vec<(String, String)> = fields
        .iter()
        .map(|field| field.split_once(": ").unwrap())
        .map(|(name, value)| (name.to_ascii_lowercase(), value.to_owned()))
        .collect();
    let length = headers.iter().find(|(name, _)| name == "content-length");
    let length = length.map_or(0, |(_, value)| value.parse().unwrap());
    let mut body = Vec::new();
    reader.take(length).read_to_end(&mut body).unwrap();
    Some(Answer::checked(status, headers, body))
}

/// An answer that keeps to the schemas and to the list of headers.
pub(crate) struct Answer {
    pub(crate) status: u16,
    headers: Vec<(String, String)>,
    pub(crate) body: Vec<u8>,
}

impl Answer {
    pub(super) fn checked(status: u16, headers: Vec<(String, String)>, body: Vec<u8>) -> Self {
        let answer = Self {
            status,
            headers,
            body,
        };
        let names = answer.header_names();
        for name in &names {
            assert!(HEADERS.contains(name), "header {name} is not on the list");
        }
        // The one failure that a service may admit, and then it says when to come again.
        let is_unavailable = status == 503 && names.contains("retry-after");
        assert!(status < 500 || is_unavailable, "{}", answer.text());
        // What the HTTP parser itself refuses never reaches a handler.
        if names.contains("request-id") {
            for name in ALWAYS {
                assert!(names.contains(name), "{status} without {name}");
            }
            answer.check_policy();
        }
        let is_whole = status != 206 && !names.contains("content-encoding");
        if is_whole && !answer.body.is_empty() && answer.content_type().contains("json") {
            answer.check_document();
        }
        answer
    }

    /// Nothing inline, nothing from elsewhere, no frame.
    fn check_policy(&self) {
        let policy = self.header("content-security-policy");
        assert!(policy.starts_with("default-src 'none';"), "{policy}");
        for needed in ["base-uri 'none'", "frame-ancestors 'none'"] {
            assert!(policy.contains(needed), "{policy}");
        }
        for loose in ["unsafe", "*", "data:", "blob:", "http", "nonce", "'sha"] {
            assert!(!policy.contains(loose), "{policy}");
        }
        let is_page = self.content_type().starts_with("text/html");
        assert!(!is_page || policy.contains("script-src 'self'"), "{policy}");
    }

    /// No cache keeps it, the browser's own included.
    #[track_caller]
    pub(super) fn assert_kept_by_nobody(&self, is_gone_back_to: bool) {
        let kept = self.header("cache-control");
        let is_kept_for_going_back = is_gone_back_to && kept == "private, no-cache";
        assert!(
            kept == "no-store" || is_kept_for_going_back,
            "{kept}: {} {}",
            self.status,
            self.text()
        );
    }

    fn check_document(&self) {
        if NO_DOCUMENTS.contains(&self.content_type()) {
            return;
        }
        let document = self.json();
        let schema = match self.content_type() {
            // The description of the interface is no document of ours.
            "application/json" if document.get("openapi").is_some() => return,
            "application/json" => schema_of(&document),
            "application/problem+json" => {
                assert_eq!(document["status"], self.status);
                Schema::Problem
            }
            other => panic!("JSON as {other}"),
        };
        assert_valid(schema, &document);
    }

    pub(crate) fn header_names(&self) -> BTreeSet<&str> {
        self.headers.iter().map(|(name, _)| name.as_str()).collect()
    }

    /// A header; nothing when it is absent.
    pub(crate) fn header(&self, name: &str) -> &str {
        let found = self.headers.iter().find(|(known, _)| known == name);
        found.map_or("", |(_, value)| value)
    }

    pub(crate) fn content_type(&self) -> &str {
        self.header("content-type")
    }

    pub(crate) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub(crate) fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap()
    }

    /// The status, held against what a test expects; the body explains a difference.
    #[track_caller]
    pub(crate) fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}", self.text());
        self
    }

    /// The status of a problem document of this kind.
    #[track_caller]
    pub(crate) fn expect_problem(self, status: u16, kind: &str) -> Value {
        let answer = self.expect(status);
        assert_eq!(
            answer.content_type(),
            "application/problem+json",
            "{}",
            answer.text()
        );
        let problem = answer.json();
        assert_eq!(problem["type"], format!("/problems#{kind}"));
        let detail = problem["detail"].as_str().unwrap();
        let is_sentence = !detail.starts_with(char::is_lowercase) && detail.ends_with('.');
        assert!(is_sentence, "{detail}");
        problem
    }
}

/// The schema that a document names.
pub(crate) fn schema_of(document: &Value) -> Schema {
    let name = format!("{}.v1.schema.json", document["document"].as_str().unwrap());
    let mut all = Schema::ALL.iter();
    *all.find(|schema| schema.file_name() == name).unwrap()
}

#[track_caller]
pub(crate) fn assert_valid(schema: Schema, document: &Value) {
    let faults = schema.faults(document);
    assert!(faults.is_empty(), "{}: {faults:#?}", schema.file_name());
}
