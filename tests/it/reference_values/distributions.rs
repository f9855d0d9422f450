//! Quantiles, tails and confidence-sequence multipliers against `fixtures/reference/`.

use super::{Report, Tolerance, cases, number, reference, rounds_to, text};
use serde_json::{Value, json};
use tautpool::pooling::Level;
use tautpool::pooling::Reason;
use tautpool::pooling::quantiles::{ChiSquared, Normal, StudentT};
use tautpool::pooling::sequence::{TIGHTEST_AT, any_time_multiplier, mixture_variance};

/// Quantiles at this probability lie outside what the program asks for: levels start at 0.5, so a
/// tail is at most 0.25, and Student's t and chi-squared refuse the centre.
const CENTRE: f64 = 0.5;

#[test]
fn confidence_sequence_multipliers_agree_with_the_reference() {
    let file = reference("sequence.json");
    let mut report = Report::default();
    for case in cases(&file) {
        let tolerance = Tolerance {
            relative: number(case, "relative"),
            absolute: number(case, "absolute"),
        };
        let level = Level::new(1.0 - number(case, "alpha")).unwrap();
        report.assert_same("best_at", &number(case, "best_at"), &TIGHTEST_AT);
        let mixture = number(case, "rho_squared");
        report.assert_close("rho_squared", mixture_variance(level), mixture, tolerance);
        let expected = case["expected"].as_object().unwrap();
        let mut first_finite = None;
        for (n, expected) in expected {
            let multiplier = any_time_multiplier(n.parse().unwrap(), level);
            match (multiplier, expected.as_f64()) {
                (Ok(actual), Some(expected)) => {
                    first_finite.get_or_insert_with(|| n.clone());
                    report.assert_close(n, actual, expected, tolerance);
                }
                (actual, None) => {
                    report.assert_same(n, &actual, &Err(Reason::AnyTimeIntervalInfinite));
                }
                (Err(reason), Some(_)) => report.say(n, format!("null because {reason}")),
            }
        }
        let first_finite = first_finite.unwrap_or_default();
        report.assert_same(
            "first_finite",
            &first_finite,
            &case["first_finite"].to_string(),
        );
        for row in case["printed"].as_array().unwrap() {
            let n = text(row, "at").trim_start_matches('/').parse().unwrap();
            let close = rounds_to(
                any_time_multiplier(n, level).unwrap(),
                number(row, "value"),
                row,
            );
            report.assert_same(&format!("{n}, as printed"), &close, &true);
        }
    }
    report.finish(60);
}

/// The lower quantile of a distribution from the two tails that the program offers. `1 - p` is
/// exact for `p` from 0.5 on, and the reference reads `p` as the double it is.
fn quantile(case: &Value) -> Result<f64, Reason> {
    let df = case["df"].as_f64();
    let (lower, tail) = match case["lower_probability"].as_f64() {
        Some(lower) if lower <= CENTRE => (true, lower),
        Some(lower) => (false, 1.0 - lower),
        None => (false, number(case, "upper_probability")),
    };
    match (text(case, "distribution"), df) {
        ("normal", None) => Normal::upper_quantile(tail).map(|z| if lower { -z } else { z }),
        ("student_t", Some(df)) => {
            let t = StudentT::new(df)?.upper_quantile(tail)?;
            Ok(if lower { -t } else { t })
        }
        ("chi_squared", Some(df)) if lower => ChiSquared::new(df)?.lower_quantile(tail),
        ("chi_squared", Some(df)) => ChiSquared::new(df)?.upper_quantile(tail),
        other => panic!("unknown distribution {other:?}"),
    }
}

fn upper_tail(case: &Value) -> Result<f64, Reason> {
    let x = number(case, "x");
    // Below the centre the upper tail is one minus the tail of the mirrored value.
    let mirrored = |tail: f64| if x < 0.0 { 1.0 - tail } else { tail };
    match (text(case, "distribution"), case["df"].as_f64()) {
        ("normal", None) => Normal::two_sided_p(x).map(|p| mirrored(p / 2.0)),
        ("student_t", Some(df)) => StudentT::new(df)?.upper_tail(x.abs()).map(mirrored),
        ("chi_squared", Some(df)) => ChiSquared::new(df)?.upper_tail(x),
        other => panic!("unknown distribution {other:?}"),
    }
}

#[test]
fn quantiles_and_tails_agree_with_the_reference() {
    let file = reference("quantiles.json");
    let tolerance = Tolerance {
        relative: number(&file, "relative"),
        absolute: number(&file, "absolute"),
    };
    let mut report = Report::default();
    for case in cases(&file) {
        let name = text(case, "name");
        let actual = match text(case, "kind") {
            "quantile" | "upper_quantile" => quantile(case),
            "upper_tail" => upper_tail(case),
            other => panic!("unknown kind {other}"),
        };
        let at_centre = case["lower_probability"] == json!(CENTRE);
        if at_centre && text(case, "distribution") != "normal" {
            report.assert_same(name, &actual, &Err(Reason::OutOfRange));
            continue;
        }
        match actual {
            Ok(actual) => report.assert_close(name, actual, number(case, "expected"), tolerance),
            Err(reason) => report.say(name, format!("null because {reason}")),
        }
    }
    report.finish(400);
}
