//! The host writes a study, previews it, opens it, watches it, changes it and closes it.

use super::audit::Audit;
use super::hands::{Hands, Person};
use super::session::{Browser, Device, Scripts};
use crate::harness::host::credential;
use crate::harness::{self, STUDY, Server, contribution, varied};
use serde_json::json;
use tempfile::TempDir;

/// The study that is written.
const NAME: &str = "spring-crowd";

fn stage() -> (TempDir, Server, String) {
    let folder = harness::folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    (folder, server, credential)
}

fn sign_in(person: Person<'_>, credential: &str) {
    person.browser.go("/host");
    person.enter("credential", credential);
    person.follow("main button.main");
    assert_eq!(person.browser.path(), "/host");
}

fn do_it(what: &str) -> String {
    format!("main button[value='{what}']")
}

/// Writes and opens a study, looking at every page on the way.
fn write_and_open(person: Person<'_>, audit: &Audit<'_>) {
    let browser = person.browser;
    person.follow("main a[href='/host/new']");
    audit.look("host-new");
    person.follow(&do_it("save"));
    audit.look("host-new-faults");
    assert!(browser.text("#mend").contains("2 places to mend"));
    assert_eq!(browser.count(".at-fault"), 2);
    person.enter("question", "Does a looser string bed serve faster?");
    person.enter("study", NAME);
    person.enter("outcome_1", "speed");
    person.enter("gap_band_edges", "4 8 12");
    person.follow(&do_it("preview"));
    audit.look("host-preview");
    assert!(browser.text("main").contains("at least 4 lb looser"));
    assert!(browser.text("main").contains("still missing"));
    person.follow(&do_it("edit"));
    assert_eq!(browser.value("[name='gap_band_edges']"), "4 8 12");
    person.follow(&do_it("open"));
    assert_eq!(browser.path(), format!("/host/studies/{NAME}/open"));
    audit.look("host-opening-missing");
    assert_eq!(browser.count(".summary li"), 3);
    person.follow(".summary a");
    for (name, text) in [
        ("contact", "The notice board of the club"),
        ("licence_name", "CC0-1.0"),
        (
            "privacy_text",
            "What is sent is kept until it is withdrawn.",
        ),
    ] {
        person.enter(name, text);
    }
    person.follow(&do_it("open"));
    audit.look("host-opening");
    person.follow("main form button.main");
    assert_eq!(browser.path(), format!("/host/studies/{NAME}"));
    assert!(browser.text(".lead").contains("It takes contributions"));
    audit.look("host-study-begun");
}

#[test]
fn a_study_is_written_opened_changed_and_closed_on_a_phone() {
    let (_folder, server, credential) = stage();
    let browser = Browser::open(&server.address, Device::Phone, Scripts::On);
    let person = Person {
        browser: &browser,
        hands: Hands::Pointing,
    };
    let audit = Audit::new(&browser);
    sign_in(person, &credential);
    write_and_open(person, &audit);
    person.follow(&format!("main a[href$='{NAME}/protocol']"));
    audit.look("host-change");
    person.enter("minimum_shots", "30");
    person.follow(&do_it("save"));
    audit.look("host-change-faults");
    assert!(browser.text("#mend").contains("Say why"));
    person.enter("reason", "Twenty shots turned out to be too few to tell.");
    person.follow(&do_it("save"));
    assert!(
        browser
            .text("main")
            .contains("is not the one that was fixed")
    );
    browser.go(&format!("/studies/{NAME}/protocol"));
    audit.look("protocol-changed");
    assert!(browser.text("main").contains("Twenty shots turned out"));
    browser.go(&format!("/host/studies/{NAME}"));
    person.follow("main a[href$='/close']");
    audit.look("host-closing");
    person.follow("main form button.main");
    assert!(browser.text(".lead").contains("It is closed"));
    browser.go(&format!("/studies/{NAME}/take-part"));
    audit.look("closed");
    audit.assert_sound();
}

#[test]
fn a_study_is_written_and_opened_by_keyboard_alone() {
    let (_folder, server, credential) = stage();
    let browser = Browser::open(&server.address, Device::Desktop, Scripts::On);
    let person = Person {
        browser: &browser,
        hands: Hands::Keyboard,
    };
    let audit = Audit::new(&browser);
    sign_in(person, &credential);
    write_and_open(person, &audit);
    audit.assert_sound();
}

#[test]
fn the_host_sees_how_far_a_study_has_come_and_not_which_way_it_points() {
    let (_folder, server, credential) = stage();
    for number in 0..12 {
        server.post(&contribution(varied(number))).expect(201);
    }
    let browser = Browser::open(&server.address, Device::Phone, Scripts::On);
    let person = Person {
        browser: &browser,
        hands: Hands::Pointing,
    };
    let audit = Audit::new(&browser);
    sign_in(person, &credential);
    browser.go(&format!("/host/studies/{STUDY}"));
    audit.look("host-progress");
    // The question itself may say what it asks about.
    let text = browser.run(
        "return [...document.querySelectorAll('main > :not(h1)')].map((part) => part.textContent).join(' ')",
        &[],
    );
    let text = text.as_str().unwrap();
    assert!(text.contains("12 players sent something"), "{text}");
    assert!(text.contains("±\u{a0}"), "{text}");
    let pooled = server
        .get(&format!("/api/v1/studies/{STUDY}/pooled"))
        .json();
    let estimate = harness::analysis(&pooled, "speed", "band_1")["shown"]["estimate"].as_f64();
    let estimate = tautpool::numbers::signed(estimate.unwrap(), 1);
    for word in [
        estimate.as_str(),
        "looser faster",
        "tighter faster",
        "deeper",
    ] {
        assert!(!text.contains(word), "{word}");
    }
    assert_eq!(browser.count("main svg"), 2);
    assert_eq!(json!(browser.count("main table")), json!(3));
    audit.assert_sound();
    let wide = Browser::open(&server.address, Device::Desktop, Scripts::On);
    let person = Person {
        browser: &wide,
        hands: Hands::Pointing,
    };
    let audit = Audit::new(&wide);
    sign_in(person, &credential);
    wide.go(&format!("/host/studies/{STUDY}"));
    audit.look("host-progress-desktop");
    audit.assert_sound();
}
