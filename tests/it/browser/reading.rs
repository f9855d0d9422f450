//! The pages that readers see, and that the tools of these tests can fail.

use super::audit::Audit;
use super::session::{Browser, Device, Scripts};
use crate::harness::{self, Server};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Runs a script if it may.
const SCRIPTED: &str = "data:text/html,<title>still</title><script>document.title='ran'</script>";

fn demo() -> Server {
    Server::start(&["demo"], |line| line.contains(" --send "))
}

#[test]
fn pages_for_readers_are_sound() {
    let demo = demo();
    for device in [Device::Phone, Device::Desktop] {
        let browser = Browser::open(&demo.address, device, Scripts::On);
        let audit = Audit::new(&browser);
        for (path, name) in [
            ("/", "studies"),
            ("/problems", "problems"),
            ("/api", "interface"),
            ("/studies/looser-or-tighter", "study"),
            (
                "/studies/looser-or-tighter?speed=mph&tension=kg",
                "study-other-units",
            ),
            ("/studies/looser-or-tighter/pairs", "pairs"),
        ] {
            browser.go(path);
            audit.walk(name);
            audit.look(name);
        }
        audit.assert_sound();
    }
}

#[test]
fn a_picture_by_itself_is_a_document_of_its_own() {
    let demo = demo();
    let browser = Browser::open(&demo.address, Device::Desktop, Scripts::On);
    browser.go("/studies/looser-or-tighter");
    let links = "[...document.querySelectorAll('a[href*=\"/pictures/\"]')].map((link) => link.getAttribute('href'))";
    let pictures = browser.run(&format!("return {links}"), &[]);
    let pictures = pictures.as_array().unwrap();
    assert!(30 <= pictures.len(), "{}", pictures.len());
    // A picture that is not well-formed is shown as a complaint of the parser.
    let is_whole = "const root = document.documentElement;
        return root.localName === 'svg' && !document.querySelector('parsererror') && 600 < root.width.baseVal.value";
    for picture in pictures {
        browser.go(picture.as_str().unwrap());
        assert_eq!(browser.run(is_whole, &[]), true, "{picture}");
    }
}

#[test]
fn a_study_without_data_is_sound() {
    let (_folder, server) = harness::server();
    let browser = Browser::open(&server.address, Device::Phone, Scripts::On);
    browser.go(&format!("/studies/{}", harness::STUDY));
    let audit = Audit::new(&browser);
    audit.look("study-without-data");
    audit.assert_sound();
}

#[test]
fn scripts_run_only_where_they_may() {
    let (_folder, server) = harness::server();
    for (scripts, title) in [(Scripts::On, "ran"), (Scripts::Off, "still")] {
        let browser = Browser::open(&server.address, Device::Desktop, scripts);
        browser.go(SCRIPTED);
        assert_eq!(browser.run("return document.title", &[]), title);
    }
}

/// A page with one fault of each kind that the audit tells.
const UNSOUND: &str = "data:text/html,<!doctype html><html lang=en><title>x</title><main><h1>One</h1><h1>Two</h1>\
    <p style='width:900px'>wide</p><button style='width:20px;height:20px;padding:0;outline:none'>b</button>\
    <input><p style='width:40px;overflow:hidden;white-space:nowrap'>a text that is cut off</p>\
    <p id=a><p id=a><a href='%23nowhere' tabindex=2>far</a><a href='%23a' tabindex=1>back</a>\
    <p style='color:%23ddd;background:white'>pale</p></main>";

#[test]
fn the_audit_tells_every_fault() {
    let (_folder, server) = harness::server();
    let browser = Browser::open(&server.address, Device::Phone, Scripts::On);
    browser.go(UNSOUND);
    let audit = Audit::new(&browser);
    audit.look("unsound");
    audit.walk("unsound");
    let outcome = catch_unwind(AssertUnwindSafe(|| audit.assert_sound()));
    let told = outcome.expect_err("the page has faults");
    let told = told.downcast_ref::<String>().unwrap();
    for fault in [
        "scrolls sideways",
        "2 h1",
        "no label: <input>",
        "leads to #nowhere",
        "two elements are called #a",
        "a target of 20 × 20 px: <button>",
        "cut off: <p>",
        "color-contrast:",
        "label:",
        "focus cannot be seen: <button>",
        "back to <a> “far”",
    ] {
        assert!(told.contains(fault), "{fault} not in {told}");
    }
}
