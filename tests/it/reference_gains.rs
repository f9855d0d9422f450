//! Replicate variances, shares above thresholds and shrunken effects against
//! `fixtures/reference/gains.json`, which comes from the plain definitions in 50-digit arithmetic
//! with numerical derivatives. The bootstrap has no reference but the count it is drawn about.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test stops at what it did not expect"
)]

use super::reference_values::{Report, Tolerance, cases, counts, number, numbers, reference, text};
use ndarray::Array1;
use serde_json::Value;
use tautpool::pooling::gains::{Measurement, ShareMethod, Spread, TrueEffects};
use tautpool::pooling::replicates::Replicates;
use tautpool::pooling::{Effects, Level};

/// What a case may hold; anything else would be compared with nothing.
const KNOWN_FIELDS: &[&str] = &[
    "name",
    "source",
    "without_replicate_part",
    "estimates",
    "variances",
    "clusters",
    "counts",
    "replicates",
    "level",
    "thresholds",
    "expected",
    "relative",
    "absolute",
];

/// Variances of REML and shares are held to this.
const LOOSER: f64 = 1e-7;

fn replicates(case: &Value) -> Replicates {
    let columns = &case["replicates"];
    Replicates::new(
        Array1::from(numbers(&columns["means"])).view(),
        Array1::from(numbers(&columns["variances"])).view(),
        Array1::from(counts(&columns["sizes"])).view(),
        Array1::from(counts(&columns["groups"])).view(),
        Array1::from(counts(&columns["clusters"])).view(),
    )
    .unwrap()
}

fn true_effects(case: &Value) -> TrueEffects {
    let estimates = Array1::from(numbers(&case["estimates"]));
    let variances = Array1::from(numbers(&case["variances"]));
    let clusters = Array1::from(counts(&case["clusters"]));
    let clusters = Some(clusters.view());
    if case["without_replicate_part"] == Value::Bool(true) {
        let sides = [0, 1].map(|side| Array1::from(counts(&case["counts"][side])));
        TrueEffects::without_replicate_part(
            estimates.view(),
            variances.view(),
            clusters,
            sides.each_ref().map(|side| side.view()),
            replicates(case).variance().unwrap(),
        )
        .unwrap()
    } else {
        let effects = Effects::new(estimates.view(), variances.view(), clusters);
        TrueEffects::as_measured(&effects.unwrap())
    }
}

/// A case's comparisons.
struct Comparison<'a> {
    report: &'a mut Report,
    case: &'a Value,
    level: Level,
}

impl Comparison<'_> {
    fn close(&mut self, at: &str, actual: f64, expected: &Value, relative: f64, absolute: f64) {
        let place = format!("{} {at}", text(self.case, "name"));
        let tolerance = Tolerance { relative, absolute };
        match expected.as_f64() {
            Some(expected) => self
                .report
                .assert_close(&place, actual, expected, tolerance),
            None => self
                .report
                .say(&place, format!("{actual:e} is not expected")),
        }
    }

    fn replicate_variance(&mut self) {
        let expected = &self.case["expected"]["replicate_variance"];
        let relative = number(self.case, "relative");
        let found = replicates(self.case);
        let variance = found.variance().unwrap();
        for (name, actual) in [
            ("n_replicates", found.n_replicates()),
            ("n_groups", found.n_groups()),
            ("n_clusters", found.n_clusters()),
        ] {
            let expected = expected[name].as_u64().unwrap();
            self.report
                .assert_same(name, &u64::try_from(actual).unwrap(), &expected);
        }
        for (name, actual) in [
            ("value", variance.value),
            ("untruncated", variance.untruncated),
            ("se", variance.se),
        ] {
            let at = format!("replicate_variance/{name}");
            self.close(&at, actual, &expected[name], relative, 0.0);
        }
    }

    fn spread(&mut self, spread: &Spread<'_>) {
        let expected = &self.case["expected"];
        let relative = number(self.case, "relative");
        let absolute = number(self.case, "absolute");
        for (name, actual, relative) in [
            ("mean", spread.mean, relative),
            ("mean_se", spread.mean_se, relative),
            ("tau_squared", spread.tau_squared, LOOSER),
            ("tau_squared_se", spread.tau_squared_se, LOOSER),
        ] {
            // In the unit of the effects, and harmless for the squares, which are held by LOOSER.
            let absolute = if name == "mean" { absolute } else { 0.0 };
            self.close(name, actual, &expected[name], relative, absolute);
        }
    }

    fn shares(&mut self, spread: &Spread<'_>) {
        for expected in self.case["expected"]["shares"].as_array().unwrap() {
            let threshold = number(expected, "threshold");
            let found = spread.share_above(threshold, self.level).unwrap();
            let at = |name: &str| format!("share above {threshold:e}, {name}");
            let by_normal = &expected["by_normal"];
            self.close(&at("by_normal"), found.by_normal, by_normal, LOOSER, 1e-300);
            let calibrated = &expected["calibrated"];
            if calibrated.is_null() {
                assert_eq!(found.method, ShareMethod::Normal);
                self.close(&at("estimate"), found.estimate, by_normal, LOOSER, 0.0);
                self.close(&at("se"), found.se.unwrap(), &expected["se"], LOOSER, 0.0);
                let (low, high) = (found.interval.low, found.interval.high);
                self.close(&at("low"), low, &expected["low"], LOOSER, 0.0);
                self.close(&at("high"), high, &expected["high"], LOOSER, 0.0);
            } else {
                assert_eq!(found.method, ShareMethod::Calibrated);
                self.close(&at("calibrated"), found.estimate, calibrated, 1e-12, 0.0);
                let range = found.interval.low..=found.interval.high;
                assert!(range.contains(&found.estimate), "{found:?}");
            }
        }
    }

    fn shrunken(&mut self, spread: &Spread<'_>) {
        let absolute = number(self.case, "absolute");
        for expected in self.case["expected"]["shrunken"].as_array().unwrap() {
            let row = usize::try_from(expected["row"].as_u64().unwrap()).unwrap();
            let measurement = Measurement::new(
                Array1::from(numbers(&self.case["estimates"]))[row],
                Array1::from(numbers(&self.case["variances"]))[row],
                [0, 1].map(|side| Array1::from(counts(&self.case["counts"][side]))[row]),
            );
            let found = spread.shrink(&measurement.unwrap(), self.level).unwrap();
            for (name, actual, absolute) in [
                ("estimate", found.estimate, absolute),
                ("weight", found.weight, 0.0),
                ("se", found.se, 0.0),
                ("low", found.interval.low, absolute),
                ("high", found.interval.high, absolute),
            ] {
                let at = format!("shrunken row {row}, {name}");
                self.close(&at, actual, &expected[name], LOOSER, absolute);
            }
        }
    }
}

#[test]
fn gains_agree_with_the_reference() {
    let file = reference("gains.json");
    let mut report = Report::default();
    for case in cases(&file) {
        let name = text(case, "name");
        for field in case.as_object().unwrap().keys() {
            assert!(KNOWN_FIELDS.contains(&field.as_str()), "{name}: {field}");
        }
        let source = true_effects(case);
        let spread = source.spread().unwrap();
        let mut comparison = Comparison {
            report: &mut report,
            case,
            level: Level::new(number(case, "level")).unwrap(),
        };
        comparison.replicate_variance();
        comparison.spread(&spread);
        comparison.shares(&spread);
        comparison.shrunken(&spread);
    }
    report.finish(300);
}
