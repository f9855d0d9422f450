//! Questions to published rows: the answers are those of the published analyses where the question
//! is one, are made from the download alone, and come through every door alike.

#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

mod doors;
mod laws;

use crate::harness::assert_valid;
use serde_json::{Value, json};
use std::sync::{Arc, OnceLock};
use tautpool::demo::Stage;
use tautpool::intake::schema::Schema;
use tautpool::service::Public;
use tautpool::{intake, wire};

/// The demo's study with its invented crowd.
pub(crate) fn public() -> Arc<Public> {
    static STAGE: OnceLock<Stage> = OnceLock::new();
    let stage = STAGE.get_or_init(|| Stage::set(0).unwrap());
    stage.service.study(&stage.study.label.slug).unwrap()
}

/// The answer that the service gives.
fn answered(public: &Public, question: &str) -> Value {
    let ready = public.answer(question).unwrap();
    let document = serde_json::from_slice(ready.plain().unwrap()).unwrap();
    assert_valid(Schema::Query, &document);
    document
}

/// The answer that anybody makes from the download.
fn made_from(download: &[u8], question: &str) -> String {
    let publication = intake::aggregate(download).unwrap();
    let query = intake::query::read(question, &publication).unwrap();
    let answer = publication.ask(&query).unwrap();
    let document = wire::query::document(&publication, &query, &answer);
    format!("{document}\n")
}

const QUESTIONS: &[&str] = &[
    "",
    "band=band_2",
    "band=band_4",
    "gap_from=6&gap_below=14",
    "outcome=in_share&level_band=itn_4_to_6",
    "outcome=deep_share&string_family=polyester",
    "stroke=serve&planned=false",
    "outcome=crosscourt_share&band=band_1",
    "estimator=dl&interval=wald&level=0.8&band=band_3",
    "estimator=fixed&stroke=backhand",
];

#[test]
fn an_answer_is_made_from_the_download_alone() {
    let public = public();
    let download = public.aggregate.plain().unwrap();
    // Without everything that is found in it or stands beside the rows, the download gives the same:
    // answers rest on its rows, rules and names, and on how much sessions differ.
    let mut bare: Value = serde_json::from_slice(download).unwrap();
    for name in [
        "analyses",
        "questions",
        "joint",
        "everybody",
        "count_models",
    ] {
        assert_ne!(bare[name], json!([]), "{name}");
        bare[name] = json!([]);
    }
    bare["plans"] = Value::Null;
    let bare = bare.to_string();
    for question in QUESTIONS {
        let answer = public.answer(question).unwrap();
        assert!(
            made_from(download, question) == *answer.plain().unwrap(),
            "{question}"
        );
        assert!(
            made_from(bare.as_bytes(), question) == *answer.plain().unwrap(),
            "{question}"
        );
        // Kept ready, it is the same.
        assert_eq!(public.answer(question).unwrap().etag, answer.etag);
    }
}

#[test]
fn a_question_without_filters_is_the_published_analysis() {
    let public = public();
    let pooled: Value = serde_json::from_slice(public.pooled.plain().unwrap()).unwrap();
    let (mut n_declared, mut n_others) = (0, 0);
    for analysis in pooled["analyses"].as_array().unwrap() {
        let word = |name: &str| analysis[name].as_str().unwrap().to_owned();
        let band = analysis["band"]["code"].as_str().unwrap();
        let question = format!(
            "outcome={}&stroke={}&direction={}&band={band}",
            word("outcome"),
            word("stroke"),
            word("direction")
        );
        if !analysis["withheld"].is_null() {
            assert!(public.answer(&question).is_err(), "{question}");
            continue;
        }
        let answer = answered(&public, &question);
        for name in [
            "basis",
            "k",
            "players",
            "shown",
            "any_time",
            "models",
            "bootstrap_prediction",
            "heterogeneity",
            "unit",
        ] {
            // As texts, so that equal means equal to the last bit.
            let [asked, published] = [&answer[name], &analysis[name]].map(Value::to_string);
            assert_eq!(asked, published, "{question}: {name}");
        }
        assert_eq!(answer["bands"], json!([analysis["band"]]));
        let notes = codes(&answer["notes"]);
        assert!(
            notes.contains(&"published_analysis".to_owned()),
            "{notes:?}"
        );
        let scrutiny = &analysis["scrutiny"];
        if scrutiny.is_null() {
            assert_eq!(answer["exploratory"], true);
            n_others += 1;
            continue;
        }
        assert_eq!(answer["exploratory"], false);
        for name in ["verdict", "sentence", "certainty", "caveats"] {
            assert_eq!(answer[name], scrutiny[name], "{question}: {name}");
        }
        assert_eq!(
            answer["smallest_worthwhile"],
            analysis["smallest_worthwhile"]
        );
        n_declared += 1;
    }
    assert!(12 <= n_declared && 20 < n_others, "{n_declared} {n_others}");
}

fn codes(list: &Value) -> Vec<String> {
    let list = list.as_array().unwrap().iter();
    list.map(|entry| entry["code"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn an_answer_says_what_it_is_and_how_it_is_made_again() {
    let public = public();
    let answer = answered(&public, "gap_from=6&gap_below=14&level_band=itn_4_to_6");
    assert_eq!(answer["exploratory"], true);
    assert_eq!(
        codes(&answer["notes"]),
        [
            "exploratory",
            "pools_over_bands",
            "under_protocol_left_out",
            "gaps_rounded",
            "untold_left_out"
        ]
    );
    assert!(2 <= answer["bands"].as_array().unwrap().len());
    let asked =
        "outcome=speed&stroke=forehand&direction=all&gap_from=6&gap_below=14&level_band=itn_4_to_6";
    assert_eq!(answer["question"]["text"], asked);
    let command = format!("tautpool pool aggregate.json --json --where '{asked}'");
    assert_eq!(answer["command"], command);
    assert_eq!(
        answer["question"]["sentence"],
        "Mean ball speed, forehand, at a gap of 6 to under 14 lb, as published; players of ITN 4 to 6."
    );
    let sentence = answer["sentence"].as_str().unwrap();
    assert!(
        sentence
            .starts_with("At a gap of 6 to under 14 lb, as published (players of ITN 4 to 6), "),
        "{sentence}"
    );
    assert!(sentence.ends_with("asked after the data could be seen: take it as a hint."));
    let reasons = codes(&answer["certainty"]["reasons"]);
    assert_eq!(reasons.last().map(String::as_str), Some("exploratory"));
}

#[test]
fn model_interval_and_level_change_figures_and_no_word() {
    let public = public();
    let plain = answered(&public, "gap_from=6");
    for choice in [
        "estimator=fixed",
        "interval=wald",
        "level=0.5",
        "estimator=pm&interval=hartung_knapp&level=0.99",
    ] {
        let other = answered(&public, &format!("gap_from=6&{choice}"));
        assert_ne!(other["shown"], plain["shown"], "{choice}");
        for name in [
            "verdict",
            "sentence",
            "certainty",
            "caveats",
            "k",
            "players",
        ] {
            assert_eq!(other[name], plain[name], "{choice}: {name}");
        }
        assert!(codes(&other["notes"]).contains(&"own_model_in_words".to_owned()));
    }
    let level = answered(&public, "gap_from=6&level=0.5");
    assert_eq!(level["question"]["level"], 0.5);
    let width = |answer: &Value| {
        let end = |name: &str| answer["any_time"][name].as_f64().unwrap();
        end("high") - end("low")
    };
    assert!(width(&level) < width(&plain));
}

#[test]
fn no_part_of_an_analysis_is_surer_than_the_whole() {
    let public = public();
    let rank = |answer: &Value| {
        let level = answer["certainty"]["level"].as_str().unwrap();
        ["very_low", "low", "moderate", "high"]
            .iter()
            .position(|one| *one == level)
            .unwrap()
    };
    let mut n_parts = 0;
    for outcome in ["speed", "deep_share", "in_share"] {
        for band in ["band_1", "band_2", "band_3", "band_4"] {
            let whole = format!("outcome={outcome}&band={band}");
            let most = rank(&answered(&public, &whole));
            for part in [
                "string_family=polyester",
                "string_family=multifilament",
                "level_band=itn_1_to_3",
                "level_band=itn_4_to_6",
                "level_band=itn_7_to_10",
            ] {
                let Ok(answer) = public.answer(&format!("{whole}&{part}")) else {
                    continue;
                };
                let answer: Value = serde_json::from_slice(answer.plain().unwrap()).unwrap();
                assert!(rank(&answer) <= most.min(1), "{whole}&{part}");
                n_parts += 1;
            }
        }
    }
    assert!(30 < n_parts, "{n_parts}");
}
