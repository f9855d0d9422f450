//! Which figures can be made again from the published rows, and which are taken as they are: the one
//! list of them.
//!
//! Places are JSON Pointers in which `*` stands for every place of a list.

use serde_json::{Value, json};

/// What is made of the rows, bit for bit, but for the places that [`AS_THEY_ARE`] names inside it.
const FROM_ROWS: [&str; 4] = ["/analyses", "/questions", "/joint", "/protection"];

/// What rests on more than rows show: on players without a row, single sessions, counts, plans.
const AS_THEY_ARE: [&str; 11] = [
    "/everybody",
    "/session_spreads",
    "/count_models",
    "/first_versions",
    "/reached",
    "/plans",
    "/protection/pairs_left_out_at_least",
    "/analyses/*/scrutiny/session_spread",
    "/analyses/*/scrutiny/counts",
    "/analyses/*/scrutiny/reached",
    "/analyses/*/corrected_at_least",
];

/// What a release says besides, made of its findings.
const OF_RELEASE_FROM_ROWS: [&str; 1] = ["/verdicts"];

/// What a release says besides that its file alone does not show.
const OF_RELEASE_AS_THEY_ARE: [&str; 2] = ["/flow", "/changes"];

/// Where the download stands in a release.
const FINDINGS: &str = "/findings";

/// Both lists in words.
const SENTENCE: &str = "Figures at from_rows are computed from the rows as they are published, rounded and coarsened, so that anybody makes them again bit for bit. Those at as_they_are rest on what rows do not show (players without a row, when pairs came, what was sent before corrections, single sessions, counts of shots, plans), are rounded, and are taken as they are; some figures at from_rows use them.";

/// The statement of a pooled document or a download.
pub(super) fn statement() -> Value {
    told(
        &FROM_ROWS.map(str::to_owned),
        &AS_THEY_ARE.map(str::to_owned),
    )
}

/// The statement of a release.
pub(super) fn of_release() -> Value {
    let all = |of_findings: &[&str], of_release: &[&str]| -> Vec<String> {
        let of_findings = of_findings.iter().map(|place| format!("{FINDINGS}{place}"));
        of_findings
            .chain(of_release.iter().map(|place| (*place).to_owned()))
            .collect()
    };
    told(
        &all(&FROM_ROWS, &OF_RELEASE_FROM_ROWS),
        &all(&AS_THEY_ARE, &OF_RELEASE_AS_THEY_ARE),
    )
}

fn told(from_rows: &[String], as_they_are: &[String]) -> Value {
    json!({"sentence": SENTENCE, "from_rows": from_rows, "as_they_are": as_they_are})
}
