//! Whole contributions: what intake reads of them, and every figure made from that.

use super::{FILE, Report, cases, number, of_kind, reference, text, tolerance};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use tautpool::contribution::{Contribution, Moderators};
use tautpool::effects::spread::CrowdSpread;
use tautpool::effects::{Effect, of_pair, repeats, share_counts};
use tautpool::intake;
use tautpool::protocol::Study;
use tautpool::units::Hundredths;
use tautpool::vocabulary::{Direction, Outcome, ShotClass, StringFamily, Stroke, VarianceSource};

fn study() -> Study {
    crate::corpus::study()
}

fn admitted(case: &Value) -> Contribution {
    let bytes = case["document"].to_string();
    let admitted = intake::contribution(bytes.as_bytes(), &study());
    admitted
        .unwrap_or_else(|rejection| panic!("{:?}", rejection.faults))
        .contribution
}

fn what(outcome: Outcome, class: ShotClass) -> Value {
    json!([outcome.code(), class.stroke.code(), class.direction.code()])
}

/// Figures by what they are about.
fn by_what(rows: &Value) -> BTreeMap<String, &Value> {
    let rows = rows.as_array().unwrap();
    rows.iter()
        .map(|row| (row["what"].to_string(), row))
        .collect()
}

fn compare_effects(report: &mut Report, place: &str, effects: &[Effect], expected: &Value) {
    let tolerance = tolerance(&reference(FILE));
    let expected = by_what(expected);
    let found: Vec<String> = effects
        .iter()
        .map(|effect| what(effect.outcome, effect.class).to_string())
        .collect();
    let mut sorted = found.clone();
    sorted.sort_unstable();
    let wanted: Vec<String> = expected.keys().cloned().collect();
    report.assert_same(place, &sorted, &wanted);
    for (effect, of) in effects.iter().zip(&found) {
        let Some(expected) = expected.get(of) else {
            continue;
        };
        let place = format!("{place}, {of}");
        let source = expected["source"].as_str();
        let imputed = expected["imputed_variance"].as_f64().unwrap_or(0.0);
        for (actual, expected) in [
            (effect.estimate, number(expected, "estimate")),
            (effect.variance, number(expected, "variance")),
            (effect.imputed_variance, imputed),
        ] {
            report.assert_close(&place, actual, expected, tolerance);
        }
        if let Some(source) = source {
            report.assert_same(&place, &effect.source.code(), &source);
        } else {
            let assumed = effect.source == VarianceSource::AssumedCv;
            report.assert_same(&place, &assumed, &(0.0 < imputed));
        }
    }
}

#[test]
fn primary_and_secondary_effects_of_whole_contributions_agree_with_exact_fractions() {
    let file = reference(FILE);
    let mut report = Report::default();
    let study = study();
    for case in of_kind(&file, &["contribution"]) {
        let (name, expected) = (text(case, "name"), &case["expected"]);
        let pair = of_pair(&admitted(case), &study.protocol, &CrowdSpread::default()).unwrap();
        let speeds: Vec<Effect> = pair
            .effects
            .iter()
            .filter(|effect| effect.outcome == Outcome::Speed)
            .copied()
            .collect();
        compare_effects(&mut report, name, &speeds, &expected["speeds"]);
        compare_effects(&mut report, name, &pair.secondary, &expected["secondary"]);
    }
    report.finish(50);
}

#[test]
fn counts_and_repeated_arms_agree_with_exact_fractions() {
    let file = reference(FILE);
    let tolerance = tolerance(&file);
    let mut report = Report::default();
    for case in of_kind(&file, &["contribution"]) {
        let (name, expected) = (text(case, "name"), &case["expected"]);
        let pair = admitted(case);
        let mut counts = Vec::new();
        for outcome in Outcome::ALL {
            for stroke in Stroke::ALL {
                for direction in Direction::ALL {
                    let class = ShotClass {
                        stroke: *stroke,
                        direction: *direction,
                    };
                    // Every class of these outcomes reads the same fields of the session.
                    let of_all = !matches!(
                        outcome,
                        Outcome::InShare | Outcome::DeepShare | Outcome::CrosscourtShare
                    );
                    let of_stroke = *outcome == Outcome::CrosscourtShare;
                    if (of_all && class != ShotClass::ALL)
                        || (of_stroke && *direction != Direction::All)
                    {
                        continue;
                    }
                    if let Some(found) = share_counts(&pair, *outcome, class) {
                        let (looser, tighter) = (found.looser, found.tighter);
                        let mut row = what(*outcome, class);
                        let figures = [looser.x, looser.n, tighter.x, tighter.n];
                        row.as_array_mut()
                            .unwrap()
                            .extend(figures.map(|figure| json!(figure)));
                        counts.push(row);
                    }
                }
            }
        }
        report.assert_same(name, &json!(counts), &expected["counts"]);

        let repeated = repeats::of_pair(&pair, &CrowdSpread::default());
        let listed = expected["repeats"].as_array().unwrap();
        report.assert_same(name, &repeated.len(), &listed.len());
        for (found, expected) in repeated.iter().zip(listed) {
            let mut of = what(found.outcome, found.class);
            of.as_array_mut().unwrap().push(json!(found.arm.code()));
            report.assert_same(name, &of, &expected["what"]);
            let place = format!("{name}, {of}");
            let sessions = expected["sessions"].as_array().unwrap();
            report.assert_same(&place, &found.sessions.len(), &sessions.len());
            for (session, expected) in found.sessions.iter().zip(sessions) {
                let figure = |place: usize| expected[place].as_f64().unwrap();
                report.assert_close(&place, session.mean, figure(0), tolerance);
                report.assert_same(&place, &json!(session.n), &expected[1]);
                report.assert_close(&place, session.variance, figure(2), tolerance);
            }
        }
    }
    report.finish(60);
}

#[test]
fn moderators_agree_with_exact_fractions() {
    let file = reference(FILE);
    let mut report = Report::default();
    for case in of_kind(&file, &["contribution"]) {
        let (name, expected) = (text(case, "name"), &case["expected"]["moderators"]);
        let moderators = Moderators::of(&admitted(case));
        let age = |age: Option<Hundredths>| age.map(Hundredths::to_f64);
        for (field, actual) in [
            ("partner_pace", moderators.partner_pace),
            ("order", moderators.order),
            ("bed_age_hours", age(moderators.bed_age_hours)),
            ("bed_age_days", age(moderators.bed_age_days)),
        ] {
            // Exact quantities, each rounded once.
            let place = format!("{name}, {field}");
            report.assert_same(&place, &actual, &expected[field].as_f64());
        }
        report.assert_same(name, &moderators.blinded, &expected["blinded"].as_bool());
        let n_sessions = moderators.looser_sessions + moderators.tighter_sessions;
        let sent = case["document"]["sessions"].as_array().unwrap().len();
        report.assert_same(name, &n_sessions, &sent);
    }
    report.finish(18);
}

#[test]
fn every_case_has_something_missing_and_something_known() {
    let file = reference(FILE);
    let contributions = cases(&file)
        .iter()
        .filter(|case| text(case, "kind") == "contribution");
    let study = study();
    for case in contributions {
        let pair = of_pair(&admitted(case), &study.protocol, &CrowdSpread::default()).unwrap();
        assert!(!pair.secondary.is_empty(), "{}", text(case, "name"));
        let n_places = pair.secondary.len() + pair.secondary_left_out.len();
        assert!(4 <= n_places, "{}", text(case, "name"));
    }
}

/// A valid document of the corpus, as intake reads it.
fn of_the_corpus(name: &str) -> Contribution {
    let documents = crate::corpus::valid_documents();
    let (_, bytes) = documents.iter().find(|(of, _)| of == name).unwrap();
    intake::contribution(bytes, &study()).unwrap().contribution
}

#[test]
fn intake_reads_what_is_computed_on_beside_the_shots() {
    let complete = of_the_corpus("complete");
    let moderators = Moderators::of(&complete);
    let hundredths = |count| Some(Hundredths::from_count(count));
    // As the document has it: 88 and 86.5 km/h, 0 and 1.5 hours, 1 and 2 days.
    let expected = Moderators {
        partner_pace: Some(1.5),
        order: Some(0.5),
        bed_age_hours: hundredths(-150),
        bed_age_days: hundredths(-100),
        blinded: Some(true),
        itn: Some(4),
        mains_family: Some(StringFamily::Polyester),
        looser_sessions: 1,
        tighter_sessions: 1,
    };
    assert_eq!(moderators, expected);
    let fastest = complete.sessions[0].lines[1].speed.unwrap().max.unwrap();
    // 71.3 mph.
    assert_eq!(fastest.hundred_millionths_kmh(), 7_130 * 1_609_344);

    let unknown = Moderators::of(&of_the_corpus("unknown-everywhere"));
    assert_eq!(
        (unknown.itn, unknown.mains_family, unknown.blinded),
        (None, None, None)
    );
}
