//! The anonymised download (`schema/aggregate.v1.schema.json`). `intake` reads it back in.

use super::pooled::found;
use super::{bands, batch_head, decimal, reproducible, study_head};
use crate::disclosure::Everybody;
use crate::findings::{Findings, LevelBand, Order, Publication, Row};
use crate::protocol::GapBands;
use crate::vocabulary::StringFamily;
use serde_json::{Value, json};
use std::fmt;

/// The download of a study.
#[must_use]
pub fn document(publication: &Publication, findings: &Findings, everybody: &[Everybody]) -> Value {
    let mut document = without_rows(publication, findings, everybody);
    if let Some(document) = document.as_object_mut() {
        let rows = publication.rows.iter();
        let rows = rows.map(|found| row(&found, &publication.frames)).collect();
        document.insert("rows".to_owned(), rows);
    }
    document
}

/// Writes the same as text on its own line. Of many rows the document as a value takes several times
/// the memory of its text, so here only one row at a time is one.
///
/// # Errors
/// Those of `out`.
pub fn write(
    out: &mut dyn fmt::Write,
    publication: &Publication,
    findings: &Findings,
    everybody: &[Everybody],
) -> fmt::Result {
    let head = without_rows(publication, findings, everybody).to_string();
    // Rows come last.
    let head = head.strip_suffix('}').unwrap_or(&head);
    write!(out, "{head},\"rows\":[")?;
    for (place, found) in publication.rows.iter().enumerate() {
        let comma = if 0 < place { "," } else { "" };
        write!(out, "{comma}{}", row(&found, &publication.frames))?;
    }
    out.write_str("]}\n")
}

/// Everything but the rows.
#[must_use]
pub fn without_rows(
    publication: &Publication,
    findings: &Findings,
    everybody: &[Everybody],
) -> Value {
    let rules = &publication.rules;
    let primary: Vec<Value> = rules
        .primary
        .iter()
        .map(|primary| {
            json!({
                "outcome": primary.outcome.code(),
                "stroke": primary.class.stroke.code(),
                "direction": primary.class.direction.code(),
                "smallest_worthwhile": primary.smallest_worthwhile.map(decimal),
            })
        })
        .collect();
    let mut document = json!({
        "document": "aggregate",
        "version": 1,
        "study": study_head(&publication.study),
        "batch": batch_head(publication.batch.as_ref()),
        "level": publication.level.value(),
        "protocol": {
            "version": publication.protocol_version,
            "gap_unit": rules.bands.unit().code(),
            "gap_band_edges": bands(&rules.bands),
            "minimum_players": rules.minimum_players,
            "primary": primary,
        },
        "reproducible": reproducible::statement(),
    });
    if let Some(document) = document.as_object_mut() {
        document.extend(found(publication, findings, everybody));
    }
    document
}

/// One row of the download.
#[must_use]
pub fn row(row: &Row, frames: &[String]) -> Value {
    let known = row.circumstances;
    json!({
        "group": row.group,
        "pair": row.pair,
        "band": GapBands::code(row.band),
        "gap_lb": row.gap_lb,
        "outcome": row.outcome.code(),
        "stroke": row.class.stroke.code(),
        "direction": row.class.direction.code(),
        "estimate": row.estimate,
        "variance": row.variance,
        "variance_source": row.source.code(),
        "imputed_variance": row.imputed_variance,
        "partner_pace_kmh": known.partner_pace_kmh,
        "planned": known.planned,
        "order": known.order.map(Order::code),
        "level": known.level.map(LevelBand::code),
        "string_family": known.string_family.map(StringFamily::code),
        "blinded": known.blinded,
        "looser_sessions": known.sessions.map(|(looser, _)| looser),
        "tighter_sessions": known.sessions.map(|(_, tighter)| tighter),
        "string_age_hours": known.string_age_hours,
        "month": known.month.map(|month| month.to_string()),
        "frame": known.frame.and_then(|frame| frames.get(frame as usize)),
    })
}
