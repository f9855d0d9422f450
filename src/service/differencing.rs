//! Figures over everybody, held against those that were shown before.

use super::ServiceError;
use crate::disclosure::{Everybody, Everyone, Outsider, Outsiders, Shown};
use crate::findings::{Key, Publication};
use crate::pooling::Interval;
use crate::protocol::GapBands;
use crate::store::ShownFigure;
use std::collections::BTreeMap;

/// Bytes of one outsider in the store.
const OUTSIDER_BYTES: usize = 40;

/// The figures over everybody that may be shown, and what has to be remembered of them.
pub(super) fn over_everybody(
    everyone: Everyone,
    publication: &Publication,
    before: &[ShownFigure],
) -> Result<(Vec<Everybody>, Vec<ShownFigure>), ServiceError> {
    let mut figures: BTreeMap<&str, Vec<&ShownFigure>> = BTreeMap::new();
    for figure in before {
        figures.entry(&figure.cell).or_default().push(figure);
    }
    let earlier: BTreeMap<Key, Vec<Shown>> = everyone
        .keys()
        .filter_map(|key| {
            let of_cell = figures.get(cell(key).as_str())?.iter();
            Some((*key, of_cell.map(|figure| shown(*key, figure)).collect()))
        })
        .collect();
    let (rules, level) = (&publication.rules, publication.level);
    let batch = publication.batch.as_ref().map_or(0, |batch| batch.number);
    let shown = everyone.shown(rules, level, batch, &earlier)?;
    let remembered = shown.iter().map(remembered).collect();
    let figures = shown.into_iter().map(|shown| shown.figure);
    Ok((figures.collect(), remembered))
}

fn remembered(shown: &Shown) -> ShownFigure {
    let figure = &shown.figure;
    ShownFigure {
        batch: figure.batch,
        cell: cell(&figure.key),
        players_at_least: i64::try_from(figure.players_at_least).unwrap_or(i64::MAX),
        estimate: figure.estimate,
        range: (figure.interval.low, figure.interval.high),
        outsiders: write(&shown.outsiders),
    }
}

fn shown(key: Key, figure: &ShownFigure) -> Shown {
    let (low, high) = figure.range;
    Shown {
        figure: Everybody {
            key,
            batch: figure.batch,
            players_at_least: usize::try_from(figure.players_at_least).unwrap_or_default(),
            estimate: figure.estimate,
            interval: Interval { low, high },
        },
        outsiders: read(&figure.outsiders),
    }
}

/// An analysis as it is named in the store.
fn cell(key: &Key) -> String {
    format!(
        "{}/{}/{}/{}",
        key.outcome.code(),
        key.class.stroke.code(),
        key.class.direction.code(),
        GapBands::code(key.band)
    )
}

fn write(outsiders: &Outsiders) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(OUTSIDER_BYTES * outsiders.len());
    for outsider in outsiders {
        bytes.extend(outsider.player.to_be_bytes());
        bytes.extend(outsider.contribution.to_be_bytes());
        bytes.extend(outsider.version.to_be_bytes());
    }
    bytes
}

fn read(bytes: &[u8]) -> Outsiders {
    let outsiders = bytes.chunks_exact(OUTSIDER_BYTES).filter_map(|bytes| {
        let (player, rest) = bytes.split_first_chunk::<16>()?;
        let (contribution, version) = rest.split_first_chunk::<16>()?;
        Some(Outsider {
            player: u128::from_be_bytes(*player),
            contribution: u128::from_be_bytes(*contribution),
            version: i64::from_be_bytes(version.try_into().ok()?),
        })
    });
    outsiders.collect()
}
