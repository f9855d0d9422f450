//! The confidence distribution of `tau_squared`, the prediction interval made of it, and pairs of
//! counts, against `fixtures/reference/prediction_and_counts.json`.
//!
//! The references invert the transform of Q on dense eigenvalues along another path, make the
//! program's own draws anew in 50 digits, and integrate over log odds ratios by Gauss and Legendre
//! on exact binomial coefficients.

#![expect(
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

use super::reference_values::{Report, Tolerance, cases, number, numbers, reference, text};
use ndarray::Array1;
use serde_json::Value;
use tautpool::pooling::confidence_distribution::ConfidenceDistribution;
use tautpool::pooling::counts::{Arm, CountPair, CountPairs, exact_odds_ratio};
use tautpool::pooling::prediction::bootstrap_prediction;
use tautpool::pooling::{Effects, Level, Reason};

/// Draws for the comparison with infinitely many.
const MANY_DRAWS: usize = 40_000;

/// How many standard deviations of a sample quantile the two may differ by.
const DEVIATIONS: f64 = 4.0;

/// A case's comparisons.
struct Comparison<'a> {
    report: &'a mut Report,
    name: &'a str,
    relative: f64,
}

impl Comparison<'_> {
    fn close(&mut self, what: &str, actual: f64, expected: f64, absolute: f64) {
        let tolerance = Tolerance {
            relative: self.relative,
            absolute,
        };
        let place = format!("{} {what}", self.name);
        self.report
            .assert_close(&place, actual, expected, tolerance);
    }

    fn same<T: PartialEq + std::fmt::Debug>(&mut self, what: &str, actual: &T, expected: &T) {
        let place = format!("{} {what}", self.name);
        self.report.assert_same(&place, actual, expected);
    }

    /// Compares the figures that both name.
    fn figures(&mut self, what: &str, expected: &Value, actual: &[(&str, f64)], absolute: f64) {
        let names: Vec<&str> = expected
            .as_object()
            .unwrap()
            .keys()
            .map(String::as_str)
            .collect();
        let known: Vec<&str> = actual.iter().map(|figure| figure.0).collect();
        self.same(what, &known, &names);
        for &(name, value) in actual {
            let at = format!("{what} {name}");
            self.close(&at, value, number(expected, name), absolute);
        }
    }
}

fn cases_of<'a>(file: &'a Value, kind: &str) -> Vec<&'a Value> {
    let found: Vec<&Value> = cases(file)
        .iter()
        .filter(|case| text(case, "kind") == kind)
        .collect();
    assert!(5 < found.len(), "{kind}");
    found
}

fn effects_of(case: &Value) -> Effects {
    let estimates = Array1::from(numbers(&case["effects"]));
    let variances = Array1::from(numbers(&case["variances"]));
    Effects::new(estimates.view(), variances.view(), None).unwrap()
}

fn level_of(case: &Value) -> Level {
    Level::new(number(case, "level")).unwrap()
}

#[test]
fn the_confidence_distribution_agrees() {
    let file = reference("prediction_and_counts.json");
    let mut report = Report::default();
    for case in cases_of(&file, "prediction") {
        let distribution = ConfidenceDistribution::new(&effects_of(case)).unwrap();
        let expected = &case["expected"];
        let mut comparison = Comparison {
            report: &mut report,
            name: text(case, "name"),
            relative: number(&file, "relative"),
        };
        comparison.close("q", distribution.q(), number(expected, "q"), 0.0);
        comparison.close(
            "at zero",
            distribution.at_zero(),
            number(expected, "at_zero"),
            0.0,
        );
        for (place, tail) in numbers(&case["places"])
            .into_iter()
            .zip(numbers(&expected["tail"]))
        {
            let what = format!("tail at {place:e}");
            comparison.relative = 1e-11;
            comparison.close(&what, distribution.tail(place).unwrap(), tail, 0.0);
        }
        comparison.relative = number(&file, "relative");
        let median = distribution.quantile(0.5).unwrap();
        comparison.close("median", median, number(expected, "median"), 0.0);
        let interval = distribution.interval(level_of(case));
        if expected["low"].is_null() {
            comparison.same("interval", &interval, &Err(Reason::QProfileEmpty));
        } else {
            let interval = interval.unwrap();
            comparison.close("low", interval.low, number(expected, "low"), 0.0);
            comparison.close("high", interval.high, number(expected, "high"), 0.0);
        }
    }
    report.finish(80);
}

#[test]
fn prediction_intervals_agree_draw_by_draw() {
    let file = reference("prediction_and_counts.json");
    let mut report = Report::default();
    for case in cases_of(&file, "prediction") {
        let expected = &case["expected"]["interval"];
        if expected.is_null() {
            continue;
        }
        let draws = usize::try_from(case["draws"].as_u64().unwrap()).unwrap();
        let found = bootstrap_prediction(&effects_of(case), level_of(case), draws).unwrap();
        let mut comparison = Comparison {
            report: &mut report,
            name: text(case, "name"),
            relative: number(&file, "relative"),
        };
        let interval = found.interval;
        let width = interval.high - interval.low;
        comparison.figures(
            "interval",
            expected,
            &[("low", interval.low), ("high", interval.high)],
            1e-9 * width,
        );
        let median = number(&case["expected"], "median");
        comparison.close("median", found.tau_squared_median, median, 0.0);
    }
    report.finish(6);
}

#[test]
fn prediction_intervals_tend_to_their_limit() {
    let file = reference("prediction_and_counts.json");
    let mut report = Report::default();
    for case in cases_of(&file, "prediction") {
        let expected = &case["expected"]["limit"];
        if expected.is_null() {
            continue;
        }
        let level = level_of(case);
        let found = bootstrap_prediction(&effects_of(case), level, MANY_DRAWS).unwrap();
        let tail = level.tail();
        let spread = (tail * (1.0 - tail) / 40_000.0).sqrt();
        for (end, actual) in [("low", found.interval.low), ("high", found.interval.high)] {
            let density = number(expected, &format!("density_{end}"));
            let tolerance = Tolerance {
                relative: 0.0,
                absolute: DEVIATIONS * spread / density,
            };
            let place = format!("{} {end} in the limit", text(case, "name"));
            report.assert_close(&place, actual, number(expected, end), tolerance);
        }
    }
    report.finish(4);
}

fn pairs_of(case: &Value) -> CountPairs {
    let rows = case["rows"].as_array().unwrap().iter().map(|row| {
        let counts: Vec<u64> = row
            .as_array()
            .unwrap()
            .iter()
            .map(|count| count.as_u64().unwrap())
            .collect();
        let [x_1, n_1, x_2, n_2] = counts[..] else {
            panic!("{row} is not a pair of counts");
        };
        CountPair {
            first: Arm {
                events: x_1,
                trials: n_1,
            },
            second: Arm {
                events: x_2,
                trials: n_2,
            },
        }
    });
    CountPairs::new(&rows.collect::<Vec<_>>()).unwrap()
}

#[test]
fn log_odds_ratios_agree() {
    let file = reference("prediction_and_counts.json");
    let mut report = Report::default();
    for case in cases_of(&file, "counts") {
        let found = pairs_of(case).log_odds_ratios().unwrap();
        let expected = &case["expected"];
        let mut comparison = Comparison {
            report: &mut report,
            name: text(case, "name"),
            relative: 1e-13,
        };
        let counts = [
            ("k", found.effects.k()),
            ("left_out", found.n_left_out),
            ("corrected", found.n_corrected),
        ];
        for (name, count) in counts {
            comparison.same(name, &Some(count as u64), &expected[name].as_u64());
        }
        let columns = [
            ("log_odds_ratios", found.effects.estimates()),
            ("variances", found.effects.variances()),
        ];
        for (name, column) in columns {
            for (&actual, expected) in column.iter().zip(numbers(&expected[name])) {
                comparison.close(name, actual, expected, 1e-15);
            }
        }
    }
    report.finish(80);
}

#[test]
fn exact_odds_ratios_agree() {
    let file = reference("prediction_and_counts.json");
    let mut report = Report::default();
    let mut n_boundaries = 0;
    for case in cases_of(&file, "counts") {
        let found = exact_odds_ratio(&pairs_of(case), level_of(case));
        let expected = &case["expected"];
        let mut comparison = Comparison {
            report: &mut report,
            name: text(case, "name"),
            relative: number(&file, "relative"),
        };
        let common = found.common.unwrap();
        let figures = [
            ("estimate", common.estimate),
            ("se", common.se),
            ("log_likelihood", common.log_likelihood),
        ];
        comparison.figures("common", &expected["common"], &figures, 1e-12 * common.se);
        if expected["boundary"] == Value::Bool(true) {
            n_boundaries += 1;
            let random = found.random.unwrap();
            comparison.close("tau2", random.tau_squared, 0.0, 0.0);
            comparison.close("estimate", random.estimate, common.estimate, 0.0);
            comparison.same("se", &random.tau_squared_se, &Err(Reason::AtBoundary));
            continue;
        }
        let random = match found.random {
            Ok(random) => random,
            Err(reason) => {
                comparison.same("random", &reason, &Reason::OneEffect);
                comparison.same("random", &expected["random"], &Value::Null);
                continue;
            }
        };
        let ratio = random.likelihood_ratio.unwrap();
        let figures = [
            ("estimate", random.estimate),
            ("se", random.se),
            ("low", random.wald.low),
            ("high", random.wald.high),
            ("tau2", random.tau_squared),
            ("tau2_se", random.tau_squared_se.unwrap()),
            ("log_likelihood", random.log_likelihood),
            ("ratio_low", ratio.low),
            ("ratio_high", ratio.high),
        ];
        comparison.figures("random", &expected["random"], &figures, 1e-12 * random.se);
    }
    assert_eq!(n_boundaries, 2);
    report.finish(60);
}
