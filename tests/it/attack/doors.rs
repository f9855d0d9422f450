//! Every injection through every place for a text: it is taken as a text, or refused with its place
//! in a sentence that holds nothing of it that could do harm.

use super::injections::{TextPlace, fitted, injections, put, text_places};
use super::stage::usual_study;
use crate::corpus::study;
use crate::form::browser::encoded;
use crate::harness::{STUDY, contribution, server, varied};
use serde_json::{Value, json};
use tautpool::intake::schema::Schema;
use tautpool::intake::uploaded::Written;
use tautpool::intake::{self, Rejection};

/// Documents in which each place in turn has each injection, cut to fit and whole.
fn each(places: &[TextPlace], plain: &Value, try_it: impl Fn(&TextPlace, &str, &Value)) {
    for place in places {
        for injection in injections() {
            for text in [injection.clone(), fitted(place, &injection)] {
                let mut document = plain.clone();
                put(&mut document, &place.pointer, &text);
                try_it(place, &text, &document);
            }
        }
    }
}

fn assert_told_well(rejection: &Rejection, text: &str) {
    assert!(!rejection.faults.is_empty());
    for fault in &rejection.faults {
        assert!(!fault.sentence.contains(char::is_control), "{fault:?}");
        assert!(
            !fault.sentence.contains(['\u{202e}', '\u{200b}']),
            "{fault:?}"
        );
        let is_long = 60 < text.chars().count();
        assert!(!is_long || !fault.sentence.contains(text), "{fault:?}");
    }
}

/// A contribution with something at every place that may have a text.
fn whole_contribution() -> Value {
    let mut document = contribution(varied(1));
    document["setup"] = json!({"frame": {"label": "Frame A"}});
    document["note"] = json!("A note");
    document
}

#[test]
fn a_contribution_takes_a_text_as_a_text_or_refuses_it_with_its_place() {
    let study = study();
    let places = text_places(Schema::Contribution);
    each(
        &places,
        &whole_contribution(),
        |place, text, document| match intake::contribution(document.to_string().as_bytes(), &study)
        {
            Ok(_) => assert!(!place.is_formal, "{} took {text}", place.pointer),
            Err(rejection) => {
                assert!(rejection.faults[0].pointer.starts_with(&place.pointer));
                assert_told_well(&rejection, text);
            }
        },
    );
}

#[test]
fn a_study_takes_a_text_as_a_text_or_refuses_it_with_its_place() {
    let places = text_places(Schema::Study);
    let mut plain = usual_study();
    plain["protocol"]["release_rule"] = json!({"kind": "date", "on": "2027-01-01"});
    each(
        &places,
        &plain,
        |place, text, document| match intake::study(document.to_string().as_bytes()) {
            Ok(_) => assert!(!place.is_formal, "{} took {text}", place.pointer),
            Err(rejection) => {
                assert!(
                    rejection.faults[0].pointer.starts_with(&place.pointer),
                    "{rejection:?}"
                );
                assert_told_well(&rejection, text);
            }
        },
    );
}

#[test]
fn only_such_addresses_may_be_named_as_a_browser_follows_without_running_anything() {
    let plain = usual_study();
    for address in [
        "javascript:zqx()",
        "JAVASCRIPT:zqx()",
        "data:text/html,zqx",
        "vbscript:zqx",
        "http://elsewhere.example",
        "//elsewhere.example",
        "https://elsewhere.example/\" onclick=\"zqx()",
        "https://elsewhere.example/<script>",
        "https://elsewhere.example/\nzqx",
        " https://elsewhere.example",
    ] {
        let mut study = plain.clone();
        study["licence"]["url"] = json!(address);
        let refused = intake::study(study.to_string().as_bytes()).unwrap_err();
        assert_eq!(refused.faults[0].pointer, "/licence/url", "{address}");
    }
}

#[test]
fn a_file_of_shots_a_table_and_a_question_tell_what_is_wrong_without_repeating_harm() {
    let study = study();
    let publication = intake::published(include_bytes!("../../../fixtures/fuzz/download.json"));
    let publication = publication.unwrap();
    let head = "session,string_bed,tension,tension_unit,stroke,direction,landed,speed,speed_unit";
    for injection in injections() {
        let cell = format!("\"{}\"", injection.replace('"', "\"\""));
        for file in [
            format!("{head}\n1,looser,48,lb,{cell},all,in,80,km/h\n"),
            format!("{head},{cell}\n1,looser,48,lb,forehand,all,in,80,km/h,1\n"),
            format!("{cell}\n"),
            injection.clone(),
        ] {
            let read = intake::uploaded::read(file.as_bytes(), Written::Csv, &study);
            assert_told_well(&read.unwrap_err(), &injection);
        }
        for table in [
            format!("estimate,variance\n{cell},1\n"),
            format!("estimate,variance\n1,{cell}\n"),
            format!("{cell},variance\n1,1\n"),
        ] {
            let read = intake::table::effects(table.as_bytes());
            assert_told_well(&read.unwrap_err(), &injection);
        }
        for question in [format!("outcome={injection}"), format!("{injection}=1")] {
            match intake::query::read(&question, &publication) {
                Ok(_) => panic!("{question}"),
                Err(rejection) => assert_told_well(&rejection, &injection),
            }
        }
    }
}

#[test]
fn what_comes_in_queries_and_headers_stands_in_no_header_and_is_never_markup() {
    let (_folder, server) = server();
    let base = format!("/studies/{STUDY}");
    for injection in injections() {
        let query = encoded(&[
            ("speed".to_owned(), injection.clone()),
            (injection.clone(), "1".to_owned()),
        ]);
        for path in [
            format!("{base}?{query}"),
            format!("{base}/pairs?{query}"),
            format!("{base}/card.svg?{query}"),
            format!("/api/v1/studies?{}", query.replacen("speed", "after", 1)),
            format!("/api/v1/studies?{}", query.replacen("speed", "limit", 1)),
            format!("/api/v1/studies/{STUDY}/query?{query}"),
            format!("/host/sign-in?{query}"),
        ] {
            let answer = server.get(&path);
            assert_harmless(&answer, &path);
        }
        // A header takes visible ASCII alone.
        if injection
            .bytes()
            .all(|byte| byte.is_ascii_graphic() || byte == b' ')
        {
            let headers: Vec<(&str, &str)> = [
                "accept",
                "accept-encoding",
                "accept-language",
                "user-agent",
                "referer",
                "origin",
                "if-none-match",
                "if-range",
                "range",
                "x-forwarded-for",
                "forwarded",
                "x-forwarded-host",
                "x-request-id",
                "cookie",
                "idempotency-key",
            ]
            .map(|name| (name, injection.as_str()))
            .to_vec();
            for path in [base.clone(), format!("/api/v1/studies/{STUDY}/aggregate")] {
                assert_harmless(&server.send("GET", &path, &headers, b""), &path);
            }
            let receipt = format!("Receipt {injection}");
            let path = format!("/api/v1/studies/{STUDY}/contributions");
            let headers = [("authorization", receipt.as_str())];
            assert_harmless(&server.send("GET", &path, &headers, b""), &path);
        }
    }
    // Nothing of it stands in the log either, which has one line of JSON for each event.
    for line in server.log().lines() {
        serde_json::from_str::<Value>(line).unwrap();
    }
}

/// No header has anything of it, and a body that has is none that browsers take for markup.
fn assert_harmless(answer: &crate::harness::Answer, path: &str) {
    for name in answer.header_names() {
        // The address that goes on in a list has what was asked for, escaped.
        let value = answer.header(name);
        let is_plain = name == "link" || !value.contains("zqx");
        assert!(
            is_plain && !value.contains(['<', '\n']) || name == "link",
            "{path}: {name}: {value}"
        );
    }
    if answer.content_type().starts_with("text/html") {
        let parts = super::markup::html(&answer.text());
        let inline: Vec<String> = parts.iter().flat_map(super::markup::inline).collect();
        assert!(inline.is_empty(), "{path}: {inline:?}");
    }
}
