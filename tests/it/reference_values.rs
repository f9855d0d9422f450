//! Pooled figures against `fixtures/reference/`; [`distributions`] has what they rest on.
//!
//! The files come from 50-digit arithmetic that knows nothing of this program. Every case goes
//! through the library and through the program itself, and both must give the same document, so
//! that the door is tested and not only the engine behind it. All differences of a file are
//! collected and told at once.

#![expect(
    clippy::panic,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test stops at what it did not expect"
)]

mod distributions;

use super::laws::{figures_without_reason, pool_json};
use ndarray::Array1;
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use tautpool::findings::scrutiny::Scrutiny;
use tautpool::findings::{self, Choice};
use tautpool::pooling::{Effects, Level};
use tautpool::wire::pooled;

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/reference");

/// Files whose cases are tables of effects with the figures pooled from them.
const POOLED_FILES: &[&str] = &["worked_examples.json", "generated.json"];

/// What a pooled case may hold. `score_roots` and `log_likelihoods` say why a case was chosen;
/// that the global maximum was found shows in its `tau2`.
const KNOWN_FIELDS: &[&str] = &[
    "name",
    "source",
    "estimates",
    "variances",
    "clusters",
    "level",
    "expected",
    "relative",
    "absolute",
    "absolute_squared",
    "printed",
    "disagreements",
    "score_roots",
    "log_likelihoods",
];

/// Regressions of `worked_examples.json` that the program cannot make yet, for it has no maximum
/// likelihood; `reference_regression` compares the others. A row by an estimator that the program
/// lacks must stand here, and a name here that no row has fails.
const REGRESSIONS_NOT_COVERED_YET: &[&str] = &[
    "BCG log odds ratio, maximum likelihood, no covariate",
    "BCG log odds ratio on latitude, maximum likelihood",
];

/// How far a figure may be off: `|actual - expected| <= relative |expected| + absolute`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Tolerance {
    pub(crate) relative: f64,
    pub(crate) absolute: f64,
}

/// Differences found so far, each with its place.
#[derive(Debug, Default)]
pub(crate) struct Report {
    text: String,
    n_compared: usize,
}

impl Report {
    pub(crate) fn say(&mut self, at: &str, what: impl std::fmt::Display) {
        writeln!(self.text, "  {at}: {what}").unwrap();
    }

    /// Records `actual` when it is not as close to `expected` as both tolerances allow; NaN never
    /// is.
    pub(crate) fn assert_close(
        &mut self,
        at: &str,
        actual: f64,
        expected: f64,
        tolerance: Tolerance,
    ) {
        self.n_compared += 1;
        let allowed = tolerance.relative * expected.abs() + tolerance.absolute;
        let miss = (actual - expected).abs();
        let close = miss <= allowed;
        if !close {
            let what =
                format!("{actual:e} instead of {expected:e}, off by {miss:e}, allowed {allowed:e}");
            self.say(at, what);
        }
    }

    /// Records two values that should be the same.
    pub(crate) fn assert_same<T: PartialEq + std::fmt::Debug>(
        &mut self,
        at: &str,
        actual: &T,
        expected: &T,
    ) {
        self.n_compared += 1;
        if actual != expected {
            self.say(at, format!("{actual:?} instead of {expected:?}"));
        }
    }

    /// Fails when anything was recorded, or when so little was compared that the test is hollow.
    pub(crate) fn finish(self, fewest: usize) {
        assert!(self.text.is_empty(), "differences:\n{}", self.text);
        assert!(
            fewest <= self.n_compared,
            "only {} comparisons were made, at least {fewest} were meant",
            self.n_compared
        );
    }
}

pub(crate) fn reference(file: &str) -> Value {
    serde_json::from_slice(&fs::read(Path::new(FOLDER).join(file)).unwrap()).unwrap()
}

pub(crate) fn cases(file: &Value) -> &[Value] {
    file["cases"].as_array().unwrap()
}

pub(crate) fn text<'a>(case: &'a Value, field: &str) -> &'a str {
    case[field]
        .as_str()
        .unwrap_or_else(|| panic!("no text {field} in {case}"))
}

pub(crate) fn number(case: &Value, field: &str) -> f64 {
    case[field]
        .as_f64()
        .unwrap_or_else(|| panic!("no number {field} in {case}"))
}

/// The numbers of a list.
pub(crate) fn numbers(list: &Value) -> Vec<f64> {
    let list = list.as_array().unwrap();
    list.iter().map(|value| value.as_f64().unwrap()).collect()
}

/// The counts, or labels of clusters, of a list.
pub(crate) fn counts(list: &Value) -> Vec<usize> {
    let list = list.as_array().unwrap().iter();
    list.map(|value| usize::try_from(value.as_u64().unwrap()).unwrap())
        .collect()
}

/// The names of a case's clusters, as texts.
fn clusters(case: &Value) -> Option<Vec<String>> {
    Some(
        case["clusters"]
            .as_array()?
            .iter()
            .map(Value::to_string)
            .collect(),
    )
}

/// The document that the library makes of a case, the way the program does.
fn by_library(case: &Value) -> Value {
    let names = clusters(case).unwrap_or_default();
    let mut numbered = BTreeMap::new();
    for name in &names {
        let next = numbered.len();
        numbered.entry(name.as_str()).or_insert(next);
    }
    let labels: Array1<usize> = names.iter().map(|name| numbered[name.as_str()]).collect();
    let effects = Effects::new(
        Array1::from(numbers(&case["estimates"])).view(),
        Array1::from(numbers(&case["variances"])).view(),
        (!names.is_empty()).then(|| labels.view()),
    )
    .unwrap();
    let level = Level::new(number(case, "level")).unwrap();
    let finding = findings::table(&effects, level, Choice::default());
    let scrutiny = Scrutiny::of_table(&effects, level);
    pooled::of_table(level, &finding, &scrutiny)
}

/// The document that the program prints for a case. Rust writes a double in the shortest text
/// that reads back to it, so nothing is lost on the way.
fn by_program(case: &Value) -> Value {
    let names = clusters(case);
    let mut csv = "estimate,variance".to_owned();
    csv.push_str(if names.is_some() { ",cluster\n" } else { "\n" });
    let rows = numbers(&case["estimates"])
        .into_iter()
        .zip(numbers(&case["variances"]));
    for (idx, (estimate, variance)) in rows.enumerate() {
        write!(csv, "{estimate:e},{variance:e}").unwrap();
        if let Some(names) = &names {
            write!(csv, ",{}", names[idx]).unwrap();
        }
        csv.push('\n');
    }
    let level = format!("--level={}", number(case, "level"));
    pool_json(&[&level], csv.as_bytes())
}

/// The reference as the program publishes it. Three conventions differ from the reference:
///
/// - CR2 with fewer than 4 degrees of freedom is null as a whole, because a standard error without
///   degrees of freedom to read it by invites a normal interval; the reference keeps `se` and `df`;
/// - a single effect has no between-effects variance, so the random-effects models are null as a
///   whole; what the reference gives for them, the effect itself with its normal interval, is
///   `shown`;
/// - `tau2` of the fixed-effect model is 0 by its definition at k = 1 too.
fn as_published(expected: &Value) -> Value {
    let mut published = expected.clone();
    if expected["k"] == json!(1) {
        let single = &expected["models"]["reml"];
        published["shown"] = json!({
            "interval_kind": "wald",
            "estimate": single["estimate"],
            "low": single["wald"]["low"],
            "high": single["wald"]["high"],
            "p": single["wald"]["p"],
            "prediction": null,
        });
        for name in ["dl", "pm", "reml"] {
            assert_eq!(expected["models"][name], *single, "one effect, one answer");
            published["models"][name] = Value::Null;
        }
        published["models"]["fixed"]["tau2"] = json!(0.0);
    }
    for model in published["models"].as_object_mut().unwrap().values_mut() {
        let Some(model) = model.as_object_mut() else {
            continue;
        };
        let robust = model.entry("cluster_robust").or_insert(Value::Null);
        if robust["df"].as_f64().is_some_and(|df| df < 4.0) {
            assert!(robust["low"].is_null() && robust["high"].is_null() && robust["p"].is_null());
            *robust = Value::Null;
        }
    }
    published
}

/// The tolerance of a figure by its name: see the precision section of the fixtures' README.
fn tolerance(case: &Value, name: &str) -> Tolerance {
    Tolerance {
        relative: number(case, "relative"),
        absolute: match name {
            "estimate" | "se" | "low" | "high" => number(case, "absolute"),
            "tau2" | "tau2_low" | "tau2_high" => number(case, "absolute_squared"),
            "p" => 1e-300,
            _ => 1e-12,
        },
    }
}

/// Compares every leaf of `expected` with the figure of the same name, and reports figures that
/// `actual` has and the reference does not know.
fn compare(report: &mut Report, case: &Value, at: &str, actual: &Value, expected: &Value) {
    let name = at.rsplit('/').next().unwrap_or_default();
    let place = || format!("{} {at}", text(case, "name"));
    match (expected, actual) {
        (Value::Null, actual) => {
            for leaf in leaves(actual) {
                report.assert_same(&place(), &leaf, &&Value::Null);
            }
        }
        (Value::Object(expected), Value::Object(actual)) => {
            let names: BTreeSet<&String> = expected.keys().chain(actual.keys()).collect();
            for name in names {
                let at = format!("{at}/{name}");
                match (actual.get(name), expected.get(name)) {
                    (Some(actual), Some(expected)) => compare(report, case, &at, actual, expected),
                    (None, _) => report.say(&place(), format!("there is no {name}")),
                    // Words about a figure, not a figure.
                    (Some(_), None) if name == "tau2_note" => {}
                    (Some(_), None) => {
                        report.say(&place(), format!("{name} has no reference"));
                    }
                }
            }
        }
        (Value::Number(expected), Value::Number(actual)) => report.assert_close(
            &place(),
            actual.as_f64().unwrap(),
            expected.as_f64().unwrap(),
            tolerance(case, name),
        ),
        (expected, actual) => report.assert_same(&place(), actual, expected),
    }
}

/// Every value below a place that is neither object nor list.
fn leaves(value: &Value) -> Vec<&Value> {
    match value {
        Value::Object(fields) => fields.values().flat_map(leaves).collect(),
        Value::Array(items) => items.iter().flat_map(leaves).collect(),
        leaf => vec![leaf],
    }
}

/// Whether `value`, transformed as the row says, rounds to the digits that were printed.
fn rounds_to(value: f64, printed: f64, row: &Value) -> bool {
    let value = match row["transform"].as_str() {
        None => value,
        Some("exp") => value.exp(),
        Some("sqrt") => value.sqrt(),
        Some(other) => panic!("unknown transform {other}"),
    };
    let unit = 10_f64.powi(-i32::try_from(row["digits"].as_i64().unwrap()).unwrap());
    // Half a unit of the last digit; the share above it forgives the rounding of `printed` itself.
    (value - printed).abs() <= 0.5 * unit * (1.0 + 1e-9)
}

fn printed_digits(report: &mut Report, case: &Value, figures: &Value) {
    let list = |name: &str| case[name].as_array().cloned().unwrap_or_default();
    let figure = |row: &Value| figures.pointer(text(row, "at")).and_then(Value::as_f64);
    for row in list("printed") {
        let value = figure(&row).unwrap_or(f64::NAN);
        let place = format!("{} {}, as printed", text(case, "name"), text(&row, "at"));
        report.assert_same(
            &place,
            &rounds_to(value, number(&row, "value"), &row),
            &true,
        );
    }
    for row in list("disagreements") {
        let value = figure(&row).unwrap_or(f64::NAN);
        let place = format!("{} {}, disagreement", text(case, "name"), text(&row, "at"));
        let recomputed = rounds_to(value, number(&row, "recomputed"), &row);
        let printed = rounds_to(value, number(&row, "printed"), &row);
        report.assert_same(&place, &(recomputed, printed), &(true, false));
    }
}

fn pooled_case(report: &mut Report, case: &Value) {
    let name = text(case, "name");
    for field in case.as_object().unwrap().keys() {
        if !KNOWN_FIELDS.contains(&field.as_str()) {
            report.say(name, format!("the field {field} is compared with nothing"));
        }
    }
    let document = by_library(case);
    report.assert_same(
        &format!("{name}, library against program"),
        &document,
        &by_program(case),
    );
    let analysis = &document["analyses"][0];
    let expected = as_published(&case["expected"]);
    // `shown`, `any_time` and the words around them are the project's own; the figures they are
    // made of are compared here.
    let compared: Map<String, Value> = expected
        .as_object()
        .unwrap()
        .keys()
        .map(|field| (field.clone(), analysis[field].clone()))
        .collect();
    compare(report, case, "", &Value::Object(compared), &expected);
    for place in figures_without_reason(analysis) {
        report.say(name, format!("{place} is null without a reason"));
    }
    printed_digits(report, case, analysis);
}

#[test]
fn worked_examples_agree_with_the_reference_and_with_their_printed_digits() {
    let file = reference("worked_examples.json");
    let mut report = Report::default();
    for case in cases(&file) {
        pooled_case(&mut report, case);
    }
    report.finish(500);
}

#[test]
fn generated_cases_agree_with_the_reference() {
    let file = reference("generated.json");
    let mut report = Report::default();
    for case in cases(&file) {
        pooled_case(&mut report, case);
    }
    report.finish(3_000);
}

#[test]
fn no_file_of_pooled_cases_is_left_out() {
    let mut found = BTreeSet::new();
    for entry in fs::read_dir(FOLDER).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if !name.ends_with(".json") {
            continue;
        }
        let file = reference(&name);
        let first = &cases(&file)[0];
        // A case with columns is a regression, which `reference_regression` compares; the other
        // files have tests of their own names.
        let is_pooled = first["expected"].get("models").is_some();
        if is_pooled && first.get("columns").is_none() {
            found.insert(name);
        }
    }
    let known: BTreeSet<String> = POOLED_FILES.iter().map(|&name| name.to_owned()).collect();
    assert_eq!(found, known, "give each file of pooled cases a test here");
}

#[test]
fn regressions_without_a_comparison_are_the_listed_ones() {
    let file = reference("worked_examples.json");
    let rows = file["regressions"].as_array().unwrap();
    let by_likelihood = rows.iter().filter(|row| text(row, "method") == "ml");
    let found: BTreeSet<&str> = by_likelihood.map(|row| text(row, "name")).collect();
    let listed: BTreeSet<&str> = REGRESSIONS_NOT_COVERED_YET.iter().copied().collect();
    assert_eq!(
        found, listed,
        "compare new rows, and take compared ones off the list"
    );
}

#[test]
fn a_difference_is_reported_and_so_is_nan() {
    let tolerance = Tolerance {
        relative: 1e-10,
        absolute: 0.0,
    };
    let mut report = Report::default();
    report.assert_close("equal", 1.0, 1.0, tolerance);
    assert!(report.text.is_empty());
    report.assert_close("off", 1.0 + 1e-9, 1.0, tolerance);
    report.assert_close("NaN", f64::NAN, 1.0, tolerance);
    assert_eq!(report.text.lines().count(), 2, "{}", report.text);

    let case =
        json!({"name": "made up", "relative": 0.0, "absolute": 0.0, "absolute_squared": 0.0});
    let expected = json!({"a": null, "b": 1, "c": {"p": 0.5}});
    let mut report = Report::default();
    compare(&mut report, &case, "", &expected, &expected);
    assert!(report.text.is_empty(), "{}", report.text);
    for actual in [
        json!({"a": {"low": 1}, "b": 1, "c": {"p": 0.5}}),
        json!({"a": null, "b": null, "c": {"p": 0.5}}),
        json!({"a": null, "b": 1, "c": {"p": 0.5, "q": 1}}),
        json!({"a": null, "b": 1, "c": {}}),
    ] {
        let mut report = Report::default();
        compare(&mut report, &case, "", &actual, &expected);
        assert_eq!(report.text.lines().count(), 1, "{actual}: {}", report.text);
    }
}
