//! The three-level model against `fixtures/reference/three_level.json`, which comes from dense
//! matrices in 50-digit arithmetic and another search of the likelihood.

#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

use super::reference_values::{Report, Tolerance, cases, counts, number, numbers, reference, text};
use ndarray::Array1;
use serde_json::Value;
use tautpool::pooling::three_level::{LikelihoodRatio, ThreeLevelModel, three_level};
use tautpool::pooling::{Effects, Estimable, Level};

/// What a case may hold; anything else would be compared with nothing.
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
];

/// Variances and p values of REML are held to this.
const LOOSER: f64 = 1e-7;

fn fit(case: &Value) -> ThreeLevelModel {
    let effects = Effects::new(
        Array1::from(numbers(&case["estimates"])).view(),
        Array1::from(numbers(&case["variances"])).view(),
        Some(Array1::from(counts(&case["clusters"])).view()),
    )
    .unwrap();
    let level = Level::new(number(case, "level")).unwrap();
    let found = three_level(&effects, level);
    assert_eq!(found.k, Array1::from(counts(&case["clusters"])).len());
    assert_eq!(Some(found.n_clusters), count(&case["expected"]));
    found.model.unwrap()
}

fn count(expected: &Value) -> Option<usize> {
    usize::try_from(expected["n_clusters"].as_u64()?).ok()
}

/// A case's comparisons.
struct Comparison<'a> {
    report: &'a mut Report,
    case: &'a Value,
}

impl Comparison<'_> {
    fn close(&mut self, at: &str, actual: f64, tolerance: Tolerance) {
        let expected = self.case["expected"].pointer(at).and_then(Value::as_f64);
        let place = format!("{} {at}", text(self.case, "name"));
        match expected {
            Some(expected) => self
                .report
                .assert_close(&place, actual, expected, tolerance),
            None => self
                .report
                .say(&place, format!("{actual:e} is not expected")),
        }
    }

    fn estimable(&mut self, at: &str, actual: Estimable<f64>, tolerance: Tolerance) {
        match actual {
            Ok(actual) => self.close(at, actual, tolerance),
            Err(reason) => {
                let expected = self.case["expected"].pointer(at);
                let place = format!("{} {at}, {reason:?}", text(self.case, "name"));
                self.report
                    .assert_same(&place, &expected, &Some(&Value::Null));
            }
        }
    }

    fn likelihood_ratio(&mut self, at: &str, actual: &LikelihoodRatio) {
        // The statistic is a difference of sums of as many logarithms as there are effects.
        let of_statistic = Tolerance {
            relative: number(self.case, "relative"),
            absolute: 1e-11,
        };
        self.close(&format!("{at}/statistic"), actual.statistic, of_statistic);
        let of_p = Tolerance {
            relative: LOOSER,
            absolute: 1e-300,
        };
        self.estimable(&format!("{at}/p"), actual.p, of_p);
    }

    fn model(&mut self, model: &ThreeLevelModel) {
        let of = |relative: f64, absolute: f64| Tolerance { relative, absolute };
        let relative = number(self.case, "relative");
        let place = of(relative, number(self.case, "absolute"));
        let squared = of(LOOSER, number(self.case, "absolute_squared"));
        let free = of(relative, 1e-12);
        for (at, actual) in [
            ("/estimate", model.estimate),
            ("/se", model.se),
            ("/wald/low", model.wald.low),
            ("/wald/high", model.wald.high),
            ("/t/low", model.t.low),
            ("/t/high", model.t.high),
        ] {
            self.close(at, actual, place);
        }
        self.close("/t/df", model.t.df, of(0.0, 0.0));
        self.close("/t/p", model.t.p.unwrap(), of(LOOSER, 1e-300));
        self.close("/wald/p", model.wald.p, of(LOOSER, 1e-300));
        self.close("/tau_between_squared", model.tau_between_squared, squared);
        self.close("/tau_within_squared", model.tau_within_squared, squared);
        self.estimable("/share_between", model.share_between, of(LOOSER, 1e-12));
        self.close("/log_likelihood", model.log_likelihood, free);
        self.likelihood_ratio("/no_between", &model.no_between);
        self.likelihood_ratio("/no_within", &model.no_within);
    }
}

#[test]
fn three_level_models_agree_with_the_reference() {
    let file = reference("three_level.json");
    let mut report = Report::default();
    for case in cases(&file) {
        let name = text(case, "name");
        for field in case.as_object().unwrap().keys() {
            assert!(KNOWN_FIELDS.contains(&field.as_str()), "{name}: {field}");
        }
        let model = fit(case);
        let mut comparison = Comparison {
            report: &mut report,
            case,
        };
        comparison.model(&model);
    }
    report.finish(300);
}

#[test]
fn recalled_figures_agree_to_their_digits() {
    let file = reference("three_level.json");
    let mut report = Report::default();
    for case in cases(&file) {
        let printed = case["printed"].as_array().unwrap();
        if printed.is_empty() {
            continue;
        }
        let model = fit(case);
        let figures = serde_json::json!({
            "estimate": model.estimate,
            "se": model.se,
            "tau_between_squared": model.tau_between_squared,
            "tau_within_squared": model.tau_within_squared,
        });
        for row in printed {
            let at = text(row, "at");
            let actual = figures.pointer(at).and_then(Value::as_f64).unwrap();
            let digits = i32::try_from(row["digits"].as_i64().unwrap()).unwrap();
            let tolerance = Tolerance {
                relative: 0.0,
                absolute: 0.5 * 10_f64.powi(-digits) * (1.0 + 1e-9),
            };
            let place = format!("{} {at}, as recalled", text(case, "name"));
            report.assert_close(&place, actual, number(row, "value"), tolerance);
        }
    }
    report.finish(4);
}
