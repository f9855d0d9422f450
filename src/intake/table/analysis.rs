//! Rows of a study's download hold many analyses, which nobody may pool with each other: km/h are no
//! percentage points, and a gap of 5 lb is not one of 15.

use super::place;
use crate::intake::fault::{Fault, FaultCode, Rejection};
use csv::StringRecord;

/// The columns that tell one analysis of a download from another.
const TELLING: [&str; 4] = ["outcome", "stroke", "direction", "band"];

/// Whether every line is of the analysis of the first one.
#[derive(Clone, Debug)]
pub(super) struct OneAnalysis {
    places: [usize; TELLING.len()],
    first: Option<[String; TELLING.len()]>,
    is_told: bool,
}

impl OneAnalysis {
    /// `None` unless a header has every column of a download that tells analyses apart.
    ///
    /// # Errors
    /// A [`Rejection`] when one of them stands there twice.
    pub(super) fn in_header(header: &StringRecord) -> Result<Option<Self>, Rejection> {
        let mut places = [0; TELLING.len()];
        for (found, name) in places.iter_mut().zip(TELLING) {
            match place(header, name)? {
                Some(place) => *found = place,
                None => return Ok(None),
            }
        }
        Ok(Some(Self {
            places,
            first: None,
            is_told: false,
        }))
    }

    /// The fault of the first line that is of another analysis than those before it.
    pub(super) fn other(&mut self, record: &StringRecord, line: u64) -> Option<Fault> {
        let cells = self
            .places
            .map(|place| record.get(place).unwrap_or_default());
        let first = self.first.get_or_insert_with(|| cells.map(str::to_owned));
        let mut compared = TELLING.iter().zip(cells.iter().zip(first.iter()));
        let (name, _) = compared.find(|(_, (cell, first))| *cell != first)?;
        if self.is_told {
            return None;
        }
        self.is_told = true;
        Some(Fault::new(
            format!("line {line}, column {name}"),
            FaultCode::WrongForm,
            "These rows are of several analyses, which are not pooled with each other. Keep the lines of one outcome, stroke, direction and band; or pool the download as JSON, which has every analysis.".to_owned(),
        ))
    }
}
