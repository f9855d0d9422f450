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
    let mut best: BTreeMap<u32, Precision> = BTreeMap::new();
    for row in rows.rows() {
        let one = precision(&row);
        best.entry(row.group)
            .and_modify(|kept| *kept = one.min(*kept))
            .or_insert(one);
    }
    let mut players: BTreeMap<u8, Vec<Precision>> = BTreeMap::new();
    for one in best.into_values() {
        if let GapBand::Numbered(band) = one.2 {
            players.entry(band).or_default().push(one);
        }
    }
    players.retain(|_, of_band| minimum_players <= of_band.len());
    let kept = || {
        let of_bands = players.iter();
        of_bands.flat_map(|(band, of_band)| of_band.iter().map(|one| (*band, *one)))
    };
    let estimates: Array1<f64> = kept().map(|(_, one)| f64::from_bits(one.1)).collect();
    let variances: Array1<f64> = kept().map(|(_, one)| f64::from_bits(one.0)).collect();
    let labels: Array1<usize> = kept().map(|(band, _)| usize::from(band)).collect();
    compare(
        estimates.view(),
        variances.view(),
        None,
        labels.view(),
        level,
    )
}

/// Bits of a variance and of its estimate, and the band.
type Precision = (u64, u64, GapBand);

/// Orders rows of one player: the smaller variance first, then the content, so that the order of
/// the rows does not matter. Variances are positive, so their bits ascend with them.
fn precision(row: &Row) -> Precision {
    (row.variance.to_bits(), row.estimate.to_bits(), row.band)
}
