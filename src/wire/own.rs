//! Everything one player sent, for whoever holds the receipt (`schema/own.v1.schema.json`).

use super::{reply, study_head};
use crate::effects::PairEffects;
use crate::protocol::{GapBands, StudyLabel};
use crate::vocabulary::{CorrectionReason, State};
use serde_json::{Value, json};

/// One contribution of the player. Times are in UTC, as RFC 3339 has them.
#[derive(Debug)]
pub struct OwnContribution<'a> {
    /// Its identifier.
    pub contribution: String,
    /// Its state.
    pub state: State,
    /// Whether and when it counts, in words.
    pub standing: String,
    /// When it was withdrawn.
    pub withdrawn: Option<String>,
    /// Every version, the first one first.
    pub versions: Vec<SentVersion<'a>>,
    /// What the newest version says; `None` once it was erased.
    pub pair: Option<&'a PairEffects>,
}

/// One version of a contribution.
#[derive(Debug)]
pub struct SentVersion<'a> {
    /// Counted from 1.
    pub number: i64,
    /// When it came.
    pub received: String,
    /// Why it mends the one before; `None` for the first.
    pub reason: Option<CorrectionReason>,
    /// The public batch that began to count it.
    pub batch: Option<i64>,
    /// The document as it was sent; `None` once it was erased.
    pub document: Option<&'a [u8]>,
}

/// The document.
#[must_use]
pub fn document(study: &StudyLabel, contributions: &[OwnContribution<'_>]) -> Value {
    json!({
        "document": "own",
        "version": 1,
        "study": study_head(study),
        "contributions": contributions.iter().map(contribution).collect::<Vec<_>>(),
    })
}

fn contribution(own: &OwnContribution<'_>) -> Value {
    json!({
        "contribution": own.contribution,
        "state": own.state.code(),
        "standing": own.standing,
        "withdrawn": own.withdrawn,
        "versions": own.versions.iter().map(version).collect::<Vec<_>>(),
        "answer": own.pair.map(answer),
    })
}

fn version(version: &SentVersion<'_>) -> Value {
    // What was admitted is strict JSON, so it reads back.
    let document = version
        .document
        .and_then(|bytes| serde_json::from_slice::<Value>(bytes).ok());
    json!({
        "number": version.number,
        "received": version.received,
        "reason": version.reason.map(CorrectionReason::code),
        "batch": version.batch,
        "document": document,
    })
}

fn answer(pair: &PairEffects) -> Value {
    json!({
        "gap_lb": pair.gap.pounds(),
        "gap_kg": pair.gap.kilograms(),
        "band": GapBands::code(pair.band),
        "effects": reply::effects(pair),
        "left_out": reply::left_out(pair),
    })
}
