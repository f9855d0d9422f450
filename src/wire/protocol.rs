//! What a study's protocol says and said (`schema/protocol.v1.schema.json`), and the part of it
//! that is the analysis plan.
//!
//! The plan is what decides an answer once the data are in. It is hashed when recruiting opens, so
//! that anybody can see later whether it was changed.

use super::{bands, canonical, decimal, study_head};
use crate::pooling::Level;
use crate::protocol::{PrimaryOutcome, Protocol, ReleaseRule, Study, VersionedText};
use crate::vocabulary::StudyState;
use serde_json::{Value, json};

/// Which fields an analysis plan has. A plan of another form has another hash although nothing was
/// changed, so a change of [`plan_of_analysis`] needs a new number, and hashes of old forms are
/// compared in the old form.
const PLAN_FORM: u8 = 1;

/// What decides the answer: which effects are used, how they are divided, what is asked, and how a
/// release states its interval. Texts and sizes that change no figure are no part of it.
#[must_use]
pub fn plan_of_analysis(protocol: &Protocol) -> Value {
    let rules = &protocol.analysis;
    json!({
        "form": PLAN_FORM,
        "gap_unit": rules.bands.unit().code(),
        "gap_band_edges": bands(&rules.bands),
        "primary": rules.primary.iter().map(primary).collect::<Vec<_>>(),
        "minimum_shots": protocol.minimum_shots,
        "rally_length": protocol.rally_length,
        "deep": versioned(&protocol.deep),
        "minimum_players": rules.minimum_players,
        "level": Level::NINETY_FIVE.value(),
        "release_rule": protocol.release_rule.as_ref().map(release_rule),
    })
}

fn primary(primary: &PrimaryOutcome) -> Value {
    json!({
        "outcome": primary.outcome.code(),
        "stroke": primary.class.stroke.code(),
        "direction": primary.class.direction.code(),
        "smallest_worthwhile": primary.smallest_worthwhile.map(decimal),
    })
}

fn versioned(text: &VersionedText) -> Value {
    json!({"version": text.version, "text": text.text})
}

fn release_rule(rule: &ReleaseRule) -> Value {
    match rule {
        ReleaseRule::Date(on) => json!({"kind": "date", "on": on}),
        ReleaseRule::Players(at_least) => json!({"kind": "players", "at_least": at_least}),
    }
}

/// A study's document as the service keeps it: canonical, under the number of its version.
#[must_use]
pub fn kept_study(mut document: Value, version: i64) -> String {
    if let Some(protocol) = document.pointer_mut("/protocol") {
        protocol["version"] = json!(version);
    }
    canonical(&document)
}

/// What is told of a study's protocol.
#[derive(Debug)]
pub struct History<'a> {
    /// The newest protocol.
    pub study: &'a Study,
    /// Where the study stands.
    pub state: StudyState,
    /// The day on which recruiting opened.
    pub opened: Option<String>,
    /// The day on which it closed.
    pub closed: Option<String>,
    /// The plan's hash when recruiting opened, hexadecimal.
    pub plan_hash_at_opening: Option<&'a str>,
    /// The plan's hash now.
    pub plan_hash_now: &'a str,
    /// Every version, the first one first.
    pub versions: Vec<Version>,
}

/// What is told of one version.
#[derive(Debug)]
pub struct Version {
    /// Its number.
    pub version: i64,
    /// The day from which it is in force.
    pub from: String,
    /// Why it was made.
    pub reason: Option<String>,
    /// The hash of its analysis plan.
    pub plan_hash: String,
    /// Whether that is another than when recruiting opened.
    pub plan_changed: bool,
    /// Its document.
    pub text: String,
}

/// The protocol with its history as a document.
#[must_use]
pub fn history(told: &History<'_>) -> Value {
    let version = |version: &Version| {
        json!({
            "version": version.version,
            "from": version.from,
            "reason": version.reason,
            "plan_hash": version.plan_hash,
            "plan_changed": version.plan_changed,
            "text": version.text,
        })
    };
    json!({
        "document": "protocol",
        "version": 1,
        "study": study_head(&told.study.label),
        "state": told.state.code(),
        "opened": told.opened,
        "closed": told.closed,
        "plan": canonical(&plan_of_analysis(&told.study.protocol)),
        "plan_hash_now": told.plan_hash_now,
        "plan_hash_at_opening": told.plan_hash_at_opening,
        "versions": told.versions.iter().map(version).collect::<Vec<_>>(),
    })
}
