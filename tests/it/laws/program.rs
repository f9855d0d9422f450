//! Running `tautpool pool`, and what every document it prints must be.

use serde_json::Value;
use std::io::Write as _;
use std::process::{Command, Stdio};
use tautpool::intake::schema::Schema;

/// What the program said.
pub(crate) struct Answer {
    pub(crate) code: Option<i32>,
    pub(crate) out: String,
    pub(crate) err: String,
}

/// Runs `tautpool pool` with nothing in its environment, `input` on standard input.
pub(crate) fn pool(arguments: &[&str], input: &[u8]) -> Answer {
    let mut child = Command::new(env!("CARGO_BIN_EXE_tautpool"))
        .arg("pool")
        .args(arguments)
        .env_clear()
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A program that refuses its command line reads nothing, which is not this test's concern.
    let _ = child.stdin.take().unwrap().write_all(input);
    let output = child.wait_with_output().unwrap();
    Answer {
        code: output.status.code(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// The bytes that `tautpool pool --json -` prints for an input that it must take.
pub(crate) fn pool_text(options: &[&str], input: &[u8]) -> String {
    let answer = pool(&[&["--json", "-"], options].concat(), input);
    assert_eq!(answer.code, Some(0), "{}", answer.err);
    assert_eq!(answer.err, "");
    answer.out
}

/// The same, read and held against the published schema.
pub(crate) fn pool_json(options: &[&str], input: &[u8]) -> Value {
    let document: Value = serde_json::from_str(&pool_text(options, input)).unwrap();
    let faults = Schema::Pooled.faults(&document);
    assert!(faults.is_empty(), "against the schema: {faults:?}");
    for analysis in document["analyses"].as_array().unwrap() {
        let bare = figures_without_reason(analysis);
        assert!(bare.is_empty(), "null without a reason: {bare:?}");
    }
    document
}

/// The parts of an analysis that hold its figures.
pub(crate) const FIGURES: [&str; 7] = [
    "k",
    "players",
    "shown",
    "any_time",
    "models",
    "bootstrap_prediction",
    "heterogeneity",
];

/// The parts of the scrutiny of an analysis that hold figures.
const SCRUTINY: [&str; 7] = [
    "sensitivity",
    "leave_one_out",
    "small_studies",
    "three_level",
    "gains",
    "outlook",
    "tipping",
];

/// Places of an analysis that are null without a reason in `not_estimable`, neither for
/// themselves nor for something above them. The reason for the lower end of a range speaks for
/// its upper end. JSON has no NaN: a figure that failed would be written as such a null.
pub(crate) fn figures_without_reason(analysis: &Value) -> Vec<String> {
    let mut bare = Vec::new();
    if !analysis["withheld"].is_null() {
        return bare;
    }
    let reasons: Vec<&str> = analysis["not_estimable"]
        .as_array()
        .unwrap()
        .iter()
        .map(|reason| {
            assert!(!reason["sentence"].as_str().unwrap().is_empty(), "{reason}");
            assert!(!reason["code"].as_str().unwrap().is_empty(), "{reason}");
            reason["at"].as_str().unwrap()
        })
        .collect();
    for field in FIGURES {
        nulls(&analysis[field], &format!("/{field}"), &mut bare);
    }
    // Of what puts an analysis to the test, words and what needs a study may be absent.
    let parts = SCRUTINY.iter();
    for field in parts.filter(|_| !analysis["scrutiny"].is_null()) {
        let at = format!("/scrutiny/{field}");
        nulls(&analysis["scrutiny"][field], &at, &mut bare);
    }
    bare.retain(|place| {
        let lower_end = place
            .strip_suffix("high")
            .map_or_else(|| place.clone(), |stem| format!("{stem}low"));
        !reasons.iter().any(|&at| {
            let above = place
                .strip_prefix(at)
                .is_some_and(|rest| rest.starts_with('/'));
            at == *place || at == lower_end || above
        })
    });
    bare
}

/// Pointers of everything that is null in a part of a document, but for notes.
pub(crate) fn nulls(value: &Value, at: &str, found: &mut Vec<String>) {
    match value {
        // A note is there only when there is something to note.
        Value::Null if !at.ends_with("_note") => found.push(at.to_owned()),
        Value::Object(fields) => {
            for (name, field) in fields {
                nulls(field, &format!("{at}/{name}"), found);
            }
        }
        Value::Array(items) => {
            for (place, item) in items.iter().enumerate() {
                nulls(item, &format!("{at}/{place}"), found);
            }
        }
        _ => {}
    }
}

/// A generator of made-up numbers, the same in every run: Knuth's 64-bit linear congruential
/// generator (The Art of Computer Programming, volume 2, 3.3.4, table 1), upper bits.
pub(crate) struct Made(pub(crate) u64);

impl Made {
    pub(crate) fn below(&mut self, limit: u32) -> u32 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        u32::try_from(self.0 >> 33).unwrap() % limit
    }

    pub(crate) fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            let other = self.below(u32::try_from(last + 1).unwrap());
            items.swap(last, usize::try_from(other).unwrap());
        }
    }

    /// An effect and its variance, both multiples of 1/64, so that shifts by small whole numbers
    /// and scales by powers of two are exact.
    pub(crate) fn effect(&mut self) -> (f64, f64) {
        let estimate = f64::from(self.below(1_024)) / 64.0 - 8.0;
        let variance = f64::from(self.below(256) + 8) / 64.0;
        (estimate, variance)
    }

    pub(super) fn effects(&mut self, k: usize) -> Vec<(f64, f64)> {
        (0..k).map(|_| self.effect()).collect()
    }
}

#[test]
fn a_null_without_a_reason_is_found() {
    let mut document = pool_json(&[], b"estimate,variance\n1,1\n5,3\n");
    let analysis = &mut document["analyses"][0];
    assert!(figures_without_reason(analysis).is_empty());
    analysis["models"]["reml"]["se"] = Value::Null;
    analysis["heterogeneity"]["i2_high"] = Value::Null;
    let found = figures_without_reason(analysis);
    assert_eq!(found, ["/models/reml/se", "/heterogeneity/i2_high"]);
}
