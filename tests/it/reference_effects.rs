//! Effects, counts and conversions against `fixtures/reference/effects.json`.
//!
//! The file comes from exact fractions that know nothing of this program. Sessions are built from
//! the public types, as intake would build them; every speed of the file has at most two decimals,
//! so it can be entered as it stands.

#![expect(
    clippy::panic,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test stops at what it did not expect"
)]

mod contributions;
mod crowd;

use super::reference_values::{Report, Tolerance, cases, number, reference, text};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use tautpool::contribution::{
    Background, Conditions, Contribution, DeepShare, Session, Share, ShotLine, SpeedSummary,
};
use tautpool::effects::spread::CrowdSpread;
use tautpool::effects::{ArmCount, Effect, PairEffects, counts, of_pair, share_counts};
use tautpool::pooling::counts as odds;
use tautpool::protocol::Protocol;
use tautpool::units::{Hundredths, Speed, SpeedUnit, Tension, TensionUnit};
use tautpool::vocabulary::{
    Arm, ConsentScope, Direction, Outcome, SdDivisor, ShotClass, SpeedOver, Stroke, VarianceSource,
};

const FILE: &str = "effects.json";

/// Kinds of case that the program cannot compute yet, with what is missing. A kind that is neither
/// here nor compared fails.
const NOT_COVERED_YET: &[(&str, &str)] = &[("grim_mean", "no check of a mean of whole numbers")];

/// Kinds compared below, in [`contributions`] and in [`crowd`].
const COVERED: &[&str] = &[
    "mean_speed",
    "in_share",
    "deep_share",
    "percent_to_count",
    "deep_percent_of_hit",
    "conversion",
    "floating_point_gap",
    "expected_maximum",
    "contribution",
    "crowd_spread",
];

/// Conversions that the program cannot make yet: speeds are computed in km/h and no figure is
/// shown in mph.
const CONVERSIONS_NOT_COVERED_YET: &[(&str, &str)] = &[("km/h", "mph")];

const CLASS: ShotClass = ShotClass {
    stroke: Stroke::Forehand,
    direction: Direction::All,
};

fn tolerance(file: &Value) -> Tolerance {
    Tolerance {
        relative: number(file, "relative"),
        absolute: number(file, "absolute"),
    }
}

fn of_kind<'a>(file: &'a Value, kinds: &[&str]) -> Vec<&'a Value> {
    cases(file)
        .iter()
        .filter(|case| kinds.contains(&text(case, "kind")))
        .collect()
}

/// A number as a contributor types it; the file must not hold one that cannot be typed.
fn hundredths(value: f64) -> Hundredths {
    Hundredths::from_decimal(value).unwrap_or_else(|| panic!("{value} has more than two decimals"))
}

fn kmh(value: f64) -> Speed {
    Speed::new(hundredths(value), SpeedUnit::KilometrePerHour)
}

fn whole(case: &Value, field: &str) -> i64 {
    case[field]
        .as_i64()
        .unwrap_or_else(|| panic!("no whole number {field} in {case}"))
}

/// The shot line of one session of the file: either timed or counted.
fn line(session: &Value) -> ShotLine {
    if session.get("speed_n").is_none() {
        return ShotLine {
            class: CLASS,
            hit: whole(session, "hit"),
            landed_in: Some(Share::Count(whole(session, "in"))),
            deep: Some(DeepShare::OfIn(Share::Count(whole(session, "deep")))),
            speed: None,
        };
    }
    ShotLine {
        class: CLASS,
        hit: whole(session, "speed_n"),
        landed_in: None,
        deep: None,
        speed: Some(SpeedSummary {
            mean: kmh(number(session, "speed_mean_kmh")),
            sd: Some(kmh(number(session, "speed_sd_kmh"))),
            sd_divisor: SdDivisor::from_code(text(session, "sd_divisor")).unwrap(),
            lag1: session["speed_lag1"].as_f64().map(hundredths),
            max: None,
            n: Some(whole(session, "speed_n")),
            over: SpeedOver::All,
        }),
    }
}

fn sessions(looser: Vec<ShotLine>, tighter: Vec<ShotLine>) -> Contribution {
    let session = |arm: Arm, pounds: i64, line: ShotLine| Session {
        arm,
        tension: Tension::new(Hundredths::from_count(pounds * 100), TensionUnit::Pound),
        conditions: Conditions::default(),
        lines: vec![line],
    };
    let looser = looser
        .into_iter()
        .map(|line| session(Arm::Looser, 50, line));
    let tighter = tighter
        .into_iter()
        .map(|line| session(Arm::Tighter, 55, line));
    Contribution {
        consent_scope: ConsentScope::Pooling,
        consent_text_version: "1".to_owned(),
        plan_code: None,
        background: Background::default(),
        sessions: looser.chain(tighter).collect(),
    }
}

fn effects(contribution: &Contribution) -> PairEffects {
    // Some cases of the file have fewer shots than a protocol asks.
    let protocol = Protocol {
        minimum_shots: 1,
        ..super::corpus::study().protocol
    };
    of_pair(contribution, &protocol, &CrowdSpread::default()).unwrap()
}

fn effect(pair: &PairEffects, outcome: Outcome) -> Effect {
    let found = pair.effects.iter().find(|effect| effect.outcome == outcome);
    *found.unwrap_or_else(|| panic!("no effect on {outcome:?}: {:?}", pair.left_out))
}

fn lines(case: &Value, arm: &str) -> Vec<ShotLine> {
    case[arm].as_array().unwrap().iter().map(line).collect()
}

#[test]
fn every_kind_of_case_is_compared_or_listed() {
    let file = reference(FILE);
    let found: BTreeSet<&str> = cases(&file).iter().map(|case| text(case, "kind")).collect();
    let missing = NOT_COVERED_YET.iter().map(|(kind, _)| *kind);
    let known: BTreeSet<&str> = COVERED.iter().copied().chain(missing).collect();
    assert_eq!(
        found, known,
        "compare new kinds, and take compared ones off the list"
    );
}

#[test]
fn differences_of_means_and_shares_agree_with_exact_fractions() {
    let file = reference(FILE);
    let tolerance = tolerance(&file);
    let mut report = Report::default();
    for case in of_kind(&file, &["mean_speed", "in_share", "deep_share"]) {
        let name = text(case, "name");
        let outcome = match text(case, "kind") {
            "mean_speed" => Outcome::Speed,
            code => Outcome::from_code(code).unwrap(),
        };
        let sessions = sessions(lines(case, "looser"), lines(case, "tighter"));
        let pair = effects(&sessions);
        let effect = effect(&pair, outcome);
        for (figure, expected) in case["expected"].as_object().unwrap() {
            let place = format!("{name}, {figure}");
            match figure.as_str() {
                "estimate" => report.assert_close(
                    &place,
                    effect.estimate,
                    expected.as_f64().unwrap(),
                    tolerance,
                ),
                "variance" => report.assert_close(
                    &place,
                    effect.variance,
                    expected.as_f64().unwrap(),
                    tolerance,
                ),
                "unit" => report.assert_same(&place, &json!(outcome.unit()), expected),
                "agresti_caffo" => {
                    let adjusted = effect.source == VarianceSource::AdjustedCounts;
                    report.assert_same(&place, &json!(adjusted), expected);
                }
                "log_odds_ratio" => {
                    let found = log_odds_ratio(&sessions, outcome);
                    let expected = (!expected.is_null())
                        .then(|| (number(expected, "estimate"), number(expected, "variance")));
                    report.assert_same(&place, &found.is_some(), &expected.is_some());
                    if let (Some(found), Some(expected)) = (found, expected) {
                        report.assert_close(&place, found.0, expected.0, tolerance);
                        report.assert_close(&place, found.1, expected.1, tolerance);
                    }
                }
                _ => report.say(&place, "is compared with nothing"),
            }
        }
        if outcome == Outcome::Speed {
            report.assert_same(name, &effect.source, &VarianceSource::Reported);
        }
        // The variance is the within-session part, session by session: summing the counts first
        // would be the other reading, which the file gives so that the two are told apart.
        if let Some(other) = case["variance_from_summed_counts"].as_f64() {
            let apart = 1e-3 < (effect.variance - other).abs();
            report.assert_same(&format!("{name}, sessions kept apart"), &apart, &true);
        }
    }
    report.finish(50);
}

/// The log odds ratio of a share of one pair with Woolf's variance; `None` when the counts say
/// nothing of it.
fn log_odds_ratio(pair: &Contribution, outcome: Outcome) -> Option<(f64, f64)> {
    let counts = share_counts(pair, outcome, CLASS).unwrap();
    let arm = |count: ArmCount| odds::Arm {
        events: u64::try_from(count.x).unwrap(),
        trials: u64::try_from(count.n).unwrap(),
    };
    let pair = odds::CountPair {
        first: arm(counts.looser),
        second: arm(counts.tighter),
    };
    let pairs = odds::CountPairs::new(&[pair]).unwrap();
    let effects = pairs.log_odds_ratios().ok()?.effects;
    Some((*effects.estimates().first()?, *effects.variances().first()?))
}

/// Decimals that a percentage shows once it has been a JSON number, which keeps no trailing zeros.
fn decimals_left(percent: Hundredths) -> i64 {
    if percent.count() % 100 == 0 {
        0
    } else if percent.count() % 10 == 0 {
        1
    } else {
        2
    }
}

#[test]
fn percentages_go_back_to_the_counts_behind_them() {
    let file = reference(FILE);
    let mut report = Report::default();
    for case in of_kind(&file, &["percent_to_count"]) {
        let name = text(case, "name");
        let percent = hundredths(number(case, "percent"));
        // A contribution is JSON, so a percentage typed as 75.0 arrives as 75 and counts as one
        // without decimals: it allows more counts than it did on paper. A case that rests on a
        // trailing zero could not be asked of the program, so the file must not have one.
        let decimals = whole(case, "percent_decimals");
        report.assert_same(
            &format!("{name}, decimals"),
            &decimals_left(percent),
            &decimals,
        );
        let resolved = counts::from_percent(percent, whole(case, "n")).unwrap();
        let expected = &case["expected"];
        report.assert_same(name, &json!(resolved.count), &expected["count"]);
        let flagged = json!(!resolved.consistent);
        report.assert_same(&format!("{name}, flagged"), &flagged, &expected["flagged"]);
        let consistent = expected["consistent_counts"].as_array().unwrap();
        let listed = consistent.contains(&json!(resolved.count));
        report.assert_same(&format!("{name}, listed"), &listed, &resolved.consistent);
    }
    report.finish(40);
}

#[test]
fn a_deep_percentage_of_hits_becomes_a_share_of_the_balls_in() {
    let file = reference(FILE);
    let tolerance = tolerance(&file);
    let mut report = Report::default();
    for case in of_kind(&file, &["deep_percent_of_hit"]) {
        let (name, expected) = (text(case, "name"), &case["expected"]);
        let percent = hundredths(number(case, "deep_percent"));
        let resolved = counts::from_percent(percent, whole(case, "hit")).unwrap();
        report.assert_same(name, &json!(resolved.count), &expected["count"]);
        report.assert_same(name, &json!(!resolved.consistent), &expected["flagged"]);
        report.assert_same(
            name,
            &json!([resolved.count]),
            &expected["consistent_counts"],
        );

        let counted = |hit, n_in, deep| ShotLine {
            class: CLASS,
            hit,
            landed_in: Some(Share::Count(n_in)),
            deep: Some(deep),
            speed: None,
        };
        let (hit, n_in) = (whole(case, "hit"), whole(case, "in"));
        let looser = counted(hit, n_in, DeepShare::PercentOfHit(percent));
        // Against an arm whose deep share is one half, so that the difference gives it away.
        let tighter = counted(100, 100, DeepShare::OfIn(Share::Count(50)));
        let difference = effect(
            &effects(&sessions(vec![looser], vec![tighter])),
            Outcome::DeepShare,
        );
        let share = number(expected, "deep_share_of_in_percent");
        report.assert_close(name, difference.estimate, share - 50.0, tolerance);
    }
    report.finish(8);
}

/// A value in another unit, by the conversions of `units`; `None` for a conversion that is listed
/// as not covered.
fn converted(from: &str, to: &str, value: Hundredths) -> Option<f64> {
    if CONVERSIONS_NOT_COVERED_YET.contains(&(from, to)) {
        return None;
    }
    let tension = |unit: TensionUnit| Tension::new(value, unit);
    Some(match (from, to) {
        ("lb", "kg") => tension(TensionUnit::Pound).kilograms(),
        ("kg", "lb") => tension(TensionUnit::Kilogram).pounds(),
        ("mph", "km/h") => Speed::new(value, SpeedUnit::MilePerHour).kmh(),
        other => panic!("unknown conversion {other:?}"),
    })
}

#[test]
fn conversions_are_exact_by_definition() {
    let file = reference(FILE);
    let tolerance = tolerance(&file);
    let mut report = Report::default();
    for case in of_kind(&file, &["conversion"]) {
        let value = hundredths(number(case, "value"));
        if let Some(actual) = converted(text(case, "from"), text(case, "to"), value) {
            let expected = number(&case["expected"], "value");
            report.assert_close(text(case, "name"), actual, expected, tolerance);
        }
    }
    report.finish(10);
}

#[test]
fn gaps_are_compared_without_the_floating_point_error_of_kilograms() {
    let file = reference(FILE);
    let mut report = Report::default();
    for case in of_kind(&file, &["floating_point_gap"]) {
        let (name, expected) = (text(case, "name"), &case["expected"]);
        let step = hundredths(number(case, "step_lb")).count();
        let from = hundredths(number(case, "looser_from_lb")).count();
        let to = hundredths(number(case, "looser_to_lb")).count();
        // Whole steps from the first tension on.
        let looser: Vec<i64> = (from..=to)
            .step_by(usize::try_from(step).unwrap())
            .collect();
        // Half-integer tensions alone: the file counts 15.5, 16.5 and so on.
        let looser: Vec<i64> = if from % 100 == 0 {
            looser
        } else {
            looser
                .into_iter()
                .filter(|count| count % 100 != 0)
                .collect()
        };
        report.assert_same(
            &format!("{name}, tensions"),
            &json!(looser.len()),
            &expected["tensions"],
        );

        let pounds = |count: i64| Tension::new(Hundredths::from_count(count), TensionUnit::Pound);
        let five = pounds(500);
        let below = looser
            .iter()
            .filter(|&&count| pounds(count + 500).minus(pounds(count)) < five)
            .count();
        let place = format!("{name}, exact");
        report.assert_same(
            &place,
            &json!(below),
            &expected["below_5_lb_in_exact_arithmetic"],
        );

        // What the exact arithmetic is there for: doubles of kilograms push most gaps below.
        let factor = 0.453_592_37;
        let gap_kg = |count: &i64| {
            let pounds = Hundredths::from_count(*count).to_f64();
            (pounds + 5.0) * factor - pounds * factor
        };
        let in_kg = looser
            .iter()
            .filter(|&count| gap_kg(count) < 5.0 * factor)
            .count();
        let in_lb = looser
            .iter()
            .filter(|&count| gap_kg(count) / factor < 5.0)
            .count();
        let place = format!("{name}, doubles");
        report.assert_same(
            &place,
            &json!(in_kg),
            &expected["below_5_lb_compared_in_kg"],
        );
        report.assert_same(
            &place,
            &json!(in_lb),
            &expected["below_5_lb_divided_back_to_lb"],
        );
    }
    report.finish(8);
}
