//! What is odd is asked about before it is sent, and refused by nobody.

use super::browser::{FORM, Page, address, arrive, encoded};
use super::{CONSENT, DEVICE, FIRST, SECOND, SETUP, documents, on};
use crate::harness::{contribution, server, varied};
use serde_json::{Value, json};

/// Kilograms, typed as pounds.
const KILOGRAMS: &[(&str, &str)] = &[("looser_mains", "23,5"), ("tighter_mains", "26")];

const QUESTION: &str = "Is this tension in kilograms?";
const NARROW: &str = "The gap of 2.50 lb is smaller than the protocol asks";

#[test]
fn a_tension_in_the_wrong_unit_is_asked_about_at_its_field_and_before_sending() {
    let (folder, server) = server();
    let mut page = arrive(&server);
    page.fill_all(SETUP);
    let mut page = Page::of(&on(&server, &mut page, KILOGRAMS, "next").expect(200));
    // Once more the same step: nothing is refused, and two tensions and their gap are asked about.
    assert_eq!(page.step(), "setup");
    assert_eq!(page.faults(), Vec::<&str>::new());
    assert!(page.html.contains("<h2>3 things to look at again</h2>"));
    assert!(page.flag("looser_mains").unwrap().starts_with(QUESTION));
    let tighter = page.flag("tighter_mains").unwrap();
    assert!(
        tighter.contains(QUESTION) && tighter.contains(NARROW),
        "{tighter}"
    );
    // Whoever goes on means it, and is told once more before sending.
    for (fill, next) in [
        (&[][..], "device"),
        (DEVICE, "session-1"),
        (FIRST, "session-2"),
        (SECOND, "about"),
        (&[], "send"),
    ] {
        page = Page::of(&on(&server, &mut page, fill, "next").expect(200));
        assert_eq!(page.step(), next);
    }
    let (_, list) = page.html.split_once("<h3>Look at this again</h3>").unwrap();
    let (list, _) = list.split_once("</ul>").unwrap();
    assert_eq!(list.matches(QUESTION).count(), 2, "{list}");
    assert!(list.contains(NARROW), "{list}");
    on(&server, &mut page, CONSENT, "send").expect(201);
    let kept = &documents(folder.path())[0]["sessions"][0]["tension"];
    assert_eq!(*kept, json!({"mains": 23.5, "unit": "lb"}));
}

#[test]
fn a_tension_that_is_mended_is_asked_about_no_more() {
    let (_folder, server) = server();
    let mut page = arrive(&server);
    page.fill_all(SETUP);
    let mut page = Page::of(&on(&server, &mut page, KILOGRAMS, "next").expect(200));
    let page = Page::of(&on(&server, &mut page, &[("tension_unit", "kg")], "next").expect(200));
    assert_eq!(page.step(), "device");
    assert!(!page.html.contains("class=\"flag\""));
}

#[test]
fn the_script_is_told_what_the_data_interface_tells() {
    let (_folder, server) = server();
    let told = |looser: &str, tighter: &str, unit: &str| -> Vec<Value> {
        let mut page = arrive(&server);
        page.fill_all(SETUP);
        page.fill("tension_unit", unit);
        page.fill("looser_mains", looser);
        page.fill("tighter_mains", tighter);
        let path = format!("{}/check", address());
        let body = encoded(&page.filled);
        let check = server
            .send("POST", &path, &[("content-type", FORM)], body.as_bytes())
            .expect(200)
            .json();
        assert!(!check["faults"].as_array().unwrap().is_empty());
        check["flags"].as_array().unwrap().clone()
    };
    assert_eq!(told("46", "52,5", "lb"), Vec::<Value>::new());
    // A tension that would be unusual in either unit raises no suspicion of the unit.
    let heavy = told("16", "72", "lb");
    let sentences: Vec<&str> = heavy
        .iter()
        .map(|flag| flag["sentence"].as_str().unwrap())
        .collect();
    assert_eq!(sentences.len(), 2);
    assert!(sentences[0].starts_with("Is this tension in kilograms?"));
    assert!(sentences[1].starts_with("This tension is outside 35 to 70 lb"));
    let pounds = told("40", "44", "kg");
    assert_eq!(pounds.len(), 2);
    for flag in &pounds {
        let sentence = flag["sentence"].as_str().unwrap();
        assert!(
            sentence.starts_with("Is this tension in pounds?"),
            "{sentence}"
        );
    }
    // The same words as in the reply to a program.
    let mut document = contribution(varied(0));
    for session in document["sessions"].as_array_mut().unwrap() {
        session["tension"] = match session["arm"].as_str().unwrap() {
            "looser" => json!({"mains": 40, "unit": "kg"}),
            _ => json!({"mains": 44, "unit": "kg"}),
        };
    }
    let reply = server.post(&document).expect(201).text();
    assert!(
        reply.contains(pounds[0]["sentence"].as_str().unwrap()),
        "{reply}"
    );
}
