//! The form without a script, through the real server.

#![expect(
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

pub(crate) mod browser;
mod entries;
mod second_look;

use crate::harness::{Answer, STUDY, Server, exported, server};
use browser::{FORM, Page, address, arrive, encoded, unescaped};
use serde_json::{Value, json};
use std::path::Path;

const SETUP: &[(&str, &str)] = &[
    ("order", "looser_tighter"),
    ("tension_unit", "lb"),
    ("looser_mains", "46"),
    ("tighter_mains", "52,5"),
];

const DEVICE: &[(&str, &str)] = &[
    ("device", "court_cameras"),
    ("speed_unit", "km/h"),
    ("speed_over", "all"),
    ("shares_as", "percent"),
    ("deep_percent_of", "in"),
];

const FIRST: &[(&str, &str)] = &[
    ("s1_minutes", "20"),
    ("s1_warm_up", "10"),
    ("s1_knew", "yes"),
    ("s1_partner_speed", "80.5"),
    ("s1_c1_hit", "60"),
    ("s1_c1_in", "70 %"),
    ("s1_c1_deep", "35,7"),
    ("s1_c1_mean", "97,5"),
];

const SECOND: &[(&str, &str)] = &[
    ("s2_partner_speed", "81"),
    ("s2_c1_hit", "64"),
    ("s2_c1_in", "75"),
    ("s2_c1_deep", "25"),
    ("s2_c1_mean", "95.2"),
];

pub(crate) const CONSENT: &[(&str, &str)] = &[("consent_pooling", "yes"), ("adult", "yes")];

/// Fills the step that is shown and presses a button.
pub(crate) fn on(server: &Server, page: &mut Page, fill: &[(&str, &str)], button: &str) -> Answer {
    page.fill_all(fill);
    page.press(server, button)
}

/// Goes on from step to step up to the last.
pub(crate) fn up_to_send(server: &Server) -> Page {
    let mut page = arrive(server);
    for (fill, next) in [
        (SETUP, "device"),
        (DEVICE, "session-1"),
        (FIRST, "session-2"),
        (SECOND, "about"),
        (&[], "send"),
    ] {
        page = Page::of(&on(server, &mut page, fill, "next").expect(200));
        assert_eq!(page.step(), next);
        assert_eq!(page.faults(), Vec::<&str>::new());
    }
    page
}

/// The documents that were kept.
fn documents(data: &Path) -> Vec<Value> {
    exported(data)
        .iter()
        .map(|kept| serde_json::from_str(kept["document"].as_str().unwrap()).unwrap())
        .collect()
}

/// The receipt as it stands on the page, in groups.
fn receipt(answer: &Answer) -> String {
    let html = answer.text();
    let (_, rest) = html.split_once("id=\"receipt-text\"").unwrap();
    let (shown, _) = rest.split_once("</p>").unwrap();
    let groups = shown.split("<span>").skip(1);
    let groups: Vec<&str> = groups
        .map(|group| group.split_once('<').unwrap().0)
        .collect();
    groups.concat()
}

#[test]
fn from_the_link_to_the_receipt_without_a_script() {
    let (folder, server) = server();
    let mut page = up_to_send(&server);
    // What is usually the same was taken over, figures were not.
    assert_eq!(page.value("s2_minutes"), "20");
    assert_eq!(page.value("s2_knew"), "yes");
    let answer = on(&server, &mut page, CONSENT, "send").expect(201);
    assert_eq!(answer.header("cache-control"), "no-store");
    assert_eq!(receipt(&answer).len(), 39);
    let kept = &documents(folder.path())[0];
    let line = |hit: i64, n_in: f64, deep: f64, mean: f64| {
        json!({
            "stroke": "forehand", "direction": "all", "hit": hit,
            "in_percent": n_in, "deep_percent": deep, "deep_percent_of": "in",
            "speed_mean": mean, "speed_unit": "km/h", "speed_over": "all",
        })
    };
    let mut first = line(60, 70.0, 35.7, 97.5);
    let mut second = line(64, 75.0, 25.0, 95.2);
    first["in_percent"] = json!(70);
    second["in_percent"] = json!(75);
    second["deep_percent"] = json!(25);
    let expected = json!({
        "study": STUDY,
        "consent": {"text_version": "1", "adult": true, "scope": "pooling"},
        "device": {"class": "court_cameras"},
        "sessions": [
            {
                "arm": "looser", "tension": {"mains": 46, "unit": "lb"}, "order": 1,
                "minutes": 20, "warm_up_minutes": 10, "knew_tension": "yes",
                "partner": {"speed_mean": 80.5, "speed_unit": "km/h"}, "shots": [first],
            },
            {
                "arm": "tighter", "tension": {"mains": 52.5, "unit": "lb"}, "order": 2,
                "minutes": 20, "warm_up_minutes": 10, "knew_tension": "yes",
                "partner": {"speed_mean": 81, "speed_unit": "km/h"}, "shots": [second],
            },
        ],
    });
    assert_eq!(*kept, expected);
}

#[test]
fn mistakes_are_shown_where_they_are_mended() {
    let (folder, server) = server();
    let mut page = arrive(&server);
    // Nothing chosen: the first step says what it needs and nothing of later ones.
    page = Page::of(&page.press(&server, "next").expect(422));
    assert_eq!(page.step(), "setup");
    assert_eq!(
        page.faults(),
        ["order", "tension_unit", "looser_mains", "tighter_mains"]
    );
    assert!(page.html.contains("<title>Mend: "));
    let main = page.html.split_once("<main").unwrap().1;
    let first_element = main.split('<').nth(1).unwrap();
    assert!(
        first_element.contains("id=\"summary\" role=\"alert\" tabindex=\"-1\""),
        "{first_element}"
    );
    assert!(page.html.contains("<a href=\"#looser_mains\">"));
    page.fill_all(SETUP);
    page.fill("looser_mains", "forty");
    page = Page::of(&page.press(&server, "next").expect(422));
    assert_eq!(page.faults(), ["looser_mains"]);
    let sentence = page.fault("looser_mains").unwrap();
    assert!(sentence.contains("\"forty\" is not a number"), "{sentence}");
    assert_eq!(page.value("looser_mains"), "forty");
    page.fill("looser_mains", "53");
    page = Page::of(&page.press(&server, "next").expect(422));
    assert_eq!(page.faults(), ["tighter_mains"]);
    page.fill("looser_mains", "46");
    page = Page::of(&page.press(&server, "next").expect(200));
    assert_eq!(page.step(), "device");
    page = Page::of(&on(&server, &mut page, DEVICE, "next").expect(200));
    page.fill_all(FIRST);
    page.fill("s1_c1_in", "130");
    page = Page::of(&page.press(&server, "next").expect(422));
    assert_eq!(page.faults(), ["s1_c1_in"]);
    assert!(exported(folder.path()).is_empty());
}

#[test]
fn a_fault_has_the_sentence_and_the_code_of_the_data_interface() {
    let (_folder, server) = server();
    let mut page = up_to_send(&server);
    page.fill_all(CONSENT);
    page.set("s1_c1_mean", "9750");
    page.set("s2_c1_hit", "0");
    let path = format!("{}/check", address());
    let body = encoded(&page.filled);
    let check = server
        .send("POST", &path, &[("content-type", FORM)], body.as_bytes())
        .expect(200)
        .json();
    let places: Vec<_> = check["faults"]
        .as_array()
        .unwrap()
        .iter()
        .map(|fault| {
            (
                fault["field"].as_str().unwrap(),
                fault["step"].as_str().unwrap(),
            )
        })
        .collect();
    assert_eq!(
        places,
        [("s1_c1_mean", "session-1"), ("s2_c1_hit", "session-2")]
    );
    let document = json!({
        "study": STUDY,
        "consent": {"text_version": "1", "adult": true, "scope": "pooling"},
        "sessions": [
            {"arm": "looser", "tension": {"mains": 46, "unit": "lb"}, "shots": [{
                "stroke": "forehand", "direction": "all", "hit": 60,
                "speed_mean": 9750, "speed_unit": "km/h"}]},
            {"arm": "tighter", "tension": {"mains": 52.5, "unit": "lb"}, "shots": [{
                "stroke": "forehand", "direction": "all", "hit": 0,
                "speed_mean": 95.2, "speed_unit": "km/h"}]},
        ],
    });
    let problem = server.post(&document).expect_problem(422, "invalid");
    let page = Page::of(&page.press(&server, "send").expect(422));
    for (place, (field, _)) in places.iter().enumerate() {
        for name in ["pointer", "code", "sentence"] {
            assert_eq!(
                check["faults"][place][name], problem["faults"][place][name],
                "{field}"
            );
        }
        let shown = page.fault(field).unwrap();
        assert_eq!(problem["faults"][place]["sentence"], shown);
    }
    assert_eq!(page.step(), "session-1");
}

#[test]
fn consent_is_unticked_and_needed() {
    let (folder, server) = server();
    let mut page = up_to_send(&server);
    for name in ["consent_pooling", "consent_rows", "adult"] {
        assert_eq!(page.value(name), "");
    }
    page = Page::of(&page.press(&server, "send").expect(422));
    assert_eq!(page.faults(), ["consent_pooling", "adult"]);
    // Rows alone are no consent to be counted.
    page.fill("consent_rows", "yes");
    page.fill("adult", "yes");
    page = Page::of(&page.press(&server, "send").expect(422));
    assert_eq!(page.faults(), ["consent_pooling"]);
    page.fill("consent_pooling", "yes");
    page.press(&server, "send").expect(201);
    let kept = documents(folder.path());
    assert_eq!(kept[0]["consent"]["scope"], "pooling_and_rows");
}

#[test]
fn consent_to_another_wording_is_asked_again() {
    let (folder, server) = server();
    let mut page = up_to_send(&server);
    page.fill_all(CONSENT);
    page.set("consent_version", "0");
    let page = Page::of(&page.press(&server, "send").expect(422));
    assert_eq!(page.value("consent_pooling"), "");
    assert_eq!(page.value("consent_version"), "1");
    assert!(
        page.fault("consent_pooling")
            .unwrap()
            .contains("version `1`")
    );
    assert!(exported(folder.path()).is_empty());
}

#[test]
fn a_double_tap_sends_once() {
    let (folder, server) = server();
    let mut page = up_to_send(&server);
    page.fill_all(CONSENT);
    let receipts: Vec<String> = std::thread::scope(|scope| {
        let taps: Vec<_> = (0..4)
            .map(|_| scope.spawn(|| receipt(&page.press(&server, "send").expect(201))))
            .collect();
        taps.into_iter().map(|tap| tap.join().unwrap()).collect()
    });
    assert!(receipts.iter().all(|receipt| *receipt == receipts[0]));
    assert_eq!(exported(folder.path()).len(), 1);
    // The same form with other entries is not sent, and nothing typed is lost.
    page.set("s1_c1_mean", "96");
    let again = Page::of(&page.press(&server, "send").expect(422));
    assert!(again.html.contains("This form was sent already"));
    assert_eq!(again.value("s1_c1_mean"), "96");
    assert_eq!(exported(folder.path()).len(), 1);
}

#[test]
fn a_further_pair_joins_its_player() {
    let (folder, server) = server();
    let mut page = up_to_send(&server);
    let first = receipt(&on(&server, &mut page, CONSENT, "send").expect(201));
    let mut page = up_to_send(&server);
    page.fill("receipt", &first.to_lowercase());
    let second = on(&server, &mut page, CONSENT, "send").expect(201);
    // Whoever has the receipt is not shown it again.
    assert!(!second.text().contains("receipt-text"));
    let kept = exported(folder.path());
    assert_eq!(kept.len(), 2);
    assert_eq!(kept[0]["player"], kept[1]["player"]);
    let mut page = up_to_send(&server);
    page.fill("receipt", "AAAA-BBBB");
    let page = Page::of(&on(&server, &mut page, CONSENT, "send").expect(422));
    assert!(page.html.contains("holds this receipt"));
    assert_eq!(page.value("receipt"), "AAAA-BBBB");
    assert_eq!(page.value("s1_c1_hit"), "60");
}

#[test]
fn going_back_and_about_loses_nothing() {
    let (_folder, server) = server();
    let page = up_to_send(&server);
    let typed = page.filled.clone();
    let kept = |page: &Page| {
        for (name, value) in &typed {
            if !["step", "reached", "checked"].contains(&name.as_str()) {
                assert_eq!(page.value(name), value, "{name}");
            }
        }
    };
    let mut page = page;
    for step in ["about", "session-2", "session-1", "device", "setup"] {
        page = Page::of(&page.press(&server, "back").expect(200));
        assert_eq!(page.step(), step);
        kept(&page);
    }
    for step in ["send", "session-1", "setup", "about"] {
        page = Page::of(&page.press(&server, &format!("step:{step}")).expect(200));
        assert_eq!(page.step(), step);
        kept(&page);
    }
}

#[test]
fn four_sessions_have_four_steps() {
    let (folder, server) = server();
    let mut page = arrive(&server);
    page.fill_all(SETUP);
    page.fill("order", "tighter_looser_looser_tighter");
    page = Page::of(&page.press(&server, "next").expect(200));
    assert!(page.html.contains("Fourth session: tighter"));
    page = Page::of(&on(&server, &mut page, DEVICE, "next").expect(200));
    for (number, mean) in [(1, "95"), (2, "97"), (3, "98"), (4, "94")] {
        assert_eq!(page.step(), format!("session-{number}"));
        page.fill(&format!("s{number}_c1_hit"), "40");
        page.fill(&format!("s{number}_c1_mean"), mean);
        page = Page::of(&page.press(&server, "next").expect(200));
    }
    page = Page::of(&page.press(&server, "next").expect(200));
    on(&server, &mut page, CONSENT, "send").expect(201);
    let kept = documents(folder.path());
    let sessions = kept[0]["sessions"].as_array().unwrap();
    let arms: Vec<_> = sessions
        .iter()
        .map(|session| session["arm"].as_str().unwrap())
        .collect();
    assert_eq!(arms, ["tighter", "looser", "looser", "tighter"]);
}

#[test]
fn other_pages_open_the_form_prefilled() {
    let (_folder, server) = server();
    let open = |body: &str| {
        Page::of(
            &server
                .send(
                    "POST",
                    &address(),
                    &[("content-type", FORM)],
                    body.as_bytes(),
                )
                .expect(200),
        )
    };
    let page = open("plan_code=7K2M-9QXA-4C3D&order=tighter_looser");
    assert_eq!(page.step(), "setup");
    assert_eq!(page.value("plan_code"), "7K2M-9QXA-4C3D");
    assert_eq!(page.value("order"), "tighter_looser");
    assert_eq!(page.faults(), Vec::<&str>::new());
    let page = open("receipt=ABCD");
    assert_eq!(page.value("receipt"), "ABCD");
    let page = open("do=dance&looser_mains=50");
    assert_eq!(page.value("looser_mains"), "50");
}

#[test]
fn whatever_is_typed_stays_text() {
    let (_folder, server) = server();
    let nasty = "\"'><script>alert(1)</script><img src=x onerror=y>&amp;{{7*7}}";
    let mut page = up_to_send(&server);
    let names: Vec<String> = page
        .names()
        .map(|(name, _)| name.to_owned())
        .filter(|name| name != "order")
        .collect();
    for name in &names {
        page.set(name, nasty);
    }
    page.set("token", nasty);
    page.set("checked", nasty);
    for action in ["send", "next", "back", "step:about", nasty] {
        let answer = page.post(&server, action);
        let shown = Page::of(&answer);
        assert!(!shown.html.contains("<script>alert"), "{action}");
        assert!(!shown.html.contains("<img"), "{action}");
        assert_eq!(shown.html.matches("<script").count(), 1);
        assert_eq!(shown.value("note"), nasty);
        assert_eq!(shown.value("s1_c1_hit"), &nasty[..60]);
        assert_eq!(unescaped(shown.value("token")).len(), 36);
    }
}

#[test]
fn huge_and_broken_bodies_are_answered_with_a_page() {
    let (folder, server) = server();
    let post =
        |kind: &str, body: &[u8]| server.send("POST", &address(), &[("content-type", kind)], body);
    for body in [
        &b""[..],
        b"%%%",
        b"\xff\xfe=\xfd",
        b"=&=&=",
        b"do=send",
        b"do=next&step=x&s9_c9_x=1",
    ] {
        let answer = post(FORM, body);
        assert!([200, 422].contains(&answer.status), "{}", answer.status);
        Page::of(&answer);
    }
    let huge = format!("note={}", "a".repeat(300_000));
    let page = Page::of(&post(FORM, huge.as_bytes()).expect(413));
    assert!(page.html.contains("nothing of it was read"));
    let many = "s1_c1_hit=1&".repeat(20_000);
    Page::of(&post(FORM, many.as_bytes()).expect(200));
    // What is no form at all is answered as a machine's request.
    post("application/json", b"{}").expect_problem(415, "not-form");
    let path = format!("{}/check", address());
    server.get(&path).expect_problem(405, "method-not-allowed");
    server
        .get("/studies/nowhere/send")
        .expect_problem(404, "not-found");
    assert!(exported(folder.path()).is_empty());
}

#[test]
fn no_figure_of_the_study_is_on_the_form() {
    let (_folder, server) = server();
    for number in 1..=6 {
        server
            .post(&crate::harness::contribution(crate::harness::varied(
                number,
            )))
            .expect(201);
    }
    let html = up_to_send(&server).html;
    assert!(!html.contains("<svg"));
    assert!(!html.contains(&format!("href=\"/studies/{STUDY}\"")));
    assert!(!html.contains("/pooled"));
}

#[test]
fn a_field_that_nobody_sees_catches_what_fills_in_every_field() {
    let (folder, server) = server();
    let mut page = up_to_send(&server);
    assert!(
        page.html
            .contains("name=\"leave_empty\" value=\"\" tabindex=\"-1\"")
    );
    page.fill_all(CONSENT);
    page.fill_all(&[("leave_empty", "https://spam.example")]);
    let refused = page.press(&server, "send").expect(422);
    assert!(refused.text().contains("Empty the field"));
    assert_eq!(exported(folder.path()).len(), 0);
    // A person whose browser did it sees the field then, and can mend it.
    let mut page = Page::of(&refused);
    assert!(page.html.contains("<label for=\"leave_empty\">"));
    page.fill_all(&[("leave_empty", "")]);
    page.press(&server, "send").expect(201);
    assert_eq!(exported(folder.path()).len(), 1);
}
