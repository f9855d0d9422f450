//! The anonymised download (`schema/aggregate.v1.schema.json`). `intake` reads it back in.

use super::pooled::{analyses_of, everybody_of};
use super::{bands, batch_head, study_head};
use crate::disclosure::Everybody;
use crate::findings::{Analysis, Publication, Row};
use crate::protocol::GapBands;
use serde_json::{Value, json};

/// The download of a study.
#[must_use]
pub fn document(
    publication: &Publication,
    analyses: &[Analysis],
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
            })
        })
        .collect();
    json!({
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
        "analyses": analyses_of(analyses, &rules.bands),
        "everybody": everybody_of(everybody, &rules.bands),
        "rows": publication.rows.iter().map(row).collect::<Vec<_>>(),
    })
}

fn row(row: &Row) -> Value {
    json!({
        "group": row.group,
        "band": GapBands::code(row.band),
        "gap_lb": row.gap_lb,
        "outcome": row.outcome.code(),
        "stroke": row.class.stroke.code(),
        "direction": row.class.direction.code(),
        "estimate": row.estimate,
        "variance": row.variance,
        "variance_source": row.source.code(),
    })
}
