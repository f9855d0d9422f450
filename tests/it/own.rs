//! What a contributor sees at once after sending, over the invented crowd: own figures against the
//! pool, a best guess only where it is allowed, and no more than the figures say.

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

use crate::harness::recruit;
use serde_json::{Value, json};
use std::sync::OnceLock;
use tautpool::demo::Stage;
use tautpool::findings::gains::best_guess;
use tautpool::findings::own::{OwnAnswer, Played, own};
use tautpool::findings::{Key, Row, Rows};
use tautpool::pages::{self, AnswerView, Station};
use tautpool::pooling::Level;
use tautpool::pooling::gains::Measurement;
use tautpool::service::{Accepted, Incoming, Service};
use tautpool::vocabulary::Outcome;

const STUDY: &str = "looser-or-tighter";

/// The invented crowd, made once for all tests here.
fn crowd() -> &'static Service {
    static STAGE: OnceLock<Stage> = OnceLock::new();
    &STAGE.get_or_init(|| Stage::set(0).unwrap()).service
}

/// A study with the invented one's protocol and nobody in it.
fn nobody() -> Service {
    let service = Service::in_memory().unwrap();
    let study = include_bytes!("../../fixtures/demo/study.json");
    recruit(&service, study, 0);
    service
}

/// Sessions of these arms in this order, at these tensions in lb.
fn document(arms: &[&str], (looser, tighter): (i64, i64), sd: Option<f64>) -> Value {
    let session = |(place, arm): (usize, &&str)| {
        let is_looser = *arm == "looser";
        let mut line = json!({
            "stroke": "forehand", "direction": "all", "hit": 80,
            "in": if is_looser { 60 } else { 64 }, "deep": if is_looser { 27 } else { 21 },
            "speed_mean": if is_looser { 103.4 } else { 100.2 }, "speed_unit": "km/h",
            "speed_n": 80, "speed_over": "all",
            "speed_max": if is_looser { 131 } else { 128 },
        });
        if let Some(sd) = sd {
            line["speed_sd"] = json!(sd);
            line["sd_divisor"] = json!("n-1");
        }
        let mut backhand = line.clone();
        backhand["stroke"] = json!("backhand");
        backhand["speed_mean"] = json!(88);
        backhand["speed_max"] = json!(110);
        let mut serve = json!({
            "stroke": "serve", "direction": "all", "hit": 12, "in": 8,
            "speed_mean": 150, "speed_unit": "km/h",
        });
        serve["speed_n"] = json!(12);
        json!({
            "arm": arm, "order": place + 1,
            "tension": {"mains": if is_looser { looser } else { tighter }, "unit": "lb"},
            "shots": [line, backhand, serve],
        })
    };
    json!({
        "study": STUDY,
        "consent": {"text_version": "demo-4", "adult": true, "scope": "pooling"},
        "sessions": arms.iter().enumerate().map(session).collect::<Vec<_>>(),
    })
}

fn sent(service: &Service, document: &Value) -> Accepted {
    let document = document.to_string();
    let incoming = Incoming {
        study: STUDY,
        document: document.as_bytes(),
        request_key: None,
        receipt: None,
        now_ms: 0,
    };
    service.receive(&incoming).unwrap()
}

fn answer(accepted: &Accepted) -> OwnAnswer {
    let public = &accepted.public;
    let played = Played::of(&accepted.sent, false);
    own(
        &accepted.pair,
        played,
        &public.publication,
        &public.findings,
    )
    .unwrap()
}

fn page(accepted: &Accepted, receipt: Option<&str>) -> String {
    let view = AnswerView {
        study: &accepted.public.study,
        here: Station::Send,
        answer: &answer(accepted),
        counts: "It counts in the next public batch.".to_owned(),
        flags: accepted
            .flags
            .iter()
            .map(|flag| flag.sentence.clone())
            .collect(),
        receipt: receipt.map(str::to_owned),
        holder: RECEIPT.to_owned(),
        token: Some("a-token".to_owned()),
    };
    pages::answer(&view).unwrap()
}

const ONE_PAIR: &[&str] = &["looser", "tighter"];
const ABBA: &[&str] = &["looser", "tighter", "tighter", "looser"];
const RECEIPT: &str = "ABCD-EFGH-JKMN-PQRS-TUVW-XYZ2-3456-7ABC";

#[test]
fn a_best_guess_is_the_one_of_the_engine_on_the_published_rows() {
    let mut n_guesses = 0;
    let bands = [52, 54, 59, 64].map(|tighter| (46, tighter));
    let asked = [ONE_PAIR, ABBA]
        .into_iter()
        .flat_map(|arms| bands.map(|tensions| (arms, tensions)));
    for (arms, tensions) in asked {
        let accepted = sent(crowd(), &document(arms, tensions, Some(12.0)));
        let publication = &accepted.public.publication;
        let answer = answer(&accepted);
        for own in answer.found() {
            let effect = own.effect;
            let key = Key {
                outcome: effect.outcome,
                class: effect.class,
                band: answer.band,
            };
            let of_key = |row: &Row| row.key() == key;
            let rows: Rows = publication.rows.iter().filter(of_key).collect();
            let is_of_key = |spread: &&tautpool::findings::SessionSpread| {
                (spread.outcome, spread.class) == (key.outcome, key.class)
            };
            let spread = publication.session_spreads.iter().find(is_of_key).copied();
            let n = arms.len() / 2;
            let measured = Measurement::new(effect.estimate, effect.variance, [n, n]).unwrap();
            let engine = best_guess(&rows, spread, &measured, Level::NINETY_FIVE);
            assert_eq!(own.best_guess, engine);
            n_guesses += usize::from(engine.is_ok());
        }
        assert_eq!(answer.found().count(), 3);
    }
    assert!(0 < n_guesses, "the invented crowd has repeated sessions");
}

#[test]
fn own_figures_are_those_of_the_reply_and_the_pool_that_of_the_study_page() {
    let accepted = sent(crowd(), &document(ONE_PAIR, (46, 54), Some(12.0)));
    let answer = answer(&accepted);
    let own: Vec<_> = answer.all().map(|own| own.effect).collect();
    let mut all: Vec<_> = accepted.pair.all().copied().collect();
    assert_eq!(own.len(), all.len());
    all.retain(|effect| !own.contains(effect));
    assert!(all.is_empty());
    for own in answer.found() {
        let analyses = accepted.public.findings.analyses.iter();
        let mut analyses = analyses.filter(|analysis| {
            (analysis.key.outcome, analysis.key.class, analysis.key.band)
                == (own.effect.outcome, own.effect.class, answer.band)
        });
        let finding = analyses.next().unwrap().result.as_ref().unwrap();
        let pool = own.pool.as_ref().unwrap();
        assert_eq!(Ok(pool.shown), finding.shown);
    }
}

#[test]
fn the_page_of_one_pair_has_everything_once_and_praises_nobody() {
    let accepted = sent(crowd(), &document(ONE_PAIR, (46, 54), None));
    let text = page(&accepted, Some(RECEIPT));
    let once = |part: &str| assert_eq!(text.matches(part).count(), 1, "{part}");
    once("<h1>Your answer</h1>");
    once("<meta name=\"tautpool-sent\" content=\"a-token\">");
    once("<script type=\"module\" src=\"/script/form.js\"></script>");
    once("<span>ABCD-</span>");
    once("data-copy=\"receipt-text\" hidden");
    once("It counts in the next public batch.");
    once("everybody else’s figures on this page are invented");
    once("never compared");
    once("cannot be taken out");
    once("Note the standard deviation");
    once("looser, tighter, tighter, looser");
    once("Draw the order before you play");
    once("href=\"/studies/looser-or-tighter/take-part#care\"");
    once("Mean ball speed, serve: left out, because");
    assert!(!text.contains("Every figure here is invented."));
    assert_eq!(text.matches("<svg ").count(), 2, "one picture, two layouts");
    let lower = text.to_lowercase();
    for word in [
        "congratulations",
        "well done",
        "great",
        "proves",
        "significant",
        "no difference",
        "nan",
        "you should string",
    ] {
        let is_there = lower
            .split(|c: char| !c.is_alphanumeric() && c != ' ')
            .any(|part| part.contains(word));
        assert!(!is_there, "{word}");
    }
}

#[test]
fn a_receipt_that_is_not_new_is_not_shown() {
    let accepted = sent(crowd(), &document(ABBA, (46, 54), Some(12.0)));
    assert!(!accepted.held_receipt);
    let text = page(&accepted, None);
    assert!(!text.contains("keep this receipt") && !text.contains("receipt-text"));
    assert!(text.contains("You played several sessions with each string bed"));
    assert!(text.contains("takes out steady tiring and warming up, as far as the sessions have about equally many shots. A further pair"));
}

#[test]
fn a_gap_under_protocol_and_an_empty_study_are_said_plainly() {
    let under = sent(crowd(), &document(ONE_PAIR, (50, 53), Some(12.0)));
    let text = page(&under, Some(RECEIPT));
    assert!(text.contains("smaller than the protocol asks, so your sessions stand apart"));

    let service = nobody();
    let first = sent(&service, &document(ONE_PAIR, (46, 54), Some(12.0)));
    let text = page(&first, Some(RECEIPT));
    assert!(text.contains(
        "No figures over all players are public now, so there is nothing to compare with."
    ));
    assert!(text.contains("We give no best guess for you yet: no figures over all players"));
    assert!(answer(&first).found().all(|own| own.pool.is_err()));
    assert!(!text.contains("mark-pooled-apart\"><polygon"));
    assert!(!text.contains("The diamonds"));
}

#[test]
fn fastest_shots_are_those_that_were_sent() {
    let accepted = sent(crowd(), &document(ABBA, (46, 54), Some(12.0)));
    let fastest = answer(&accepted).played.fastest;
    assert_eq!(fastest.len(), 4);
    let said: Vec<(&str, f64)> = fastest
        .iter()
        .map(|shot| (shot.arm.code(), shot.kmh))
        .collect();
    assert_eq!(said[0], ("looser", 131.0));
    assert_eq!(said[1], ("tighter", 128.0));
    let speeds = answer(&accepted);
    assert_eq!(speeds.primary[0].about.outcome, Outcome::Speed);
}
