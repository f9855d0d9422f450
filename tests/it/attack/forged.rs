//! Forms that another site makes a browser send.

use super::markup::{self, Part};
use super::stage::Stage;
use crate::form::browser::encoded;
use crate::harness::host::{Desk, post_with};
use crate::harness::{Answer, STUDY, contribution, exported, host_study, varied};
use std::collections::{BTreeMap, BTreeSet};

/// What browsers say of a form that another site sends.
const FOREIGN: [(&str, &str); 2] = [
    ("sec-fetch-site", "cross-site"),
    ("sec-fetch-site", "same-site"),
];

/// The address of every form of the desk that changes something, with what a page fills in.
fn forms(stage: &Stage) -> BTreeMap<String, Vec<(String, String)>> {
    let attribute = |part: &Part, name: &str| {
        let mut all = part.attributes.iter();
        all.find(|(known, _)| known == name)
            .map(|(_, value)| value.clone())
    };
    let mut forms = BTreeMap::new();
    for found in stage.seen_by_the_host() {
        if !found.is_page() {
            continue;
        }
        let mut action = None;
        for part in markup::html(&found.answer.text()) {
            if part.name == "form" {
                action = Some(attribute(&part, "action").unwrap_or_else(|| found.path.clone()));
                forms
                    .entry(action.clone().unwrap())
                    .or_insert_with(Vec::new);
            }
            if part.name == "input"
                && attribute(&part, "type").as_deref() == Some("hidden")
                && let (Some(action), Some(name)) = (&action, attribute(&part, "name"))
                && name != "form_token"
            {
                let value = attribute(&part, "value").unwrap_or_default();
                forms.get_mut(action).unwrap().push((name, value));
            }
        }
    }
    forms
}

#[test]
fn no_form_of_the_desk_does_anything_without_its_own_token_and_its_own_page() {
    let stage = Stage::usual();
    let [desk, other] = [0, 1].map(|_| Desk::enter(&stage.server, &stage.credential));
    let (own, others) = (desk.form_token(), other.form_token());
    let forms = forms(&stage);
    let actions: BTreeSet<&str> = forms.keys().map(String::as_str).collect();
    for wanted in ["/host/sign-out", "/host/sign-out-everywhere", "/host/new"] {
        assert!(actions.contains(wanted), "{actions:?}");
    }
    for rest in ["close", "protocol", "release"] {
        let wanted = format!("/host/studies/{STUDY}/{rest}");
        assert!(actions.contains(wanted.as_str()), "{wanted}: {actions:?}");
    }
    let before = exported(stage.copied().path());
    let send = |path: &str, headers: &[(&str, &str)], fields: &[(String, String)], token: &str| {
        let token = [("form_token".to_owned(), token.to_owned())];
        let body = encoded(&[fields, &token].concat());
        let form = [
            ("cookie", desk.cookie.as_str()),
            ("content-type", "application/x-www-form-urlencoded"),
        ];
        stage
            .server
            .send("POST", path, &[&form, headers].concat(), body.as_bytes())
    };
    for (action, fields) in &forms {
        for token in ["", "x", &others, &own[1..], &own.to_lowercase()] {
            send(action, &[], fields, token).expect(403);
        }
        for foreign in FOREIGN {
            send(action, &[foreign], fields, &own).expect(403);
        }
        send(
            action,
            &[("origin", "https://elsewhere.example")],
            fields,
            &own,
        )
        .expect(403);
        // A form that says it is something else is none.
        let plain = [
            ("cookie", desk.cookie.as_str()),
            ("content-type", "text/plain"),
        ];
        let body = format!("form_token={own}");
        let answer = stage.server.send("POST", action, &plain, body.as_bytes());
        assert!(
            [403, 415].contains(&answer.status),
            "{action}: {}",
            answer.status
        );
        // Nor does looking at its address with everything behind the question mark do anything.
        let asked = format!("{action}?form_token={own}&{}", encoded(fields));
        let answer = desk.get(&asked);
        assert!([200, 303, 405].contains(&answer.status), "{asked}");
    }
    assert!(desk.is_in() && other.is_in());
    assert_eq!(exported(stage.copied().path()), before);
    let data = stage.copied();
    let list = host_study(&["list"], data.path(), b"");
    assert!(
        String::from_utf8(list.stdout)
            .unwrap()
            .contains("recruiting")
    );
}

#[test]
fn a_form_for_contributors_that_another_site_sends_does_nothing() {
    let stage = Stage::usual();
    let before = exported(stage.copied().path());
    let base = format!("/studies/{STUDY}");
    let id = before[0]["contribution"]
        .as_str()
        .unwrap_or_default()
        .to_owned();
    for foreign in FOREIGN {
        for (page, fields) in [
            ("send", vec![("do", "send")]),
            ("send/check", vec![("do", "check")]),
            ("plan", vec![("do", "draw"), ("kind", "two_sessions")]),
            (
                "receipt",
                vec![
                    ("receipt", stage.receipt.as_str()),
                    ("do", "withdraw-now"),
                    ("contribution", &id),
                ],
            ),
            ("upload", vec![("do", "send")]),
        ] {
            let path = format!("{base}/{page}");
            let answer = post_with(&stage.server, &path, &[foreign], &fields).expect(400);
            assert!(answer.text().contains("Another site"), "{}", answer.text());
        }
        // A link from another site still leads to the pages.
        stage
            .server
            .send("GET", &format!("{base}/send"), &[foreign], b"")
            .expect(200);
    }
    assert_eq!(exported(stage.copied().path()), before);
}

#[test]
fn no_page_elsewhere_can_send_to_the_data_interface_in_a_browser() {
    let stage = Stage::usual();
    let before = exported(stage.copied().path());
    let document = contribution(varied(9)).to_string();
    let path = format!("/api/v1/studies/{STUDY}/contributions");
    // What a browser sends without asking first is declared as one of these (Fetch Standard,
    // "CORS-safelisted request-header").
    for kind in [
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "text/plain; application/json",
        "",
    ] {
        for path in [path.clone(), format!("/api/v1/studies/{STUDY}/plans")] {
            let headers = [("content-type", kind)];
            let answer = stage
                .server
                .send("POST", &path, &headers, document.as_bytes());
            answer.expect_problem(415, "not-json");
        }
    }
    // And where it asks first, it is not answered.
    for method in ["POST", "PUT", "DELETE"] {
        let asks = [
            ("origin", "https://elsewhere.example"),
            ("access-control-request-method", method),
            (
                "access-control-request-headers",
                "authorization,content-type",
            ),
        ];
        let answer: Answer = stage.server.send("OPTIONS", &path, &asks, b"").expect(405);
        assert_eq!(answer.header("access-control-allow-origin"), "");
    }
    assert_eq!(exported(stage.copied().path()), before);
}
