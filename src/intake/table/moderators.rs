//! The columns of a table that are read when they are asked for: moderators, and another cluster.

use super::{Table, at_table, place};
use crate::intake::fault::{Fault, FaultCode, Rejection, RejectionKind};
use crate::pooling::regression::Design;
use csv::StringRecord;
use ndarray::{Array1, Array2};

/// Names of the column that holds the cluster when no other is asked for and it is no moderator;
/// downloaded rows have the second one.
const CLUSTERS: [&str; 2] = ["cluster", "group"];

/// What to read beside the estimates and their variances.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wanted<'a> {
    /// The column that holds the cluster; left out, `cluster` or `group` when there is one.
    pub cluster: Option<&'a str>,
    /// The columns of a regression; none for no regression.
    pub moderators: &'a [String],
    /// Whether the regression goes through the origin.
    pub through_origin: bool,
}

/// A column with its place, under the name that was asked for.
#[derive(Clone, Debug)]
pub(super) struct Column {
    pub(super) place: usize,
    pub(super) name: String,
}

/// Where the columns stand that were asked for.
#[derive(Clone, Debug)]
pub(super) struct Asked {
    pub(super) cluster: Option<Column>,
    pub(super) moderators: Vec<Column>,
}

impl Asked {
    /// # Errors
    /// A [`Rejection`] with every column that is not there, stands there twice or was asked for
    /// twice.
    pub(super) fn in_header(header: &StringRecord, wanted: &Wanted<'_>) -> Result<Self, Rejection> {
        let mut faults = Vec::new();
        let mut column = |name: &str, is_needed: bool| match place(header, name) {
            Ok(Some(place)) => Some(Column {
                place,
                name: name.to_owned(),
            }),
            Ok(None) => {
                faults.extend(is_needed.then(|| absent(name)));
                None
            }
            Err(rejection) => {
                faults.extend(rejection.faults);
                None
            }
        };
        let cluster = match wanted.cluster {
            Some(name) => column(name, true),
            None => CLUSTERS
                .iter()
                .filter(|name| !wanted.moderators.iter().any(|other| other == *name))
                .find_map(|name| column(name, false)),
        };
        let named = wanted.moderators.iter();
        let moderators: Vec<Column> = named.filter_map(|name| column(name, true)).collect();
        for (idx, moderator) in moderators.iter().enumerate() {
            let mut before = moderators.iter().take(idx);
            if before.any(|other| other.place == moderator.place) {
                faults.push(Fault::new(
                    format!("line 1, column {}", moderator.name),
                    FaultCode::TooMany,
                    "This moderator is asked for twice.".to_owned(),
                ));
            }
        }
        if faults.is_empty() {
            Ok(Self {
                cluster,
                moderators,
            })
        } else {
            Err(Rejection::new(RejectionKind::Invalid, faults))
        }
    }
}

fn absent(name: &str) -> Fault {
    Fault::new(
        format!("line 1, column {name}"),
        FaultCode::Missing,
        "The first line names no such column; mend the name asked for.".to_owned(),
    )
}

/// The rows of `table` whose moderators are all known; `None` when none were asked for.
///
/// # Errors
/// A [`Rejection`] when the numbers are refused.
pub(super) fn design(table: &Table, wanted: &Wanted<'_>) -> Result<Option<Design>, Rejection> {
    if wanted.moderators.is_empty() {
        return Ok(None);
    }
    let rows: Vec<(usize, &Vec<f64>)> = table
        .moderators
        .iter()
        .enumerate()
        .filter_map(|(row, moderators)| moderators.as_ref().map(|cells| (row, cells)))
        .collect();
    let pick = |column: &[f64]| -> Array1<f64> {
        let complete = rows.iter().filter_map(|(row, _)| column.get(*row));
        complete.copied().collect()
    };
    let labels = rows.iter().filter_map(|(row, _)| table.clusters.get(*row));
    let clusters: Array1<usize> = labels.copied().collect();
    let cells = rows.iter().flat_map(|(_, cells)| cells.iter().copied());
    let shape = (rows.len(), wanted.moderators.len());
    let moderators =
        Array2::from_shape_vec(shape, cells.collect()).map_err(|error| at_table(&error))?;
    Design::new(
        pick(&table.estimates).view(),
        pick(&table.variances).view(),
        (!table.clusters.is_empty()).then(|| clusters.view()),
        moderators.view(),
        wanted.moderators,
        !wanted.through_origin,
    )
    .map(Some)
    .map_err(|error| at_table(&error))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::table::read;

    const TABLE: &[u8] =
        b"estimate,player,gap,variance,note\n1,a,5,1,\n2,b,,2,x\n3,a, 7.5 ,3,\n4,c,-1e1,4,y\n";

    #[test]
    fn moderators_are_read_when_asked_for_and_blank_ones_leave_their_row_out() {
        let wanted = Wanted {
            cluster: Some("player"),
            moderators: &["Gap".to_owned()],
            through_origin: true,
        };
        let tables = read(TABLE, &wanted).unwrap();
        assert_eq!((tables.effects.k(), tables.effects.n_clusters()), (4, 3));
        let design = tables.design.unwrap();
        assert_eq!(
            (design.effects().k(), design.effects().n_clusters()),
            (3, 2)
        );
        assert_eq!(
            design.moderators().column(0),
            ndarray::arr1(&[5.0, 7.5, -10.0])
        );
        assert!(!design.has_intercept());
        let plain = read(TABLE, &Wanted::default()).unwrap();
        assert_eq!((plain.design, plain.effects.n_clusters()), (None, 4));
    }

    fn places(table: &[u8], cluster: Option<&str>, moderators: &[&str]) -> Vec<String> {
        let moderators: Vec<String> = moderators.iter().map(|&name| name.to_owned()).collect();
        let wanted = Wanted {
            cluster,
            moderators: &moderators,
            through_origin: false,
        };
        let rejection = read(table, &wanted).unwrap_err();
        rejection
            .faults
            .into_iter()
            .map(|fault| fault.pointer)
            .collect()
    }

    #[test]
    fn every_bad_moderator_is_named_only_when_it_was_asked_for() {
        assert_eq!(
            places(TABLE, None, &["gap", "note"]),
            ["line 3, column note", "line 5, column note"]
        );
    }

    #[test]
    fn columns_that_are_absent_or_asked_for_twice_are_named() {
        assert_eq!(
            places(TABLE, Some("crowd"), &["gap", "pace", "gap"]),
            [
                "line 1, column crowd",
                "line 1, column pace",
                "line 1, column gap"
            ]
        );
        let twice = b"estimate,variance,gap,gap\n";
        assert_eq!(places(twice, None, &["gap"]), ["line 1"]);
        assert!(read(twice, &Wanted::default()).is_ok());
    }
}
