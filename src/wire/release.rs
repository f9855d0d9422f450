//! A release and the list of them (`schema/release.v1.schema.json`, `releases.v1.schema.json`).
//! `intake` reads a release back in.

pub mod check;
mod metadata;

pub use metadata::{data_set, datacite, datacite_text};

use super::pooled::class_fields;
use super::{aggregate, canonical, reproducible, study_head};
use crate::findings::flow::{Count, ParticipantFlow};
use crate::findings::words::answer;
use crate::findings::{Analysis, Findings};
use crate::protocol::{GapBands, PrimaryOutcome, StudyLabel};
use crate::release::{
    Change, Changes, Figures, ProtocolRecord, Release, ReleaseKind, Stated, as_stated,
};
use serde_json::{Map, Value, json};
use std::ops::Range;

/// The document of a release, given what is found in its publication.
#[must_use]
pub fn document(release: &Release, findings: &Findings) -> Value {
    let terms = &release.terms;
    let mut document = Map::new();
    let mut put = |name: &str, part: Value| document.insert(name.to_owned(), part);
    put("document", json!("release"));
    put("version", json!(1));
    put("number", json!(release.number));
    put("kind", json!(release.kind.code()));
    put("reason", json!(release.reason));
    put("note", json!(release.note));
    put("published_at", json!(release.published_at));
    put("address", json!(release.address));
    put("study", study_head(&release.publication.study));
    put("publisher", json!(terms.publisher));
    put("contact", json!(terms.contact));
    put(
        "licence",
        json!({"name": terms.licence_name, "url": terms.licence_url}),
    );
    put("protocol", protocol(release, &release.protocol));
    put("stated", stated(release.stated));
    put("verdicts", verdicts(release, findings));
    put("flow", flow(&release.flow));
    let everybody = &release.everybody;
    put(
        "findings",
        aggregate::document(&release.publication, findings, everybody),
    );
    put("reproducible", reproducible::of_release());
    put("supersedes", json!(release.supersedes()));
    let bands = &release.publication.rules.bands;
    let changes = release.changes.as_ref();
    put(
        "changes",
        json!(changes.map(|changes| self::changes(changes, bands))),
    );
    let software = &release.software;
    put(
        "software",
        json!({"name": software.name, "version": software.version}),
    );
    put("citation", json!(release.citation()));
    put("metadata", datacite(release));
    Value::Object(document)
}

fn protocol(release: &Release, record: &ProtocolRecord) -> Value {
    let history: Vec<Value> = record
        .history
        .iter()
        .map(|change| {
            json!({"version": change.version, "date": change.date, "reason": change.reason})
        })
        .collect();
    json!({
        "version": release.publication.protocol_version,
        // What is no JSON stands as null, which the schema refuses.
        "document": serde_json::from_slice::<Value>(&record.document).unwrap_or_default(),
        "plan_hash_at_opening": record.plan_hash_at_opening,
        "plan_hash_now": record.plan_hash_now,
        "plan_held": record.plan_held(),
        "history": history,
    })
}

fn stated(stated: Stated) -> Value {
    json!({
        "range": stated.range.code(),
        "because": stated.because.code(),
        "sentence": stated.because.sentence(),
        "ordinary_first_in": stated.ordinary_first_in,
    })
}

/// What is said of each primary outcome, with the range that the release states.
fn verdicts(release: &Release, findings: &Findings) -> Value {
    let rules = &release.publication.rules;
    let findings = as_stated(findings, release.stated.range, &rules.bands);
    let of = |primary: &PrimaryOutcome| {
        let is_of = |analysis: &&Analysis| {
            (analysis.key.outcome, analysis.key.class) == (primary.outcome, primary.class)
        };
        let analyses: Vec<&Analysis> = findings.analyses.iter().filter(is_of).collect();
        let mut entry = class_fields(primary.outcome, primary.class);
        let said = answer(primary.outcome, &analyses, &rules.bands);
        entry.insert("answer".to_owned(), json!(said));
        let gaps = analyses.iter().map(|analysis| gap(analysis, &rules.bands));
        entry.insert("gaps".to_owned(), gaps.collect());
        Value::Object(entry)
    };
    rules.primary.iter().map(of).collect()
}

/// The answer to each primary outcome, with the range that the release states.
#[must_use]
pub fn answers(release: &Release, findings: &Findings) -> Vec<String> {
    let verdicts = verdicts(release, findings);
    let verdicts = verdicts.as_array().into_iter().flatten();
    let answers = verdicts.filter_map(|verdict| verdict.get("answer")?.as_str());
    answers.map(str::to_owned).collect()
}

fn gap(analysis: &Analysis, bands: &GapBands) -> Value {
    let said = analysis.said.as_ref();
    let is_shown = analysis.result.is_ok();
    json!({
        "band": GapBands::code(analysis.key.band),
        "verdict": said.map(|said| said.verdict.code()),
        "certainty": is_shown.then(|| analysis.certainty().code()),
        "sentence": crate::findings::words::sentence(analysis, bands),
    })
}

fn count(count: Count) -> Value {
    json!({"at_least": count.at_least, "at_most": count.at_most})
}

fn flow(flow: &ParticipantFlow) -> Value {
    let declined: Vec<Value> = flow
        .declined
        .iter()
        .map(|(ground, number)| json!({"ground": ground.code(), "count": count(*number)}))
        .collect();
    json!({
        "started": count(flow.started),
        "sent": count(flow.sent),
        "held": count(flow.held),
        "declined": declined,
        "withdrawn": count(flow.withdrawn),
        "pooled": count(flow.pooled),
    })
}

fn changes(changes: &Changes, bands: &GapBands) -> Value {
    let analyses: Vec<Value> = changes
        .analyses
        .iter()
        .map(|change| self::change(change, bands))
        .collect();
    json!({
        "since": changes.since,
        "batch": {"before": changes.batch.0, "now": changes.batch.1},
        "players": {"before": changes.players.0, "now": changes.players.1},
        "protocol_version": {
            "before": changes.protocol_version.0,
            "now": changes.protocol_version.1,
        },
        "same_bands": changes.same_bands,
        "sentences": changes.sentences(),
        "analyses": analyses,
    })
}

fn change(change: &Change, bands: &GapBands) -> Value {
    let mut entry = class_fields(change.key.outcome, change.key.class);
    let mut put = |name: &str, part: Value| entry.insert(name.to_owned(), part);
    put("band", json!(GapBands::code(change.key.band)));
    put("before", figures(change.before));
    put("now", figures(change.now));
    put("sentence", json!(change.sentence(bands)));
    Value::Object(entry)
}

fn figures(figures: Option<Figures>) -> Value {
    figures.map_or(Value::Null, |figures| {
        json!({
            "estimate": figures.estimate,
            "low": figures.low,
            "high": figures.high,
            "k": figures.k,
            "players": figures.players,
        })
    })
}

/// A release in the list of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listed {
    /// Counted from 1.
    pub number: i64,
    /// What it is to the ones before it.
    pub kind: ReleaseKind,
    /// What was wrong with the one before; in a correction only.
    pub reason: Option<String>,
    /// The day it was published, as `YYYY-MM-DD` (UTC).
    pub date: String,
    /// SHA-256 of its document, in hexadecimal.
    pub sha256: String,
    /// Bytes of its document.
    pub bytes: i64,
    /// The permanent address of its page.
    pub address: String,
}

/// A part of the list of a study's releases, the first one first, with the address of the next
/// part. `releases` are all of them, since what became of one is told by those after it.
#[must_use]
pub fn index(
    study: &StudyLabel,
    releases: &[Listed],
    shown: Range<usize>,
    next: Option<&str>,
) -> Value {
    let entry = |(place, listed): (usize, &Listed)| {
        let next = releases.get(place + 1);
        let correction = next.filter(|next| next.kind == ReleaseKind::Correction);
        json!({
            "number": listed.number,
            "kind": listed.kind.code(),
            "date": listed.date,
            "sha256": listed.sha256,
            "bytes": listed.bytes,
            "address": listed.address,
            "json": format!("/api/v1/studies/{}/releases/{}", study.slug, listed.number),
            "superseded_by": next.map(|next| next.number),
            "corrected_by": correction.map(|next| next.number),
            "correction": correction.and_then(|next| next.reason.as_deref()),
        })
    };
    let entries = releases.iter().enumerate();
    let entries = entries.skip(shown.start).take(shown.len()).map(entry);
    let entries: Vec<Value> = entries.collect();
    json!({
        "document": "releases",
        "version": 1,
        "study": study_head(study),
        "releases": entries,
        "next": next,
    })
}
