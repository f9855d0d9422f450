//! Drawing and opening over HTTP and on the page, in parallel and through kills of the server.

use super::document;
use crate::harness::{self, Answer, STUDY, Server, exported, folder, run, server};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Mutex;
use std::thread;
use std::time::Duration;

const JSON: (&str, &str) = ("content-type", "application/json");
const FORM: (&str, &str) = ("content-type", "application/x-www-form-urlencoded");

fn plans() -> String {
    format!("/api/v1/studies/{STUDY}/plans")
}

fn draw(server: &Server, kind: &str, key: Option<&str>) -> Answer {
    let mut headers = vec![JSON];
    headers.extend(key.map(|key| ("idempotency-key", key)));
    let body = json!({"kind": kind}).to_string();
    server.send("POST", &plans(), &headers, body.as_bytes())
}

fn open(server: &Server, code: &str) -> Answer {
    let path = format!("{}/{code}/open", plans());
    server.send("POST", &path, &[], b"")
}

fn page(server: &Server, form: &str) -> Answer {
    let path = format!("/studies/{STUDY}/plan");
    server.send("POST", &path, &[FORM], form.as_bytes())
}

fn code_of(plan: &Value) -> &str {
    plan["code"].as_str().unwrap()
}

#[test]
fn a_plan_is_sealed_until_it_is_opened_and_then_always_the_same() {
    let (_folder, server) = server();
    for kind in ["two_sessions", "four_sessions"] {
        let answer = draw(&server, kind, None).expect(201);
        assert_eq!(answer.header("cache-control"), "no-store");
        let plan = answer.json();
        assert_eq!(plan["kind"], kind);
        assert_eq!(plan["opened"], Value::Null);
        assert_eq!(plan["sequence"], Value::Null);
        assert!(!answer.text().contains("looser_"), "{}", answer.text());
        let code = code_of(&plan);
        let opened = open(&server, code).expect(200).json();
        assert_eq!(opened["code"], plan["code"]);
        assert_eq!(opened["drawn"], plan["drawn"]);
        let sequence = opened["sequence"].as_str().unwrap();
        let n_sessions = if kind == "two_sessions" { 2 } else { 4 };
        assert_eq!(sequence.split('_').count(), n_sessions);
        thread::sleep(Duration::from_millis(1100));
        let typed = format!("{}-{}%20{}", &code[..4], &code[4..8], &code[8..]);
        let again = open(&server, &typed.to_lowercase()).expect(200).json();
        assert_eq!(again, opened);
    }
}

#[test]
fn the_same_key_draws_the_same_plan_and_serves_for_one_kind() {
    let (_folder, server) = server();
    let first = draw(&server, "two_sessions", Some("k")).expect(201).json();
    let again = draw(&server, "two_sessions", Some("k")).expect(201).json();
    assert_eq!(first, again);
    let other = draw(&server, "two_sessions", Some("l")).expect(201).json();
    assert_ne!(code_of(&first), code_of(&other));
    draw(&server, "four_sessions", Some("k")).expect_problem(422, "key-used-otherwise");
}

#[test]
fn wishes_with_faults_are_refused_with_their_places() {
    let (_folder, server) = server();
    let post = |body: &str| server.send("POST", &plans(), &[JSON], body.as_bytes());
    for (body, pointer, code) in [
        ("{}", "/kind", "missing"),
        ("{\"kind\": \"three_sessions\"}", "/kind", "not_in_list"),
        ("{\"kind\": 2}", "/kind", "not_in_list"),
        (
            "{\"kind\": \"two_sessions\", \"order\": 1}",
            "/order",
            "unknown_field",
        ),
    ] {
        let problem = post(body).expect_problem(422, "invalid");
        let fault = &problem["faults"][0];
        assert_eq!(
            (&fault["pointer"], &fault["code"]),
            (&json!(pointer), &json!(code))
        );
    }
    post("{\"kind\": \"two_sessions\", \"kind\": \"two_sessions\"}")
        .expect_problem(400, "malformed");
    post("two").expect_problem(400, "malformed");
    let untold = server.send("POST", &plans(), &[FORM], b"kind=two_sessions");
    untold.expect_problem(415, "not-json");
    let nowhere = "/api/v1/studies/none/plans";
    let answer = server.send("POST", nowhere, &[JSON], b"{\"kind\": \"two_sessions\"}");
    answer.expect_problem(404, "not-found");
    for method in ["GET", "PUT", "DELETE"] {
        for path in [plans(), format!("{}/000000000000/open", plans())] {
            let answer = server.send(method, &path, &[], b"");
            assert_eq!(answer.header("allow"), "POST");
            answer.expect_problem(405, "method-not-allowed");
        }
    }
}

#[test]
fn a_code_that_nobody_drew_is_refused_with_what_to_do() {
    let (_folder, server) = server();
    for code in ["000000000000", "short", "%C3%A9%C3%A9", "0000-0000-000U"] {
        let problem = open(&server, code).expect_problem(404, "not-found");
        let detail = problem["detail"].as_str().unwrap();
        assert!(detail.contains("Compare it with what you wrote down"));
    }
    let nowhere = "/api/v1/studies/none/plans/000000000000/open";
    server
        .send("POST", nowhere, &[], b"")
        .expect_problem(404, "not-found");
}

#[test]
fn the_order_drawn_and_the_order_played_are_both_kept() {
    let (folder, server) = server();
    let plan = draw(&server, "two_sessions", None).json();
    let opened = open(&server, code_of(&plan)).json();
    let mut sent: Value = serde_json::from_str(&document(0, Some(code_of(&plan)))).unwrap();
    // The tighter one first, whatever was drawn.
    sent["sessions"][0]["order"] = json!(2);
    sent["sessions"][1]["order"] = json!(1);
    let reply = server.post(&sent).expect(201).json();
    assert_eq!(reply["flags"], json!([]));
    drop(server);
    let kept = &exported(folder.path())[0];
    assert_eq!(kept["plan"]["code"], plan["code"]);
    assert_eq!(kept["plan"]["order"], opened["sequence"]);
    assert_eq!(kept["plan"]["planned"], true);
    assert_eq!(kept["order_played"], json!(["tighter", "looser"]));
    let data = folder.path().to_str().unwrap();
    let output = run(&["export", "--data", data, "--study", STUDY], b"");
    let export: Value = serde_json::from_slice(&output.stdout).unwrap();
    let flow = &export["studies"][0]["plans"][0];
    assert_eq!(flow["order"], opened["sequence"]);
    for count in ["drawn", "opened", "sent"] {
        assert_eq!(flow[count], 1, "{count}");
    }
    assert_eq!(flow["withdrawn"], 0);
}

#[test]
fn forty_draws_at_once_have_forty_plans_and_stay_balanced() {
    let (_folder, server) = server();
    let codes: Mutex<BTreeSet<String>> = Mutex::default();
    thread::scope(|scope| {
        for _ in 0..40 {
            scope.spawn(|| {
                let plan = draw(&server, "two_sessions", None).expect(201).json();
                codes.lock().unwrap().insert(code_of(&plan).to_owned());
            });
        }
    });
    let codes = codes.into_inner().unwrap();
    assert_eq!(codes.len(), 40);
    let mut counts: BTreeMap<String, i32> = BTreeMap::new();
    for code in codes {
        let opened = open(&server, &code).json();
        let sequence = opened["sequence"].as_str().unwrap().to_owned();
        *counts.entry(sequence).or_default() += 1;
    }
    let looser_first = counts["looser_tighter"];
    // 40 lie at most half a block of six beyond the end of a block.
    assert!((17..=23).contains(&looser_first), "{counts:?}");
}

#[test]
fn a_plan_that_was_told_survives_a_kill_and_the_key_too() {
    let folder = folder();
    let told: Mutex<BTreeMap<String, String>> = Mutex::default();
    for cut in 0..4_u64 {
        let server = Server::serve(folder.path(), &[]);
        let address = server.address.clone();
        let told = &told;
        thread::scope(|scope| {
            scope.spawn(move || {
                for number in 0.. {
                    let key = format!("cut-{cut}-{number}");
                    let Some(code) = draw_once(&address, &key) else {
                        return;
                    };
                    told.lock().unwrap().insert(key, code);
                }
            });
            thread::sleep(Duration::from_millis(200 + cut * 41));
            // Dropping the server kills it with SIGKILL.
            drop(server);
        });
    }
    let told = told.into_inner().unwrap();
    assert!(8 < told.len(), "hardly any was drawn: {}", told.len());
    let server = Server::serve(folder.path(), &[]);
    for (key, code) in &told {
        let again = draw(&server, "two_sessions", Some(key)).expect(201).json();
        assert_eq!(code_of(&again), code);
    }
    let distinct: BTreeSet<&String> = told.values().collect();
    assert_eq!(distinct.len(), told.len());
}

/// Draws under a key; the code, or nothing when no answer came.
fn draw_once(address: &str, key: &str) -> Option<String> {
    let agent: ureq::Agent = ureq::Agent::config_builder()
        .timeout_global(Some(harness::ANSWER_WITHIN))
        .build()
        .into();
    let mut answer = agent
        .post(format!("http://{address}{}", plans()))
        .header("content-type", "application/json")
        .header("idempotency-key", key)
        .send("{\"kind\": \"two_sessions\"}")
        .ok()?;
    let text = answer.body_mut().read_to_string().ok()?;
    let plan: Value = serde_json::from_str(&text).ok()?;
    Some(code_of(&plan).to_owned())
}

/// What stands between two marks of a page.
fn between<'a>(page: &'a str, before: &str, after: &str) -> &'a str {
    let (_, rest) = page.split_once(before).unwrap();
    rest.split_once(after).unwrap().0
}

#[test]
fn the_page_draws_once_however_often_it_is_tapped_and_opens() {
    let (_folder, server) = server();
    let path = format!("/studies/{STUDY}/plan");
    let first = server.get(&path).expect(200);
    assert_eq!(first.header("cache-control"), "no-store");
    let first = first.text();
    let token = between(&first, "name=\"token\" value=\"", "\"");
    assert!(!server.get(&path).text().contains(token));
    let form = format!("do=draw&kind=two_sessions&token={token}");
    let sealed = page(&server, &form).expect(200).text();
    let code = between(&sealed, "name=\"code\" value=\"", "\"");
    assert!(!sealed.contains("looser string bed"), "{sealed}");
    let shown = format!("{}-{}-{}", &code[..4], &code[4..8], &code[8..]);
    assert!(sealed.contains(&shown));
    let again = page(&server, &form).expect(200).text();
    assert_eq!(again, sealed);
    let opened = page(&server, &format!("do=open&code={shown}"))
        .expect(200)
        .text();
    let sequence = open(&server, code).json()["sequence"].clone();
    let order = between(&opened, "name=\"order\" value=\"", "\"");
    assert_eq!(sequence, order);
    assert!(opened.contains(&format!("name=\"plan_code\" value=\"{code}\"")));
    let list = between(&opened, "<ol class=\"order\">", "</ol>");
    let (looser, tighter) = (list.find("looser").unwrap(), list.find("tighter").unwrap());
    assert_eq!(looser < tighter, order == "looser_tighter");
}

#[test]
fn the_page_says_what_is_wrong_with_a_code_and_escapes_it() {
    let (_folder, server) = server();
    let form = "do=open&code=%3Cb%3E0000+0000+0000";
    let answer = page(&server, form).expect(404);
    assert_eq!(answer.content_type(), "text/html; charset=utf-8");
    let text = answer.text();
    assert!(text.contains("role=\"alert\""));
    assert!(!text.contains("<b>0000"));
    for form in [
        "",
        "do=draw",
        "do=draw&kind=five",
        "do=win",
        "%ff=%ff",
        "do",
    ] {
        page(&server, form).expect_problem(400, "bad-request");
    }
    let path = format!("/studies/{STUDY}/plan");
    let untold = server.send("POST", &path, &[JSON], b"do=draw&kind=two_sessions");
    untold.expect_problem(415, "not-form");
    let nowhere = "/studies/none/plan";
    let answer = server.send("POST", nowhere, &[FORM], b"do=draw&kind=two_sessions");
    answer.expect_problem(404, "not-found");
    server.get(nowhere).expect_problem(404, "not-found");
    let wrong = server.send("PUT", &path, &[], b"");
    assert_eq!(wrong.header("allow"), "GET, HEAD, POST");
    wrong.expect_problem(405, "method-not-allowed");
}

#[test]
fn how_to_play_has_the_numbers_of_the_protocol_its_cautions_first_and_no_results() {
    let (_folder, server) = server();
    let path = format!("/studies/{STUDY}/take-part");
    let text = server.get(&path).expect(200).text();
    for words in [
        "at least 5\u{A0}lb looser",
        "at least 20 shots",
        "Warm up for 10 minutes",
        "about 20 minutes",
        "Common practice, no source",
        "Keep to the tensions that the frame&#39;s maker allows.",
        "the last 2.74 m before the baseline",
    ] {
        assert!(text.contains(words), "{words}\n{text}");
    }
    let care = text.find("Before you start").unwrap();
    for later in [
        "What you need",
        "On court",
        "What to note",
        "Checklist</h2>",
    ] {
        assert!(care < text.find(later).unwrap(), "{later}");
    }
    let plan = server.get(&format!("/studies/{STUDY}/plan")).text();
    for page in [&text, &plan] {
        assert!(!page.contains(&format!("href=\"/studies/{STUDY}\"")));
        assert!(!page.contains("/pooled") && !page.contains("/aggregate"));
    }
    let study = server.get(&format!("/studies/{STUDY}")).text();
    assert!(study.contains(&format!("href=\"{path}\"")));
    server
        .get("/studies/none/take-part")
        .expect_problem(404, "not-found");
}

#[test]
fn no_code_is_in_the_log() {
    let folder = folder();
    let server = Server::serve(folder.path(), &["--log", "debug"]);
    let plan = draw(&server, "two_sessions", None).json();
    open(&server, code_of(&plan)).expect(200);
    page(&server, &format!("do=open&code={}", code_of(&plan))).expect(200);
    assert!(!server.log().contains(code_of(&plan)));
    assert!(server.log().contains("plans/{code}/open"));
}
