//! What the file of a release can show by itself: that it holds to its schema, stands in canonical
//! form, and says nothing that the rest of it does not give.
//!
//! Everything that can be made again is made again and compared. What cannot is kept by the file's
//! hash alone ([`NOT_CHECKED`]).

use super::super::protocol::plan_of_analysis;
use super::{canonical, document};
use crate::findings::{Choice, Findings, Publication, Rows};
use crate::intake::{self, Rejection};
use crate::pooling::NumericError;
use crate::release::{Release, Software};
use serde_json::Value;

/// What nothing but the hash protects, since nothing else in the file depends on it. `*` stands for
/// every place of a list.
pub const NOT_CHECKED: &[&str] = &[
    // The release itself.
    "/note",
    "/reason",
    "/contact",
    "/published_at",
    "/software",
    "/stated",
    "/flow",
    "/changes",
    // The protocol, but for the plan of analysis, whose hash stands beside it.
    "/protocol/document",
    "/protocol/history",
    "/protocol/plan_hash_at_opening",
    // What is taken as it is.
    "/findings/batch",
    "/findings/everybody",
    "/findings/session_spreads",
    "/findings/count_models",
    "/findings/first_versions",
    "/findings/reached",
    "/findings/protection/pairs_left_out_at_least",
    "/findings/plans",
    // Columns of rows that only some analyses use, or use alike with other numbers.
    "/findings/rows/*/group",
    "/findings/rows/*/pair",
    "/findings/rows/*/gap_lb",
    "/findings/rows/*/imputed_variance",
    "/findings/rows/*/looser_sessions",
    "/findings/rows/*/tighter_sessions",
    "/findings/rows/*/planned",
    "/findings/rows/*/order",
    "/findings/rows/*/blinded",
    "/findings/rows/*/partner_pace_kmh",
    "/findings/rows/*/string_age_hours",
    "/findings/rows/*/level",
    "/findings/rows/*/string_family",
    "/findings/rows/*/month",
    "/findings/rows/*/frame",
];

/// Longest piece of a document that is shown.
const LONGEST: usize = 120;

/// What was found in a file that is a release.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checks {
    /// Rows in it.
    pub n_rows: usize,
    /// Analyses that were made again.
    pub n_analyses: usize,
    /// The first byte, counted from 0, at which it is not in canonical form.
    pub form: Option<usize>,
    /// The first row whose numbers of group and pair do not go on from the row before.
    pub out_of_order: Option<usize>,
    /// The first figure that the rows do not give.
    pub figures: Option<Difference>,
    /// The first word or figure besides that the rest of the file does not give.
    pub words: Option<Difference>,
    /// What made the release.
    pub software: Software,
    /// The plan of analysis as it is hashed, for the hash that [`Checks::plan_hash`] says it has.
    pub plan: String,
    /// The hash of the plan, as it is written.
    pub plan_hash: Option<String>,
}

impl Checks {
    /// Whether nothing was found wanting, but for the plan's hash, which is for the caller to take.
    #[must_use]
    pub const fn hold(&self) -> bool {
        self.form.is_none()
            && self.out_of_order.is_none()
            && self.figures.is_none()
            && self.words.is_none()
    }
}

/// A place at which a document is not what it should be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// JSON Pointer.
    pub at: String,
    /// What is written there, shortened.
    pub written: String,
    /// What it should be, shortened.
    pub wanted: String,
}

/// Checks the bytes of a release.
///
/// # Errors
/// A [`Rejection`] when they are none; otherwise [`NumericError`] when a row cannot be pooled, which
/// intake rules out.
pub fn check(bytes: &[u8]) -> Result<Result<Checks, Rejection>, NumericError> {
    check_with(bytes, |publication| publication.analyse(Choice::default()))
}

/// The same with findings from elsewhere, for whoever checks many files with the same rows.
///
/// # Errors
/// As [`check`].
pub fn check_with(
    bytes: &[u8],
    findings: impl FnOnce(&Publication) -> Result<Findings, NumericError>,
) -> Result<Result<Checks, Rejection>, NumericError> {
    let release = match intake::release(bytes) {
        Ok(release) => release,
        Err(rejection) => return Ok(Err(rejection)),
    };
    let mut again = document(&release, &findings(&release.publication)?);
    // What was read as a release is JSON.
    let mut found: Value = serde_json::from_slice(bytes).unwrap_or_default();
    let form = first_other(bytes, canonical(&found).as_bytes());
    let analyses = found.pointer("/findings/analyses");
    let n_analyses = analyses.and_then(Value::as_array).map_or(0, Vec::len);
    let [written, made] = [&mut found, &mut again].map(take_findings);
    Ok(Ok(Checks {
        n_rows: release.publication.rows.len(),
        n_analyses,
        form,
        out_of_order: out_of_order(&release.publication.rows),
        figures: difference(&written, &made, "/findings"),
        words: difference(&found, &again, "").or_else(|| other_rules(&release)),
        plan: canonical(&plan_of_analysis(&release.study.protocol)),
        plan_hash: release.protocol.plan_hash_now,
        software: release.software,
    }))
}

/// Groups are numbered from 1 in the order of the rows, and so are the pairs of each.
fn out_of_order(rows: &Rows) -> Option<usize> {
    let mut before = (0, 0);
    let mut rows = rows.iter();
    rows.position(|row| {
        let (group, pair) = before;
        before = (row.group, row.pair);
        let next = [(group, pair), (group, pair + 1), (group + 1, 1)];
        !next.contains(&before)
    })
}

/// The findings follow the protocol that stands beside them.
fn other_rules(release: &Release) -> Option<Difference> {
    (release.publication.rules != release.study.protocol.analysis).then(|| Difference {
        at: "/findings/protocol".to_owned(),
        written: "other rules of analysis".to_owned(),
        wanted: "those of /protocol/document".to_owned(),
    })
}

fn first_other(bytes: &[u8], wanted: &[u8]) -> Option<usize> {
    let differs = bytes.iter().zip(wanted).position(|(a, b)| a != b);
    differs.or((bytes.len() != wanted.len()).then(|| bytes.len().min(wanted.len())))
}

/// The findings of a release, taken out of its document.
fn take_findings(document: &mut Value) -> Value {
    let findings = document.get_mut("findings");
    findings.map(Value::take).unwrap_or_default()
}

/// The first place at which two documents differ.
fn difference(written: &Value, wanted: &Value, at: &str) -> Option<Difference> {
    match (written, wanted) {
        (Value::Object(written), Value::Object(wanted)) => {
            let mut names: Vec<&String> = written.keys().chain(wanted.keys()).collect();
            names.sort();
            names.dedup();
            names.into_iter().find_map(|name| {
                let at = format!("{at}/{}", name.replace('~', "~0").replace('/', "~1"));
                match (written.get(name), wanted.get(name)) {
                    (Some(written), Some(wanted)) => difference(written, wanted, &at),
                    (written, wanted) => Some(told(at, written, wanted)),
                }
            })
        }
        (Value::Array(written), Value::Array(wanted)) if written.len() == wanted.len() => {
            let mut pairs = written.iter().zip(wanted).enumerate();
            pairs.find_map(|(place, (written, wanted))| {
                difference(written, wanted, &format!("{at}/{place}"))
            })
        }
        // Both in canonical form, in which 5 and 5.0 are one number.
        _ => (canonical(written) != canonical(wanted))
            .then(|| told(at.to_owned(), Some(written), Some(wanted))),
    }
}

fn told(at: String, written: Option<&Value>, wanted: Option<&Value>) -> Difference {
    Difference {
        at,
        written: piece(written),
        wanted: piece(wanted),
    }
}

fn piece(value: Option<&Value>) -> String {
    let Some(value) = value else {
        return "nothing".to_owned();
    };
    let text = canonical(value);
    match text.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}…", text.get(..end).unwrap_or_default()),
        None => text,
    }
}
