//! A missing spread: E\[max\], and what is borrowed from a crowd.

use super::{FILE, Report, Tolerance, kmh, number, of_kind, reference, text, tolerance, whole};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use tautpool::contribution::{
    Background, Conditions, Contribution, Session, ShotLine, SpeedSummary,
};
use tautpool::effects::spread::{CrowdSpread, expected_maximum};
use tautpool::units::{Hundredths, Tension, TensionUnit};
use tautpool::vocabulary::{Arm, ConsentScope, SdDivisor, ShotClass, SpeedOver, Stroke};

#[test]
fn the_expected_maximum_agrees_with_fifty_digits() {
    let file = reference(FILE);
    let mut report = Report::default();
    for case in of_kind(&file, &["expected_maximum"]) {
        let (name, expected) = (text(case, "name"), &case["expected"]);
        let actual = expected_maximum(whole(case, "n")).unwrap();
        let tolerance = tolerance(&file);
        report.assert_close(
            name,
            actual,
            number(expected, "expected_maximum"),
            tolerance,
        );
        // Wan et al. 2014 print twice as much.
        report.assert_close(name, 2.0 * actual, number(expected, "xi"), tolerance);
        for printed in case["printed"].as_array().unwrap() {
            let factor = if text(printed, "at") == "/xi" {
                2.0
            } else {
                1.0
            };
            let digits = i32::try_from(whole(printed, "digits")).unwrap();
            let to_the_digits = Tolerance {
                relative: 0.0,
                absolute: 0.5 * 10.0_f64.powi(-digits),
            };
            report.assert_close(
                name,
                factor * actual,
                number(printed, "value"),
                to_the_digits,
            );
        }
    }
    report.finish(28);
}

/// A session from arm, stroke, mean, standard deviation, maximum and number of timed shots.
fn session(row: &[Value]) -> Session {
    let [arm, stroke, mean, sd, max, n] = row else {
        panic!("{row:?}");
    };
    let class = ShotClass::of(Stroke::from_code(stroke.as_str().unwrap()).unwrap());
    let n = n.as_i64().unwrap();
    Session {
        arm: Arm::from_code(arm.as_str().unwrap()).unwrap(),
        tension: Tension::new(Hundredths::from_count(5_000), TensionUnit::Pound),
        conditions: Conditions::default(),
        lines: vec![ShotLine {
            class,
            hit: n,
            landed_in: None,
            deep: None,
            speed: Some(SpeedSummary {
                mean: kmh(mean.as_f64().unwrap()),
                sd: sd.as_f64().map(kmh),
                sd_divisor: SdDivisor::Unknown,
                lag1: None,
                max: max.as_f64().map(kmh),
                n: Some(n),
                over: SpeedOver::All,
            }),
        }],
    }
}

fn contribution(sessions: Vec<Session>) -> Contribution {
    Contribution {
        consent_scope: ConsentScope::Pooling,
        consent_text_version: "1".to_owned(),
        plan_code: None,
        background: Background::default(),
        sessions,
    }
}

/// Every pair of the crowd with its player.
fn players(case: &Value) -> Vec<(usize, Contribution)> {
    let mut pairs: BTreeMap<(i64, i64), Vec<Session>> = BTreeMap::new();
    for row in case["rows"].as_array().unwrap() {
        let row = row.as_array().unwrap();
        let key = (row[0].as_i64().unwrap(), row[1].as_i64().unwrap());
        pairs.entry(key).or_default().push(session(&row[2..]));
    }
    pairs
        .into_iter()
        .map(|((player, _), sessions)| (usize::try_from(player).unwrap(), contribution(sessions)))
        .collect()
}

#[test]
fn what_a_crowd_lends_agrees_with_fifty_digits() {
    let file = reference(FILE);
    let tolerance = tolerance(&file);
    let mut report = Report::default();
    for case in of_kind(&file, &["crowd_spread"]) {
        let (name, expected) = (text(case, "name"), &case["expected"]["errors"]);
        let players = players(case);
        let minimum = usize::try_from(whole(case, "minimum_players")).unwrap();
        let numbered = players.iter().map(|(player, pair)| (*player, pair));
        let crowd = CrowdSpread::of(numbered, minimum);
        let errors = crowd.errors();
        report.assert_same(name, &errors.is_some(), &expected.is_object());
        if let Some(errors) = errors {
            report.assert_same(name, &json!(errors.players), &expected["players"]);
            for (figure, actual) in [
                ("calibration", errors.calibration),
                ("cv_variance", errors.cv_variance),
                ("maximum_variance", errors.maximum_variance),
                ("maximum_weight", errors.maximum_weight),
                ("combined_variance", errors.combined_variance),
            ] {
                let place = format!("{name}, {figure}");
                report.assert_close(&place, actual, number(expected, figure), tolerance);
            }
        }
        for imputed in case["imputed"].as_array().unwrap() {
            let sessions: Vec<Session> = imputed["pair"]
                .as_array()
                .unwrap()
                .iter()
                .map(|row| session(row.as_array().unwrap()))
                .collect();
            let class = sessions[0].lines[0].class;
            let cv = crowd.cv(&contribution(sessions), class);
            let found = json!([cv.value, cv.source.code(), cv.log_sd_error]);
            report.assert_same(name, &found, &imputed["expected"]);
        }
    }
    report.finish(20);
}
