//! Tables as text. A number stands in a cell as it stands in the JSON, to the last digit.

use super::columns::{BETWEEN_ITEMS, Column};
use csv::{QuoteStyle, Terminator, WriterBuilder};
use serde_json::{Map, Value};
use std::io::{self, Write};

/// First characters that make spreadsheet programs take a text for a formula (OWASP, "CSV
/// Injection"; the wide forms of Japanese keyboards among them), and the apostrophe itself.
const DANGEROUS: &[char] = &[
    '=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠', '\'',
];

/// A header and each line, as RFC 4180 has it: CRLF behind every line, quotes where needed.
pub(super) fn csv(
    out: &mut dyn Write,
    columns: &[Column],
    lines: impl Iterator<Item = Map<String, Value>>,
) -> io::Result<()> {
    let mut writer = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .quote_style(QuoteStyle::Necessary)
        .from_writer(out);
    writer.write_record(columns.iter().map(|column| &column.name))?;
    for line in lines {
        writer.write_record(line.values().map(cell))?;
    }
    writer.flush()
}

/// One object a line; a line feed behind every one.
pub(super) fn ndjson(
    out: &mut dyn Write,
    lines: impl Iterator<Item = Map<String, Value>>,
) -> io::Result<()> {
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
