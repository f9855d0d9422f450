//! The door: bytes to a [`Contribution`] or to every fault at once.
//!
//! Three steps. [`json`] reads strict JSON (UTF-8, no repeated key, bounded depth). [`schema`]
//! holds the document against the published JSON Schema. `rules` then asks what a schema cannot
//! say, reading only the parts that the schema did not already fault, so that one reply names
//! everything that has to be mended. Only when nothing is at fault is the document read into
//! types (`read`).
//!
//! Absent on purpose: any knowledge of HTTP, of the store, and of other contributions.

mod decimals;
pub mod entries;
pub mod fault;
pub mod json;
mod lines;
mod nearest;
mod node;
pub mod query;
mod read;
mod rules;
pub mod schema;
pub mod shots;
pub mod table;
pub mod told;
pub mod uploaded;

pub use fault::{Fault, FaultCode, Flag, FlagCode, Rejection, RejectionKind};

use crate::contribution::Contribution;
use crate::findings::Publication;
use crate::plan::Kind;
use crate::protocol::Study;
use crate::release::Release;
use node::Document;
use schema::Schema;
use serde_json::Value;

/// A contribution that passed, with what is worth a second look.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Admitted {
    /// The contribution.
    pub contribution: Contribution,
    /// Reasons to look again, none of which refuses it.
    pub flags: Vec<Flag>,
}

/// Most values of a contribution or a study: four times what a full contribution holds.
const MOST_VALUES: usize = 10_000;

/// Reads and checks a contribution to a study.
///
/// # Errors
/// A [`Rejection`] with every fault found.
pub fn contribution(bytes: &[u8], study: &Study) -> Result<Admitted, Rejection> {
    let (read, flags) = judged(bytes, study);
    read.map(|contribution| Admitted {
        contribution,
        flags,
    })
}

/// Reads and checks a contribution, and says what is worth a second look in a refused one too: a
/// form is half filled for most of its time.
fn judged(bytes: &[u8], study: &Study) -> (Result<Contribution, Rejection>, Vec<Flag>) {
    let (document, mut faults) = match checked(bytes, Schema::Contribution, MOST_VALUES) {
        Ok(checked) => checked,
        Err(rejection) => return (Err(rejection), Vec::new()),
    };
    decimals::check(&document, &mut faults);
    let root = Document::new(&document, &faults);
    let mut flags = Vec::new();
    rules::contribution(&root, study, &mut faults, &mut flags);
    (finish(faults, || read::contribution(&root)), flags)
}

/// Reads a contribution that passed the door before, from the document that was kept.
///
/// The rules are not asked again: they may have changed since (a new consent text, say), and what
/// was admitted stays admitted. `None` when the document is not what was admitted.
#[must_use]
pub fn kept_contribution(bytes: &[u8]) -> Option<Contribution> {
    let document = json::parse(bytes, MOST_VALUES).ok()?;
    read::contribution(&Document::new(&document, &[]))
}

/// Reads and checks the wish for a plan.
///
/// # Errors
/// A [`Rejection`] with every fault found.
pub fn plan_request(bytes: &[u8]) -> Result<Kind, Rejection> {
    let (document, faults) = checked(bytes, Schema::PlanRequest, MOST_VALUES)?;
    let root = Document::new(&document, &faults);
    let kind = root.field("kind").word(Kind::from_code);
    finish(faults, || kind)
}

/// Reads and checks a study as a host wrote it.
///
/// # Errors
/// A [`Rejection`] with every fault found.
pub fn study(bytes: &[u8]) -> Result<Study, Rejection> {
    let document = json::parse(bytes, MOST_VALUES)?;
    let faults = study_faults(&document);
    finish(faults, || read::study(&Document::new(&document, &[])))
}

/// Whether a study names everything without which recruiting may not open.
///
/// # Errors
/// A [`Rejection`] with what is missing.
pub fn ready_to_recruit(study: &Study) -> Result<(), Rejection> {
    let missing = rules::missing_to_open(&study.hosting);
    if missing.is_empty() {
        Ok(())
    } else {
        Err(Rejection::new(RejectionKind::Invalid, missing))
    }
}

/// Reads and checks a further version of a study that had these before, the newest one last. Only of
/// a study that was opened does it matter what was read before.
///
/// # Errors
/// A [`Rejection`] with every fault found.
pub fn amended_study(
    bytes: &[u8],
    before: &[&Study],
    was_opened: bool,
) -> Result<Study, Rejection> {
    let after = study(bytes)?;
    let mut faults = Vec::new();
    rules::same_name(&after, before, &mut faults);
    if was_opened {
        faults.extend(rules::no_address(&after.hosting));
        rules::settled_at_opening(&after, before, &mut faults);
    }
    finish(faults, || Some(after))
}

/// Reads and checks a download, so that its figures can be made again.
///
/// # Errors
/// A [`Rejection`] with every fault found.
pub fn aggregate(bytes: &[u8]) -> Result<Publication, Rejection> {
    let document = json::parse(bytes, usize::MAX)?;
    let faults = aggregate_faults(&document);
    finish(faults, || read::publication(&Document::new(&document, &[])))
}

/// Reads and checks a download or a release, whichever it says it is, so that its figures can be
/// made again.
///
/// # Errors
/// A [`Rejection`] with every fault found.
pub fn published(bytes: &[u8]) -> Result<Publication, Rejection> {
    let document = json::parse(bytes, usize::MAX)?;
    if document.get("document").and_then(Value::as_str) == Some("release") {
        return checked_release(&document).map(|release| release.publication);
    }
    let faults = aggregate_faults(&document);
    finish(faults, || read::publication(&Document::new(&document, &[])))
}

/// Reads and checks a release.
///
/// # Errors
/// A [`Rejection`] with every fault found.
pub fn release(bytes: &[u8]) -> Result<Release, Rejection> {
    checked_release(&json::parse(bytes, usize::MAX)?)
}

/// Reads a release that was made here. As with [`kept_contribution`], rules are not asked again.
#[must_use]
pub fn kept_release(bytes: &[u8]) -> Option<Release> {
    let document = json::parse(bytes, usize::MAX).ok()?;
    read::release(&Document::new(&document, &[]))
}

fn checked_release(document: &Value) -> Result<Release, Rejection> {
    // The parts that have a schema of their own are faulted in its words.
    const PARTS: [&str; 2] = ["/findings", "/protocol/document"];
    let mut faults = Schema::Release.faults(document);
    faults.retain(|fault| {
        let inside = |part: &str| {
            let rest = fault.pointer.strip_prefix(part);
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
        };
        !PARTS.into_iter().any(inside)
    });
    let part = |place: &str| document.pointer(place).unwrap_or(&Value::Null);
    let findings = aggregate_faults(part("/findings"));
    let study = study_faults(part("/protocol/document"));
    let parts = PARTS.into_iter().zip([findings, study]);
    faults.extend(parts.flat_map(|(place, found)| {
        found.into_iter().map(move |fault| Fault {
            pointer: format!("{place}{}", fault.pointer),
            ..fault
        })
    }));
    finish(faults, || read::release(&Document::new(document, &[])))
}

fn aggregate_faults(document: &Value) -> Vec<Fault> {
    let mut faults = Schema::Aggregate.faults(document);
    let root = Document::new(document, &faults);
    rules::aggregate(&root, &mut faults);
    faults
}

fn study_faults(document: &Value) -> Vec<Fault> {
    let mut faults = Schema::Study.faults(document);
    decimals::check(document, &mut faults);
    let root = Document::new(document, &faults);
    rules::study(&root, &mut faults);
    faults
}

/// Strict JSON with the faults that its schema finds.
fn checked(
    bytes: &[u8],
    schema: Schema,
    most_values: usize,
) -> Result<(Value, Vec<Fault>), Rejection> {
    let document = json::parse(bytes, most_values)?;
    let faults = schema.faults(&document);
    Ok((document, faults))
}

/// Reads the document into types unless something is at fault.
fn finish<T>(mut faults: Vec<Fault>, read: impl FnOnce() -> Option<T>) -> Result<T, Rejection> {
    if faults.is_empty() {
        match read() {
            Some(value) => return Ok(value),
            // The schema promises everything `read` relies on; a test holds the two together.
            None => faults.push(Fault::new(
                String::new(),
                FaultCode::Unreadable,
                "The document passed every check and still could not be read; please report this."
                    .to_owned(),
            )),
        }
    }
    faults.sort();
    faults.dedup();
    Err(Rejection::new(RejectionKind::Invalid, faults))
}
