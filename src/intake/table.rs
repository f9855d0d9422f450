//! A table of effects as CSV (RFC 4180): `estimate,variance`, and where known `cluster`.
//!
//! The first line names the columns, in any order; further columns are moderators and pass
//! unread unless they are asked for. Rows of a study's download are such a table too, with `group` as
//! cluster, as long as they are of one analysis. Every bad cell is named by line and column, all at once. A
//! blank cell of a moderator is not bad: its row is left out of the regression.

mod analysis;
mod moderators;

pub use moderators::Wanted;

use super::fault::{Fault, FaultCode, Rejection, RejectionKind};
use super::lines::Lines;
use crate::pooling::Effects;
use crate::pooling::regression::Design;
use analysis::OneAnalysis;
use csv::{ReaderBuilder, StringRecord, Trim};
use moderators::Asked;
use ndarray::Array1;
use std::collections::BTreeMap;
use std::fmt::Display;

/// A table that was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Tables {
    /// Every effect.
    pub effects: Effects,
    /// The effects whose moderators are all known; `None` when none were asked for.
    pub design: Option<Design>,
}

/// Reads a table of effects.
///
/// # Errors
/// A [`Rejection`] whose places read `line 3, column variance`.
pub fn effects(bytes: &[u8]) -> Result<Effects, Rejection> {
    read(bytes, &Wanted::default()).map(|tables| tables.effects)
}

/// Reads a table of effects and their moderators.
///
/// # Errors
/// A [`Rejection`] whose places read `line 3, column variance`, for columns that were asked for.
pub fn read(bytes: &[u8], wanted: &Wanted<'_>) -> Result<Tables, Rejection> {
    let mut reader = ReaderBuilder::new().trim(Trim::All).from_reader(bytes);
    let mut lines = Lines::of(bytes);
    let header = reader
        .headers()
        .map_err(|error| unreadable(&error, 1))?
        .clone();
    let mut columns = Columns::named_in(&header, wanted)?;
    let mut table = Table::default();
    for record in reader.records() {
        match record {
            Ok(record) => {
                let line = lines.of_record(&record);
                let analysis = columns.analysis.as_mut();
                let other = analysis.and_then(|analysis| analysis.other(&record, line));
                other.into_iter().for_each(|fault| table.add_fault(fault));
                table.add(&record, line, &columns);
            }
            Err(error) => unreadable(&error, lines.of_error(&error))
                .faults
                .into_iter()
                .for_each(|fault| table.add_fault(fault)),
        }
    }
    table.finish(wanted)
}

/// Places of the columns that are read.
struct Columns {
    estimate: usize,
    variance: usize,
    asked: Asked,
    analysis: Option<OneAnalysis>,
}

impl Columns {
    fn named_in(header: &StringRecord, wanted: &Wanted<'_>) -> Result<Self, Rejection> {
        let (Some(estimate), Some(variance)) =
            (place(header, "estimate")?, place(header, "variance")?)
        else {
            let only = header
                .get(0)
                .filter(|_| header.len() == 1)
                .unwrap_or_default();
            let mend = if only.contains([';', '\t']) {
                "Separate the columns by commas, and write decimals with a point."
            } else {
                "The first line must name the columns, `estimate` and `variance` among them."
            };
            return Err(header_fault(FaultCode::Missing, mend.to_owned()));
        };
        Ok(Self {
            estimate,
            variance,
            asked: Asked::in_header(header, wanted)?,
            analysis: OneAnalysis::in_header(header)?,
        })
    }
}

/// Where a column stands; `None` when it is absent.
fn place(header: &StringRecord, name: &str) -> Result<Option<usize>, Rejection> {
    // A byte order mark belongs to the file, not to the name of its first column.
    let is_named = |column: &str| {
        column
            .trim_start_matches('\u{feff}')
            .eq_ignore_ascii_case(name)
    };
    if 1 < header.iter().filter(|column| is_named(column)).count() {
        let sentence = format!("The column `{name}` stands there twice; keep one of them.");
        return Err(header_fault(FaultCode::DuplicateKey, sentence));
    }
    Ok(header.iter().position(is_named))
}

fn header_fault(code: FaultCode, sentence: String) -> Rejection {
    Rejection::malformed("line 1".to_owned(), code, sentence)
}

#[derive(Default)]
struct Table {
    estimates: Vec<f64>,
    variances: Vec<f64>,
    clusters: Vec<usize>,
    cluster_names: BTreeMap<String, usize>,
    /// The moderators of each effect; `None` when one of them is blank.
    moderators: Vec<Option<Vec<f64>>>,
    faults: Vec<Fault>,
    n_faults: usize,
}

impl Table {
    fn add(&mut self, record: &StringRecord, line: u64, columns: &Columns) {
        let estimate = self.number(record, line, columns.estimate, "estimate");
        let variance = self.number(record, line, columns.variance, "variance");
        if variance.is_some_and(|variance| variance <= 0.0) {
            self.fault(
                line,
                "variance",
                FaultCode::TooSmall,
                "A variance is above zero; mend it or remove the line.".to_owned(),
            );
        }
        if let Some(column) = &columns.asked.cluster {
            let name = record.get(column.place).unwrap_or_default();
            if name.is_empty() {
                self.fault(
                    line,
                    &column.name,
                    FaultCode::Missing,
                    "Name the cluster of this effect; an effect of its own gets a name of its own."
                        .to_owned(),
                );
            }
            let next = self.cluster_names.len();
            self.clusters
                .push(*self.cluster_names.entry(name.to_owned()).or_insert(next));
        }
        self.estimates.extend(estimate);
        self.variances.extend(variance);
        self.add_moderators(record, line, &columns.asked);
    }

    fn add_moderators(&mut self, record: &StringRecord, line: u64, asked: &Asked) {
        let mut cells = Some(Vec::with_capacity(asked.moderators.len()));
        for column in &asked.moderators {
            let is_blank = record.get(column.place).unwrap_or_default().is_empty();
            let value = if is_blank {
                None
            } else {
                self.number(record, line, column.place, &column.name)
            };
            cells = cells.zip(value).map(|(mut cells, value)| {
                cells.push(value);
                cells
            });
        }
        self.moderators.push(cells);
    }

    fn number(
        &mut self,
        record: &StringRecord,
        line: u64,
        place: usize,
        column: &str,
    ) -> Option<f64> {
        let text = record.get(place).unwrap_or_default();
        let value = text.parse::<f64>().ok().filter(|value| value.is_finite());
        if value.is_none() {
            self.fault(
                line,
                column,
                FaultCode::WrongType,
                "Write a finite number with a decimal point, or remove the line.".to_owned(),
            );
        }
        value
    }

    fn fault(&mut self, line: u64, column: &str, code: FaultCode, sentence: String) {
        let place = format!("line {line}, column {column}");
        self.add_fault(Fault::new(place, code, sentence));
    }

    /// Counts a fault. What lies beyond the list that is shown need not be kept.
    fn add_fault(&mut self, fault: Fault) {
        self.n_faults += 1;
        if self.faults.len() < Rejection::MOST {
            self.faults.push(fault);
        }
    }

    fn finish(self, wanted: &Wanted<'_>) -> Result<Tables, Rejection> {
        if !self.faults.is_empty() {
            return Err(Rejection {
                kind: RejectionKind::Invalid,
                faults: self.faults,
                n_faults: self.n_faults,
            });
        }
        let design = moderators::design(&self, wanted)?;
        let has_clusters = !self.clusters.is_empty();
        let clusters = Array1::from(self.clusters);
        let effects = Effects::new(
            Array1::from(self.estimates).view(),
            Array1::from(self.variances).view(),
            has_clusters.then(|| clusters.view()),
        )
        .map_err(|error| at_table(&error))?;
        Ok(Tables { effects, design })
    }
}

fn at_table(error: &impl Display) -> Rejection {
    let place = "the table".to_owned();
    let fault = Fault::new(place, FaultCode::AgainstSchema, format!("{error}."));
    Rejection::new(RejectionKind::Invalid, vec![fault])
}

fn unreadable(error: &csv::Error, line: u64) -> Rejection {
    let place = format!("line {line}");
    let sentence = match error.kind() {
        csv::ErrorKind::Utf8 { .. } => "The line is not UTF-8; save the file as UTF-8.".to_owned(),
        csv::ErrorKind::UnequalLengths {
            expected_len, len, ..
        } => {
            format!("The line has {len} columns and the first one {expected_len}; mend its commas.")
        }
        _ => format!("The line cannot be read: {error}."),
    };
    Rejection::malformed(place, FaultCode::WrongForm, sentence)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_come_in_any_order_and_clusters_are_names() {
        let table =
            effects(b"cluster,variance,gap,estimate\nanna,1,5,0.5\nben,2,6,-1e-1\nanna,1,8,2\n")
                .unwrap();
        assert_eq!(
            (table.k(), table.n_clusters(), table.has_repeats()),
            (3, 2, true)
        );
    }

    #[test]
    fn every_bad_cell_is_named() {
        let bad = "estimate,variance\n1,0\nx,2\n3,NaN\n4\n5,-1\n6,1\n";
        let rejection = effects(bad.as_bytes()).unwrap_err();
        let places: Vec<&str> = rejection
            .faults
            .iter()
            .map(|fault| fault.pointer.as_str())
            .collect();
        assert_eq!(
            places,
            [
                "line 2, column variance",
                "line 3, column estimate",
                "line 4, column variance",
                "line 5",
                "line 6, column variance"
            ]
        );
    }

    #[test]
    fn lines_are_those_of_an_editor_whatever_ends_them() {
        for bad in [
            "estimate,variance\n1,2\n\nx,1\n",
            "estimate,variance\r\n1,2\r\n\r\nx,1\r\n",
        ] {
            let rejection = effects(bad.as_bytes()).unwrap_err();
            assert_eq!(rejection.faults[0].pointer, "line 4, column estimate");
        }
    }

    #[test]
    fn downloaded_rows_are_pooled_by_group_and_one_analysis_at_a_time() {
        let head = "group,band,outcome,stroke,direction,estimate,variance\n";
        let line =
            |group: u8, outcome: &str| format!("{group},band_1,{outcome},forehand,all,1,2\n");
        let one = format!("{head}{}{}", line(1, "speed"), line(1, "speed"));
        let table = effects(one.as_bytes()).unwrap();
        assert_eq!((table.k(), table.n_clusters()), (2, 1));
        let two = format!("{one}{}{}", line(2, "in_share"), line(2, "in_share"));
        let rejection = effects(two.as_bytes()).unwrap_err();
        let places: Vec<&str> = rejection
            .faults
            .iter()
            .map(|f| f.pointer.as_str())
            .collect();
        assert_eq!(places, ["line 4, column outcome"]);
        assert!(rejection.faults[0].sentence.contains("JSON"));
        // A table of one's own with some such column is none of a download.
        assert!(effects(b"outcome,estimate,variance\na,1,2\nb,1,2\n").is_ok());
    }

    #[test]
    fn an_empty_table_has_no_effects_and_a_headless_one_is_refused() {
        assert_eq!(effects(b"estimate,variance\n").unwrap().k(), 0);
        assert!(effects(b"1,2\n").is_err());
        assert!(effects(b"").is_err());
        assert!(effects(b"\xff\xfe").is_err());
        let twice = effects(b"estimate,variance,estimate\n").unwrap_err();
        assert_eq!(twice.faults[0].code, FaultCode::DuplicateKey);
        let semicolons = effects(b"estimate;variance\n1,5;2\n").unwrap_err();
        assert!(semicolons.faults[0].sentence.contains("by commas"));
    }
}
