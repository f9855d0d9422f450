//! Tables as text. A number stands in a cell as it stands in the JSON, to the last digit.

use super::columns::{BETWEEN_ITEMS, Column};
use csv::{QuoteStyle, Terminator, WriterBuilder};
use serde_json::{Map, Value};

/// First characters that make spreadsheet programs take a text for a formula (OWASP, "CSV
/// Injection"; the wide forms of Japanese keyboards among them), and the apostrophe itself.
const DANGEROUS: &[char] = &[
    '=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠', '\'',
];

/// A header and a line for each entry, as RFC 4180 has it: CRLF behind every line, quotes where
/// needed.
pub(super) fn csv(columns: &[Column], lines: &[Map<String, Value>]) -> String {
    let mut writer = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .quote_style(QuoteStyle::Necessary)
        .from_writer(Vec::new());
    let header: Vec<String> = columns.iter().map(|column| column.name.clone()).collect();
    let lines = lines.iter().map(|line| line.values().map(cell).collect());
    #[expect(
        clippy::expect_used,
        reason = "writing to memory does not fail, and every line has every column"
    )]
    for line in std::iter::once(header).chain(lines) {
        writer.write_record(&line).expect("a line can be written");
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

/// One object a line; a line feed behind every one.
pub(super) fn ndjson(lines: &[Map<String, Value>]) -> String {
    let lines = lines.iter().cloned();
    let lines = lines.map(|line| format!("{}\n", Value::Object(line)));
    lines.collect()
}

fn cell(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => defended(text),
        Value::Array(items) => {
            let items: Vec<&str> = items.iter().filter_map(Value::as_str).collect();
            defended(&items.join(BETWEEN_ITEMS))
        }
        other => other.to_string(),
    }
}

/// A text that no spreadsheet takes for a formula: an apostrophe stands before a first character
/// that would make it one. It stands before an apostrophe too, so that dropping one apostrophe from
/// the beginning of a cell always gives the text back. Numbers never come here: a negative one is
/// no formula.
pub(super) fn defended(text: &str) -> String {
    if text.starts_with(DANGEROUS) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}
