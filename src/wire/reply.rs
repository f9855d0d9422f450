//! Small documents: the reply to a contribution, the list of studies, health.

use super::{decimal, study_head};
use crate::effects::{LeftOutReason, PairEffects};
use crate::findings::labels::unit_words;
use crate::intake::Flag;
use crate::protocol::{GapBands, Study};
use crate::screening::ScreeningFlag;
use crate::vocabulary::State;
use serde_json::{Value, json};

/// What a contributor gets back (`schema/receipt.v1.schema.json`).
#[derive(Debug)]
pub struct Receipt<'a> {
    /// The study.
    pub study: &'a Study,
    /// The contribution's identifier.
    pub contribution: String,
    /// The secret that goes with it.
    pub receipt: String,
    /// Whether this very request had been received before.
    pub repeated: bool,
    /// Its state.
    pub state: State,
    /// When it counts, in words.
    pub counts: String,
    /// Its effects.
    pub pair: &'a PairEffects,
    /// What was noticed.
    pub flags: &'a [ScreeningFlag],
}

/// The receipt as a document.
#[must_use]
pub fn receipt(reply: &Receipt<'_>) -> Value {
    json!({
        "document": "receipt",
        "version": 1,
        "study": study_head(&reply.study.label),
        "contribution": reply.contribution,
        "receipt": reply.receipt,
        "receipt_note": "Keep this receipt: it is shown to nobody else and cannot be looked up. Send it in the Authorization header of a further contribution, so that both count as one player.",
        "repeated": reply.repeated,
        "state": reply.state.code(),
        "counts": reply.counts,
        "gap_lb": reply.pair.gap.pounds(),
        "gap_kg": reply.pair.gap.kilograms(),
        "band": GapBands::code(reply.pair.band),
        "effects": effects(reply.pair),
        "left_out": left_out(reply.pair),
        "flags": reply.flags.iter().flat_map(found).collect::<Vec<_>>(),
    })
}

/// What a pair says by itself, one entry for each outcome and shot class.
pub(super) fn effects(pair: &PairEffects) -> Vec<Value> {
    pair.all().map(effect).collect()
}

/// What could not be computed of a pair, and why.
pub(super) fn left_out(pair: &PairEffects) -> Vec<Value> {
    // Most devices give few of the secondary figures; that they are not given is no news.
    let told = pair.secondary_left_out.iter();
    let told = told.filter(|left| left.reason != LeftOutReason::NotGiven);
    pair.left_out
        .iter()
        .chain(told)
        .map(|left| {
            json!({
                "outcome": left.outcome.code(),
                "stroke": left.class.stroke.code(),
                "direction": left.class.direction.code(),
                "code": left.reason.code(),
                "sentence": format!("Left out: {}.", left.reason.sentence()),
            })
        })
        .collect()
}

/// One effect with its normal 95 % interval: all that one pair can say.
#[must_use]
pub fn effect(effect: &crate::effects::Effect) -> Value {
    let interval = effect.interval().ok();
    json!({
        "outcome": effect.outcome.code(),
        "stroke": effect.class.stroke.code(),
        "direction": effect.class.direction.code(),
        "unit": unit_words(effect.outcome),
        "estimate": effect.estimate,
        "variance": effect.variance,
        "low": interval.map(|interval| interval.low),
        "high": interval.map(|interval| interval.high),
        "variance_source": effect.source.code(),
        "imputed_variance": effect.imputed_variance,
        "imputed_log_sd_error": effect.log_sd_error,
    })
}

/// A flag as it stands in a receipt: once for each of its places, or for the whole.
pub(super) fn found(flag: &ScreeningFlag) -> Vec<Value> {
    let whole = [String::new()];
    let places = if flag.places.is_empty() {
        &whole[..]
    } else {
        &flag.places
    };
    let at = |pointer: &String| {
        json!({
            "pointer": pointer,
            "code": flag.rule.code(),
            "figure": flag.figure,
            "sentence": flag.sentence,
            "holds": flag.holds,
        })
    };
    places.iter().map(at).collect()
}

/// A flag as it stands in the answer of `tautpool check`.
#[must_use]
pub fn flag(flag: &Flag) -> Value {
    json!({"pointer": flag.pointer, "code": flag.code.code(), "sentence": flag.sentence})
}

/// A part of the list of studies, with the address of the next one
/// (`schema/studies.v1.schema.json`).
#[must_use]
pub fn studies(studies: &[&Study], next: Option<&str>) -> Value {
    let entries: Vec<Value> = studies
        .iter()
        .map(|study| {
            let slug = &study.label.slug;
            let bands = &study.protocol.analysis.bands;
            json!({
                "study": study_head(&study.label),
                "protocol_version": study.protocol.version,
                "gap_unit": bands.unit().code(),
                "minimum_gap": bands.edges().first().copied().map(decimal),
                "consent": {
                    "text_version": study.protocol.consent.version,
                    "text": study.protocol.consent.text,
                },
                "adults_only": study.protocol.adults_only,
                "session_minutes": study.protocol.session_minutes,
                "warm_up_minutes": study.protocol.warm_up_minutes,
                "deep": study.protocol.deep.text,
                "caution": study.protocol.caution,
                "page": format!("/studies/{slug}"),
                "plans": format!("/api/v1/studies/{slug}/plans"),
                "contributions": format!("/api/v1/studies/{slug}/contributions"),
                "pooled": format!("/api/v1/studies/{slug}/pooled"),
                "aggregate": format!("/api/v1/studies/{slug}/aggregate"),
            })
        })
        .collect();
    json!({"document": "studies", "version": 1, "studies": entries, "next": next})
}

/// The answer of the readiness check, when it is ready (`schema/ready.v1.schema.json`).
#[must_use]
pub fn ready() -> Value {
    json!({"document": "ready", "version": 1, "software": env!("CARGO_PKG_VERSION")})
}

/// The answer of the health check (`schema/health.v1.schema.json`).
#[must_use]
pub fn health(answering: bool) -> Value {
    json!({
        "document": "health",
        "version": 1,
        "software": env!("CARGO_PKG_VERSION"),
        "database": if answering { "answers" } else { "does not answer" },
    })
}
