//! Two outcomes pooled at once, against `fixtures/reference/bivariate.json`.
//!
//! The references find the maximum at 50 digits with a simplex and with differences of the
//! likelihood; the code has written-out derivatives.

#![expect(
    clippy::panic,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test stops at what it did not expect"
)]

use super::reference_values::{Report, Tolerance, cases, number, reference, text};
use ndarray::Array1;
use serde_json::Value;
use tautpool::pooling::bivariate::{Bivariate, BivariateModel, Ellipse, Likelihood, pool_pairs};
use tautpool::pooling::{Level, PairedEffects, WithinCorrelation};

/// What a case may hold; anything else would be compared with nothing.
const KNOWN_FIELDS: &[&str] = &[
    "name",
    "source",
    "estimates",
    "variances",
    "clusters",
    "correlation",
    "likelihood",
    "level",
    "expected",
    "printed",
];

/// Of means and their covariance.
const RELATIVE: f64 = 1e-9;

/// Of the between-units covariance, which is the place of a maximum.
const RELATIVE_BETWEEN: f64 = 1e-7;

fn columns(lists: &Value) -> [Array1<f64>; 2] {
    [0, 1].map(|outcome| {
        let list = lists[outcome].as_array().unwrap();
        list.iter().map(|value| value.as_f64().unwrap()).collect()
    })
}

fn by_library(case: &Value) -> Bivariate {
    let (estimates, variances) = (columns(&case["estimates"]), columns(&case["variances"]));
    let clusters = case["clusters"].as_array().map(|labels| {
        let labels = labels.iter().map(|label| label.as_u64().unwrap());
        labels
            .map(|label| usize::try_from(label).unwrap())
            .collect::<Array1<usize>>()
    });
    let paired = PairedEffects::new(
        estimates.each_ref().map(|column| column.view()),
        variances.each_ref().map(|column| column.view()),
        clusters.as_ref().map(|labels| labels.view()),
    );
    let likelihood = match text(case, "likelihood") {
        "restricted" => Likelihood::Restricted,
        "full" => Likelihood::Full,
        other => panic!("unknown likelihood {other}"),
    };
    pool_pairs(
        &paired.unwrap(),
        WithinCorrelation::new(number(case, "correlation")).unwrap(),
        likelihood,
        Level::new(number(case, "level")).unwrap(),
    )
}

/// A case's comparisons.
struct Comparison<'a> {
    report: &'a mut Report,
    case: &'a Value,
}

impl Comparison<'_> {
    fn close(&mut self, at: &str, actual: f64, relative: f64, absolute: f64) {
        let place = format!("{} {at}", text(self.case, "name"));
        let expected = self.case["expected"].pointer(at).and_then(Value::as_f64);
        let expected = expected.unwrap_or_else(|| panic!("{place}: no number"));
        let tolerance = Tolerance { relative, absolute };
        self.report
            .assert_close(&place, actual, expected, tolerance);
    }

    fn model(&mut self, model: &BivariateModel) {
        let BivariateModel {
            covariance,
            between,
            ..
        } = model;
        let scales = [covariance.a, covariance.b].map(|variance| 1e-12 * variance.sqrt());
        for (idx, (mean, scale)) in model.mean.into_iter().zip(scales).enumerate() {
            self.close(&format!("/mean/{idx}"), mean, RELATIVE, scale);
        }
        let matrices = [
            ("covariance", covariance, RELATIVE),
            ("between", between, RELATIVE_BETWEEN),
        ];
        for (name, matrix, relative) in matrices {
            let mixed = 1e-12 * (matrix.a * matrix.b).sqrt();
            self.close(&format!("/{name}/0"), matrix.a, relative, 0.0);
            self.close(&format!("/{name}/1"), matrix.ab, relative, mixed);
            self.close(&format!("/{name}/2"), matrix.b, relative, 0.0);
        }
        self.close("/log_likelihood", model.log_likelihood, RELATIVE, 1e-9);
        let place = format!("{} reason", text(self.case, "name"));
        match model.correlation {
            Ok(rho) => self.close("/correlation", rho, RELATIVE_BETWEEN, 1e-12),
            Err(reason) => {
                let expected = &self.case["expected"];
                assert!(expected["correlation"].is_null(), "{place}");
                self.report
                    .assert_same(&place, &Some(reason.code()), &expected["reason"].as_str());
            }
        }
        self.ellipse("confidence_ellipse", &model.confidence_ellipse.unwrap());
        self.ellipse("prediction_ellipse", &model.prediction_ellipse.unwrap());
    }

    fn ellipse(&mut self, name: &str, ellipse: &Ellipse) {
        let squared = ellipse.radius * ellipse.radius;
        self.close("/radius_squared", squared, RELATIVE, 0.0);
        for (idx, half_width) in ellipse.half_widths().into_iter().enumerate() {
            let at = format!("/{name}/half_widths/{idx}");
            self.close(&at, half_width, RELATIVE_BETWEEN, 0.0);
        }
        let axes = ellipse.axes();
        self.close(&format!("/{name}/long"), axes.long, RELATIVE_BETWEEN, 0.0);
        self.close(&format!("/{name}/short"), axes.short, RELATIVE_BETWEEN, 0.0);
        self.close(
            &format!("/{name}/angle"),
            axes.angle,
            RELATIVE_BETWEEN,
            1e-12,
        );
        // The outline has the same middle and reaches as far.
        let points = ellipse.outline(360);
        for outcome in [0, 1] {
            let reached = points
                .iter()
                .map(|point| (point[outcome] - ellipse.centre[outcome]).abs())
                .fold(0.0, |best, x| if best < x { x } else { best });
            let at = format!("/{name}/half_widths/{outcome}");
            self.close(&at, reached, 1e-4, 0.0);
        }
    }
}

#[test]
fn bivariate_models_agree_with_the_reference() {
    let file = reference("bivariate.json");
    let mut report = Report::default();
    for case in cases(&file) {
        let name = text(case, "name");
        for field in case.as_object().unwrap().keys() {
            assert!(KNOWN_FIELDS.contains(&field.as_str()), "{name}: {field}");
        }
        let found = by_library(case);
        let expected = &case["expected"];
        report.assert_same(name, &Some(found.k as u64), &expected["k"].as_u64());
        let n_clusters = expected["n_clusters"].as_u64();
        report.assert_same(name, &Some(found.n_clusters as u64), &n_clusters);
        let mut comparison = Comparison {
            report: &mut report,
            case,
        };
        match found.model {
            Ok(model) => comparison.model(&model),
            Err(reason) => report.say(name, reason),
        }
    }
    report.finish(600);
}

#[test]
fn printed_bivariate_figures_agree_to_their_printed_digits() {
    let file = reference("bivariate.json");
    let mut report = Report::default();
    for case in cases(&file) {
        let rows = case["printed"].as_array().unwrap();
        if rows.is_empty() {
            continue;
        }
        let model = by_library(case).model.unwrap();
        for row in rows {
            let at = text(row, "at");
            let actual = match at {
                "/mean/0" => model.mean[0],
                "/mean/1" => model.mean[1],
                "/between/0" => model.between.a,
                "/between/1" => model.between.ab,
                "/between/2" => model.between.b,
                other => panic!("nothing is printed at {other}"),
            };
            let digits = i32::try_from(row["digits"].as_i64().unwrap()).unwrap();
            let tolerance = Tolerance {
                relative: 0.0,
                absolute: 0.5 * 10_f64.powi(-digits) * (1.0 + 1e-9),
            };
            let place = format!("{} {at}, as printed", text(case, "name"));
            report.assert_close(&place, actual, number(row, "value"), tolerance);
        }
    }
    report.finish(5);
}
