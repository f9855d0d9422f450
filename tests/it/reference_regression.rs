//! Regressions against `fixtures/reference/regression.json` and the regressions of
//! `worked_examples.json`.
//!
//! The references come from dense matrices in 50-digit arithmetic. Every case goes through the
//! program, on a CSV, and through the library, which also answers for places between and beyond the
//! data.

#![expect(
    clippy::panic,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test stops at what it did not expect"
)]

use super::laws::pool_json;
use super::reference_values::{Report, Tolerance, cases, number, numbers, reference, text};
use ndarray::{Array1, Array2};
use serde_json::{Value, json};
use std::fmt::Write as _;
use tautpool::pooling::regression::{Design, Estimator, Prediction, Regression, regress};
use tautpool::pooling::{Level, TInterval};

/// What a case may hold; anything else would be compared with nothing.
const KNOWN_FIELDS: &[&str] = &[
    "name",
    "source",
    "estimates",
    "variances",
    "clusters",
    "columns",
    "intercept",
    "estimator",
    "level",
    "expected",
    "relative",
    "absolute_squared",
    "printed",
];

/// Below this many degrees of freedom CR2 is null as a whole; the reference keeps `se` and `df`.
const LEAST_DF: f64 = 4.0;

fn names(case: &Value) -> Vec<String> {
    let columns = case["columns"].as_array().unwrap();
    columns
        .iter()
        .map(|column| text(column, "name").to_owned())
        .collect()
}

fn moderators(case: &Value) -> Vec<Vec<f64>> {
    let columns = case["columns"].as_array().unwrap();
    columns
        .iter()
        .map(|column| numbers(&column["values"]))
        .collect()
}

fn estimator(code: &str) -> Estimator {
    match code {
        "fixed" => Estimator::Fixed,
        "dl" => Estimator::DersimonianLaird,
        "pm" => Estimator::PauleMandel,
        "reml" => Estimator::RestrictedMaximumLikelihood,
        other => panic!("unknown estimator {other}"),
    }
}

fn by_library(case: &Value, columns: &[Vec<f64>], names: &[String]) -> Regression {
    let estimates = Array1::from(numbers(&case["estimates"]));
    let clusters = case["clusters"].as_array().map(|labels| {
        let labels = labels.iter().map(|label| label.as_u64().unwrap());
        labels
            .map(|label| usize::try_from(label).unwrap())
            .collect::<Array1<usize>>()
    });
    let design = Design::new(
        estimates.view(),
        Array1::from(numbers(&case["variances"])).view(),
        clusters.as_ref().map(|labels| labels.view()),
        Array2::from_shape_fn((estimates.len(), columns.len()), |(row, column)| {
            columns[column][row]
        })
        .view(),
        names,
        case["intercept"].as_bool().unwrap_or(true),
    )
    .unwrap();
    let level = Level::new(case["level"].as_f64().unwrap_or(0.95)).unwrap();
    let code = case["estimator"].as_str().or(case["method"].as_str());
    regress(&design, estimator(code.unwrap()), level)
}

fn by_program(case: &Value) -> Value {
    let (names, columns) = (names(case), moderators(case));
    let clusters = case["clusters"].as_array();
    let mut csv = "estimate,variance".to_owned();
    if clusters.is_some() {
        csv.push_str(",who");
    }
    for name in &names {
        write!(csv, ",{name}").unwrap();
    }
    let rows = numbers(&case["estimates"])
        .into_iter()
        .zip(numbers(&case["variances"]));
    for (row, (estimate, variance)) in rows.enumerate() {
        write!(csv, "\n{estimate:e},{variance:e}").unwrap();
        if let Some(clusters) = clusters {
            write!(csv, ",{}", clusters[row]).unwrap();
        }
        for column in &columns {
            write!(csv, ",{:e}", column[row]).unwrap();
        }
    }
    let mut options = vec![
        format!("--level={}", number(case, "level")),
        format!("--estimator={}", text(case, "estimator")),
    ];
    options.extend(names.iter().map(|name| format!("--moderator={name}")));
    if clusters.is_some() {
        options.push("--cluster=who".to_owned());
    }
    if case["intercept"] == json!(false) {
        options.push("--no-intercept".to_owned());
    }
    let options: Vec<&str> = options.iter().map(String::as_str).collect();
    pool_json(&options, csv.as_bytes())["analyses"][0]["regression"].clone()
}

/// A case's comparisons.
struct Comparison<'a> {
    report: &'a mut Report,
    case: &'a Value,
}

impl Comparison<'_> {
    fn close(&mut self, at: &str, actual: &Value, expected: &Value, absolute: f64) {
        let place = format!("{} {at}", text(self.case, "name"));
        let tolerance = Tolerance {
            relative: number(self.case, "relative"),
            absolute,
        };
        match (actual.as_f64(), expected.as_f64()) {
            (Some(actual), Some(expected)) => {
                self.report
                    .assert_close(&place, actual, expected, tolerance);
            }
            _ => self.report.assert_same(&place, actual, expected),
        }
    }

    /// Compares the figures of two objects by name. A figure in the unit of the effects may be off
    /// by a share of the coefficient's standard error, since an estimate near 0 or the end of a
    /// range near 0 is a difference of larger numbers.
    fn figures(&mut self, at: &str, actual: &Value, expected: &Value, scale: f64) {
        for (name, expected) in expected.as_object().unwrap() {
            let absolute = match name.as_str() {
                "estimate" | "low" | "high" => 1e-12 * scale,
                "p" => 1e-300,
                "t" | "z" => 1e-12,
                _ => 0.0,
            };
            self.close(&format!("{at}/{name}"), &actual[name], expected, absolute);
        }
    }

    fn coefficients(&mut self, actual: &Value, expected: &Value) {
        let list = expected["coefficients"].as_array().unwrap();
        for (idx, expected) in list.iter().enumerate() {
            let at = format!("/coefficients/{idx}");
            let actual = &actual["coefficients"][idx];
            let scale = number(expected, "se");
            let mut plain = expected.clone();
            for part in ["safe", "wald"] {
                let expected = plain.as_object_mut().unwrap().remove(part).unwrap();
                self.figures(&format!("{at}/{part}"), &actual[part], &expected, scale);
            }
            self.figures(&at, actual, &plain, scale);
        }
        let none = Vec::new();
        let robust = expected["robust"].as_array().unwrap_or(&none);
        for (idx, expected) in robust.iter().enumerate() {
            let at = format!("/robust/{idx}");
            let actual = &actual["robust"][idx];
            let scale = number(expected, "se");
            let few = number(expected, "df") < LEAST_DF;
            let expected = if few {
                json!({"se": null, "df": null, "low": null, "high": null, "p": null})
            } else {
                expected.clone()
            };
            self.figures(&at, actual, &expected, scale);
        }
    }

    fn document(&mut self, actual: &Value) {
        let expected = &self.case["expected"];
        for name in ["k", "players", "estimator", "df"] {
            self.close(&format!("/{name}"), &actual[name], &expected[name], 0.0);
        }
        let squared = number(self.case, "absolute_squared");
        self.close("/tau2", &actual["tau2"], &expected["tau2"], squared);
        for name in ["q_residual", "q_residual_p", "condition", "r2"] {
            let absolute = if name == "r2" { 1e-10 } else { 1e-300 };
            self.close(
                &format!("/{name}"),
                &actual[name],
                &expected[name],
                absolute,
            );
        }
        for name in ["f", "f_safe", "q_model"] {
            if let Some(fields) = expected[name].as_object() {
                let expected = Value::Object(fields.clone());
                self.figures(&format!("/{name}"), &actual[name], &expected, 0.0);
            } else {
                self.close(name, &actual[name]["value"], &Value::Null, 0.0);
            }
        }
        self.coefficients(actual, expected);
    }

    fn predictions(&mut self, regression: &Regression) {
        let model = regression.model.as_ref().unwrap();
        let list = self.case["expected"]["predictions"].as_array().unwrap();
        for (idx, expected) in list.iter().enumerate() {
            let at = format!("/predictions/{idx}");
            let found = model.predict(&numbers(&expected["at"])).unwrap();
            let mut expected = expected.clone();
            expected.as_object_mut().unwrap().remove("at");
            let actual = prediction_entry(&found);
            let scale = number(&expected, "se");
            for part in ["safe", "prediction"] {
                let expected = expected.as_object_mut().unwrap().remove(part).unwrap();
                self.figures(&format!("{at}/{part}"), &actual[part], &expected, scale);
            }
            self.figures(&at, &actual, &expected, scale);
        }
    }
}

fn prediction_entry(found: &Prediction) -> Value {
    let t_figures = |t: &TInterval| {
        let (ratio, p) = (found.estimate / t.se, t.p.unwrap());
        json!({"se": t.se, "low": t.low, "high": t.high, "t": ratio, "p": p})
    };
    let prediction = found.prediction.unwrap();
    let mut entry = t_figures(&found.knapp_hartung);
    entry["estimate"] = json!(found.estimate);
    entry["model_se"] = json!(found.se);
    entry["safe"] = t_figures(&found.knapp_hartung_safe);
    entry["prediction"] = json!({"low": prediction.low, "high": prediction.high});
    entry
}

#[test]
fn regressions_agree_with_the_reference() {
    let file = reference("regression.json");
    let mut report = Report::default();
    for case in cases(&file) {
        let name = text(case, "name");
        for field in case.as_object().unwrap().keys() {
            assert!(KNOWN_FIELDS.contains(&field.as_str()), "{name}: {field}");
        }
        let regression = by_library(case, &moderators(case), &names(case));
        let mut comparison = Comparison {
            report: &mut report,
            case,
        };
        comparison.predictions(&regression);
        // Without a moderator there is no regression at the command line.
        if !names(case).is_empty() {
            comparison.document(&by_program(case));
        }
        let model = regression.model.as_ref().unwrap();
        let tau2 = json!(model.tau_squared);
        let squared = number(case, "absolute_squared");
        comparison.close("tau2, library", &tau2, &case["expected"]["tau2"], squared);
    }
    report.finish(1_500);
}

#[test]
fn printed_regressions_agree_to_their_printed_digits() {
    let file = reference("regression.json");
    let mut report = Report::default();
    for case in cases(&file) {
        let rows = case["printed"].as_array().unwrap();
        let figures = if rows.is_empty() {
            Value::Null
        } else {
            by_program(case)
        };
        for row in rows {
            let at = text(row, "at");
            let actual = figures.pointer(at).and_then(Value::as_f64).unwrap();
            let digits = i32::try_from(row["digits"].as_i64().unwrap()).unwrap();
            let half_unit = 0.5 * 10_f64.powi(-digits) * (1.0 + 1e-9);
            let tolerance = Tolerance {
                relative: 0.0,
                absolute: half_unit,
            };
            let place = format!("{} {at}, as printed", text(case, "name"));
            report.assert_close(&place, actual, number(row, "value"), tolerance);
        }
    }
    report.finish(9);
}

#[test]
fn regressions_of_the_worked_examples_agree() {
    let file = reference("worked_examples.json");
    let mut report = Report::default();
    let rows = file["regressions"].as_array().unwrap();
    // Maximum likelihood is no estimator of the program's.
    for case in rows.iter().filter(|case| text(case, "method") != "ml") {
        let columns = vec![numbers(&case["covariate"])];
        let regression = by_library(case, &columns, &["latitude".to_owned()]);
        let model = regression.model.unwrap();
        let expected = &case["expected"];
        let adjusted = &expected["knapp_hartung"];
        let mut comparison = Comparison {
            report: &mut report,
            case,
        };
        comparison.close("tau2", &json!(model.tau_squared), &expected["tau2"], 0.0);
        let q_model = json!(model.wald_test.unwrap().value);
        comparison.close("q_model", &q_model, &expected["q_model"], 0.0);
        for (idx, found) in model.coefficients.iter().enumerate() {
            let (t, at) = (found.knapp_hartung, format!("coefficient {idx}"));
            let pairs = [
                (found.estimate, &expected["coefficients"][idx]),
                (found.se, &expected["standard_errors"][idx]),
                (t.se, &adjusted["standard_errors"][idx]),
                (t.df, &adjusted["df"]),
                (t.p.unwrap(), &adjusted["p"][idx]),
            ];
            for (actual, expected) in pairs {
                comparison.close(&at, &json!(actual), expected, 0.0);
            }
        }
    }
    report.finish(40);
}
