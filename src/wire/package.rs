//! The download as tables: CSV (RFC 4180), NDJSON, and the descriptor of a Data Package.
//!
//! Everything is made from the entries of the aggregate document alone, so a table can say nothing that the JSON
//! does not. What a column means, its type and its bounds come from the schema of that document
//! (`schema/aggregate.v1.schema.json`), so each fact stands in one place; `columns` adds what the
//! schema has no word for: which figures become columns, and their units as UCUM codes.
//!
//! Absent on purpose: hashes, which the caller makes of the bytes and hands to [`descriptor()`].

mod columns;
mod descriptor;
mod dictionary;
mod text;

pub use descriptor::{About, Edition, FileFacts, descriptor};

use super::aggregate;
use crate::findings::Publication;
use columns::Column;
use dictionary::Dictionary;
use serde_json::{Map, Value};
use std::fmt;

/// One table of the download.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Table {
    /// One line for each published effect.
    Rows,
    /// One line for each band, outcome and shot class.
    Pooled,
    /// One line for each rounded figure over every counted player.
    Everybody,
}

impl Table {
    /// Every table, in the order of the descriptor.
    pub const ALL: &'static [Self] = &[Self::Rows, Self::Pooled, Self::Everybody];

    /// Its name, the first part of its files' names.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rows => "rows",
            Self::Pooled => "pooled",
            Self::Everybody => "everybody",
        }
    }

    /// The field of the aggregate document that lists its lines.
    const fn list(self) -> &'static str {
        match self {
            Self::Rows => "rows",
            Self::Pooled => "analyses",
            Self::Everybody => "everybody",
        }
    }

    /// What the schema calls one line.
    const fn definition(self) -> &'static str {
        match self {
            Self::Rows => "row",
            Self::Pooled => "analysis",
            Self::Everybody => "everybody",
        }
    }
}

/// How a table is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Comma-separated values with a header (RFC 4180).
    Csv,
    /// One JSON object a line.
    Ndjson,
}

impl Format {
    /// Both formats.
    pub const ALL: &'static [Self] = &[Self::Csv, Self::Ndjson];

    /// The extension of its files.
    #[must_use]
    pub const fn extension(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Ndjson => "ndjson",
        }
    }

    /// Its media type without parameters.
    #[must_use]
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::Csv => "text/csv",
            Self::Ndjson => NDJSON,
        }
    }
}

/// What IANA registered for the descriptor of a Data Package.
pub const DESCRIPTOR: &str = "application/vnd.datapackage+json";
/// RFC 4180, section 3, has the parameter.
pub const CSV: &str = "text/csv; charset=utf-8; header=present";
/// Common practice, not registered.
pub const NDJSON: &str = "application/x-ndjson";

/// One file of the package.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum File {
    /// `datapackage.json`.
    Descriptor,
    /// A table.
    Table(Table, Format),
}

impl File {
    /// Every file, the descriptor first.
    #[must_use]
    pub fn all() -> Vec<Self> {
        let of_table = |table| move |format: &Format| Self::Table(table, *format);
        let tables = Table::ALL.iter();
        let tables = tables.flat_map(|table| Format::ALL.iter().map(of_table(*table)));
        std::iter::once(Self::Descriptor).chain(tables).collect()
    }

    /// Its name, the last part of its address.
    #[must_use]
    pub fn name(self) -> String {
        match self {
            Self::Descriptor => "datapackage.json".to_owned(),
            Self::Table(table, format) => format!("{}.{}", table.name(), format.extension()),
        }
    }

    /// Its media type as it is sent.
    #[must_use]
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::Descriptor => DESCRIPTOR,
            Self::Table(_, Format::Csv) => CSV,
            Self::Table(_, Format::Ndjson) => NDJSON,
        }
    }

    /// The file of a name.
    #[must_use]
    pub fn of_name(name: &str) -> Option<Self> {
        Self::all().into_iter().find(|file| file.name() == name)
    }
}

/// The entries that a table has a line for. `head` is the aggregate document, which need not have
/// rows: they are taken from the publication, one at a time.
pub fn entries<'a>(
    table: Table,
    head: &'a Value,
    publication: &'a Publication,
) -> Box<dyn Iterator<Item = Value> + 'a> {
    if table == Table::Rows {
        let rows = publication.rows.iter();
        return Box::new(rows.map(|row| aggregate::row(&row, &publication.frames)));
    }
    let listed = head.get(table.list()).and_then(Value::as_array);
    Box::new(listed.into_iter().flatten().cloned())
}

/// Writes a table as one format has it: UTF-8 without a byte order mark.
///
/// # Errors
/// Those of `out`.
pub fn write(
    out: &mut dyn fmt::Write,
    entries: impl Iterator<Item = Value>,
    table: Table,
    format: Format,
) -> fmt::Result {
    let columns = columns::of(table, &Dictionary::new());
    let lines = entries.map(|entry| line(&entry, &columns));
    match format {
        Format::Csv => text::csv(out, &columns, lines),
        Format::Ndjson => text::ndjson(out, lines),
    }
}

/// A line of a table, with every column under its name.
fn line(entry: &Value, columns: &[Column]) -> Map<String, Value> {
    let cells = columns.iter();
    let cells = cells.map(|column| (column.name.clone(), column.cell(entry, columns)));
    cells.collect()
}

#[cfg(test)]
mod tests;
