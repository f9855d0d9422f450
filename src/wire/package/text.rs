//! Tables as text. A number stands in a cell as it stands in the JSON, to the last digit.

use super::columns::{BETWEEN_ITEMS, Column};
use csv::{QuoteStyle, Terminator, WriterBuilder};
use serde_json::{Map, Value};
use std::fmt;

/// First characters that make spreadsheet programs take a text for a formula (OWASP, "CSV
/// Injection"; the wide forms of Japanese keyboards among them), and the apostrophe itself.
const DANGEROUS: &[char] = &[
    '=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠', '\'',
];

/// Lines that are put together before they are written.
const LINES_AT_ONCE: usize = 1_000;

/// A header and each line, as RFC 4180 has it: CRLF behind every line, quotes where needed.
pub(super) fn csv(
    out: &mut dyn fmt::Write,
    columns: &[Column],
    lines: impl Iterator<Item = Map<String, Value>>,
) -> fmt::Result {
    let header: Vec<String> = columns.iter().map(|column| column.name.clone()).collect();
    let lines = lines.map(|line| line.values().map(cell).collect());
    let mut lines = std::iter::once(header).chain(lines).peekable();
    while lines.peek().is_some() {
        out.write_str(&records(lines.by_ref().take(LINES_AT_ONCE)))?;
    }
    Ok(())
}

#[expect(
    clippy::expect_used,
    reason = "writing to memory does not fail, and every line has every column"
)]
fn records(lines: impl Iterator<Item = Vec<String>>) -> String {
    let mut writer = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .quote_style(QuoteStyle::Necessary)
        .from_writer(Vec::new());
    for line in lines {
        writer.write_record(&line).expect("a line can be written");
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

/// One object a line; a line feed behind every one.
pub(super) fn ndjson(
    out: &mut dyn fmt::Write,
    lines: impl Iterator<Item = Map<String, Value>>,
) -> fmt::Result {
    for line in lines {
        writeln!(out, "{}", Value::Object(line))?;
    }
    Ok(())
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
