//! Everything one player sent, for whoever holds the receipt (`schema/own.v1.schema.json`).

use super::{reply, study_head};
use crate::effects::PairEffects;
use crate::plan::Code;
use crate::protocol::{GapBands, StudyLabel};
use crate::screening::ScreeningFlag;
use crate::vocabulary::{ConsentEvent, ConsentScope, CorrectionReason, Sequence, State};
use data_encoding::HEXLOWER;
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
    /// What was noticed in the newest version, and is told.
    pub flags: &'a [ScreeningFlag],
    /// The plan it names, where one was drawn.
    pub plan: Option<NamedPlan<'a>>,
    /// What was agreed to, when that changed and when it ended.
    pub consents: Vec<Consent<'a>>,
    /// Its rows of the download.
    pub rows: Vec<Value>,
}

/// The plan that a contribution names.
#[derive(Debug)]
pub struct NamedPlan<'a> {
    /// Its code.
    pub code: &'a Code,
    /// When it was drawn.
    pub drawn: String,
    /// When it was first opened, and its order; `None` while it is sealed.
    pub opened: Option<(String, Sequence)>,
    /// Whether the contribution counts as played to it.
    pub planned: bool,
}

/// One event of a consent.
#[derive(Debug)]
pub struct Consent<'a> {
    /// What happened.
    pub event: ConsentEvent,
    /// When.
    pub at: String,
    /// What was agreed to; `None` when it ended.
    pub agreed: Option<Agreed<'a>>,
}

/// What was agreed to.
#[derive(Debug)]
pub struct Agreed<'a> {
    /// How the sessions may be used.
    pub scope: ConsentScope,
    /// Name of the wording.
    pub text_version: &'a str,
    /// SHA-256 of its words in UTF-8; `None` when they are not known.
    pub text_sha256: Option<&'a [u8]>,
    /// The protocol's version that has the words.
    pub protocol_version: i64,
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
        "flags": own.flags.iter().flat_map(reply::found).collect::<Vec<_>>(),
        "plan": own.plan.as_ref().map(plan),
        "consent": own.consents.iter().map(consent).collect::<Vec<_>>(),
        "public": {"rows": own.rows},
    })
}

fn plan(plan: &NamedPlan<'_>) -> Value {
    let opened = plan.opened.as_ref();
    json!({
        "code": plan.code.canonical(),
        "drawn": plan.drawn,
        "opened": opened.map(|(at, _)| at),
        "sequence": opened.map(|(_, sequence)| sequence.code()),
        "planned": plan.planned,
    })
}

/// One event of a consent, for its giver and, in the host's own copy, for the host.
#[must_use]
pub fn consent(consent: &Consent<'_>) -> Value {
    let agreed = consent.agreed.as_ref();
    json!({
        "event": consent.event.code(),
        "at": consent.at,
        "scope": agreed.map(|agreed| agreed.scope.code()),
        "text_version": agreed.map(|agreed| agreed.text_version),
        "text_sha256": agreed.and_then(|agreed| agreed.text_sha256).map(|hash| HEXLOWER.encode(hash)),
        "protocol_version": agreed.map(|agreed| agreed.protocol_version),
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
