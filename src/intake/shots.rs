//! Shot by shot: a CSV of single shots (RFC 4180) to the contribution that sums it up.
//!
//! One line is one shot, in the order played; the columns are those of [`Column`], in any order,
//! named in the first line. Columns are separated by commas, or by semicolons as spreadsheets of
//! many countries write them, and then decimals may have a comma. Every bad cell is named by line
//! and column, all at once, and nothing is guessed: a cell is taken as it stands or faulted.
//!
//! Speeds are whole numbers of hundredths, so their sums are exact in integers: mean, standard
//! deviation (divisor n - 1) and lag-1 autocorrelation are rounded once, to hundredths, a half to
//! the even digit ([`moments`]). Shares are counts. What comes out is a document like any other,
//! without consent; it has passed the door with a consent for the time being, and what the door
//! found is told at the lines it comes from.

mod cells;
mod columns;
mod decimal;
mod door;
pub mod moments;
mod summary;
mod template;

pub use columns::Column;
pub use template::template;

use super::fault::{Fault, FaultCode, Rejection, RejectionKind};
use super::lines::Lines;
use crate::protocol::Study;
use cells::Reading;
use columns::Header;
use csv::{ReaderBuilder, StringRecord, Trim};
use serde_json::Value;

/// Most shots of a file: the most that one shot line of a contribution may count.
pub const MOST_SHOTS: usize = 10_000;

/// Most bytes of a file, as of a contribution.
pub const MOST_BYTES: usize = crate::protocol::limits::BODY_BYTES;

/// The bytes that a zip archive begins with (PKWARE's APPNOTE, section 4.3.7; from memory), and so
/// the files that spreadsheets keep for themselves.
const ZIP: &[u8] = b"PK\x03\x04";

/// A file of single shots, summed up.
#[derive(Clone, Debug, PartialEq)]
pub struct Shots {
    /// The contribution, without its consent.
    pub document: Value,
    /// What was left out of it and why, a sentence each.
    pub remarks: Vec<String>,
}

/// Reads a file of single shots and sums it up for a study.
///
/// # Errors
/// A [`Rejection`] whose places read `line 3, column speed`, or `line 3` where no one column is
/// meant.
pub fn shots(bytes: &[u8], study: &Study) -> Result<Shots, Rejection> {
    if MOST_BYTES < bytes.len() {
        return Err(unreadable(
            FaultCode::TooLong,
            format!("The file is larger than {MOST_BYTES} bytes; send fewer sessions at a time."),
        ));
    }
    if bytes.starts_with(ZIP) {
        return Err(unreadable(
            FaultCode::WrongForm,
            "This is a spreadsheet's own format; save the sheet as CSV and choose that file."
                .to_owned(),
        ));
    }
    // A byte order mark belongs to the file, not to the name of its first column.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let semicolons = has_semicolons(bytes);
    let mut reader = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(if semicolons { b';' } else { b',' })
        .trim(Trim::All)
        .from_reader(bytes);
    let mut lines = Lines::of(bytes);
    let mut records = reader.records();
    let first = match records.next() {
        None => {
            return Err(unreadable(
                FaultCode::Missing,
                "The file is empty; its first line must name the columns.".to_owned(),
            ));
        }
        Some(Err(error)) => return Err(malformed(&error, &mut lines)),
        Some(Ok(first)) => first,
    };
    let header_line = lines.of_record(&first);
    let header = Header::read(&first, header_line)?;
    let mut reading = Reading::new(header, semicolons);
    for record in records {
        match record {
            Err(error) => reading.faults.extend(malformed(&error, &mut lines)),
            Ok(record) if is_blank(&record) => {}
            Ok(record) => {
                let line = lines.of_record(&record);
                if reading.n_shots == MOST_SHOTS {
                    reading.faults.add(
                        line,
                        None,
                        FaultCode::TooMany,
                        format!("The file has more than {MOST_SHOTS} shots; remove the rest."),
                    );
                    break;
                }
                reading.shot(&record, line);
            }
        }
    }
    door::through(&reading.finish(header_line)?, study)
}

/// Whether the first line that says anything separates by semicolons. No name of a column has
/// either sign.
fn has_semicolons(bytes: &[u8]) -> bool {
    bytes
        .split(|byte| matches!(byte, b'\r' | b'\n'))
        .find(|line| !line.is_empty())
        .is_some_and(|line| line.contains(&b';'))
}

/// A line of a spreadsheet in which nothing was filled in.
fn is_blank(record: &StringRecord) -> bool {
    record.iter().all(str::is_empty)
}

fn malformed(error: &csv::Error, lines: &mut Lines<'_>) -> Rejection {
    let line = lines.of_error(error);
    let sentence = match error.kind() {
        csv::ErrorKind::Utf8 { .. } => "The line is not UTF-8; save the file as UTF-8.".to_owned(),
        _ => format!("The line cannot be read: {error}."),
    };
    Rejection::malformed(format!("line {line}"), FaultCode::WrongForm, sentence)
}

fn unreadable(code: FaultCode, sentence: String) -> Rejection {
    Rejection::malformed("line 1".to_owned(), code, sentence)
}

/// The faults of a file. What lies beyond the list that is shown is only counted.
#[derive(Debug, Default)]
struct Faults {
    faults: Vec<Fault>,
    n_faults: usize,
}

impl Faults {
    fn add(&mut self, line: u64, column: Option<&str>, code: FaultCode, sentence: String) {
        let place = column.map_or_else(
            || format!("line {line}"),
            |column| format!("line {line}, column {column}"),
        );
        self.push(Fault::new(place, code, sentence));
    }

    fn push(&mut self, fault: Fault) {
        self.n_faults += 1;
        if self.faults.len() < Rejection::MOST {
            self.faults.push(fault);
        }
    }

    fn extend(&mut self, rejection: Rejection) {
        for fault in rejection.faults {
            self.push(fault);
        }
    }

    /// # Errors
    /// When there is any.
    fn none(self) -> Result<(), Rejection> {
        if self.faults.is_empty() {
            return Ok(());
        }
        Err(Rejection {
            kind: RejectionKind::Invalid,
            faults: self.faults,
            n_faults: self.n_faults,
        })
    }
}

#[cfg(test)]
mod tests;
