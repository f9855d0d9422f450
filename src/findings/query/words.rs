//! What a question asks, and what its answer says, in plain words.

use super::Query;
use crate::findings::labels::{band_label, class_label, outcome_label};
use crate::findings::words::sentence_at;
use crate::findings::{Analysis, LevelBand};
use crate::protocol::GapBands;
use crate::vocabulary::StringFamily;

/// The question in words.
#[must_use]
pub fn told(query: &Query, bands: &GapBands) -> String {
    let class = class_label(query.class);
    let mut told = format!(
        "{}, {class}, at a gap of {}",
        outcome_label(query.outcome),
        gap(query, bands)
    );
    for filter in filters(query) {
        told = format!("{told}; {filter}");
    }
    format!("{told}.")
}

/// What the answer says, with what it was asked of.
pub(super) fn sentence(
    query: &Query,
    analysis: &Analysis,
    exploratory: bool,
    bands: &GapBands,
) -> String {
    let mut gap = gap(query, bands);
    let filters = filters(query);
    if !filters.is_empty() {
        gap = format!("{gap} ({})", filters.join("; "));
    }
    let said = sentence_at(&gap, analysis, bands.into());
    if exploratory {
        format!("{said} This was asked after the data could be seen: take it as a hint.")
    } else {
        said
    }
}

/// The gaps, to go on after "a gap of".
fn gap(query: &Query, bands: &GapBands) -> String {
    let published = match (query.gap_from, query.gap_below) {
        (None, None) => None,
        (Some(from), Some(below)) => Some(format!("{from} to under {below} lb")),
        (Some(from), None) => Some(format!("{from} lb and over")),
        (None, Some(below)) => Some(format!("under {below} lb")),
    };
    match (query.band, published) {
        (Some(band), None) => band_label(band, bands),
        (Some(band), Some(published)) => {
            format!("{}, published as {published}", band_label(band, bands))
        }
        (None, Some(published)) => format!("{published}, as published"),
        (None, None) => {
            let least = bands.edges().first().map_or(0.0, |edge| edge.to_f64());
            format!("{least} {} and over", bands.unit().code())
        }
    }
}

fn filters(query: &Query) -> Vec<String> {
    let planned = query.planned.map(|planned| match planned {
        true => "played to a plan".to_owned(),
        false => "played without a plan".to_owned(),
    });
    let blinded = query.blinded.map(|blinded| match blinded {
        true => "the string bed not known to the player".to_owned(),
        false => "the string bed known to the player".to_owned(),
    });
    let family = query.string_family.map(mains);
    let level = query.level_band.map(level);
    [planned, blinded, family, level]
        .into_iter()
        .flatten()
        .collect()
}

fn mains(family: StringFamily) -> String {
    let material = match family {
        StringFamily::NaturalGut => "natural gut",
        StringFamily::SyntheticGut => "synthetic gut",
        StringFamily::Multifilament => "multifilament",
        StringFamily::Polyester => "polyester",
        StringFamily::Aramid => "aramid",
        StringFamily::Other => "another material",
        StringFamily::Unknown => "an unknown material",
    };
    format!("mains of {material}")
}

fn level(level: LevelBand) -> String {
    let itn = match level {
        LevelBand::Strong => "1 to 3",
        LevelBand::Middling => "4 to 6",
        LevelBand::Beginning => "7 to 10",
    };
    format!("players of ITN {itn}")
}
