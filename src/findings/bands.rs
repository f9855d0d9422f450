//! Whether gap bands differ: the bands that follow the protocol as subgroups.
//!
//! The test takes effects as independent, so each player counts with the most precise pair alone,
//! and a band with fewer such players than the protocol's minimum is left out.

use super::Row;
use super::selection::Selection;
use crate::pooling::subgroups::{Subgroups, compare};
use crate::pooling::{Level, NumericError};
use crate::protocol::GapBand;
use ndarray::Array1;
use std::collections::BTreeMap;

/// Compares the bands; labels are their places in the protocol.
pub(super) fn compared(
    rows: &Selection<'_>,
    minimum_players: usize,
    level: Level,
) -> Result<Subgroups, NumericError> {
    let mut best: BTreeMap<u32, &Row> = BTreeMap::new();
    for row in rows.rows() {
        let kept = best.entry(row.group).or_insert(row);
        if precision(row) < precision(kept) {
            *kept = row;
        }
    }
    let mut players: BTreeMap<u8, Vec<&Row>> = BTreeMap::new();
    for row in best.into_values() {
        if let GapBand::Numbered(band) = row.band {
            players.entry(band).or_default().push(row);
        }
    }
    players.retain(|_, rows| minimum_players <= rows.len());
    let labels = players
        .iter()
        .flat_map(|(band, rows)| rows.iter().map(|_| usize::from(*band)));
    let labels: Array1<usize> = labels.collect();
    let kept: Selection<'_> = players.into_values().flatten().collect();
    compare(
        kept.estimates().view(),
        kept.variances().view(),
        None,
        labels.view(),
        level,
    )
}

/// Orders rows of one player: the smaller variance first, then the content, so that the order of
/// the rows does not matter. Variances are positive, so their bits ascend with them.
fn precision(row: &Row) -> (u64, u64, GapBand) {
    (row.variance.to_bits(), row.estimate.to_bits(), row.band)
}
