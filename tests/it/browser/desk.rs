//! The host at the desk's door: signing in and out, on a phone, by keyboard alone and without
//! script, and what other sites try meanwhile.

use super::audit::Audit;
use super::hands::{Hands, Person};
use super::session::{Browser, Device, Scripts, key};
use crate::harness::host::{COOKIE, credential, post};
use crate::harness::{self, Server};
use serde_json::Value;
use tempfile::TempDir;

const SIGN_IN: &str = "/host/sign-in";
const SIGN_OUT: &str = ".desk-top button";

/// A server with a credential.
fn stage() -> (TempDir, Server, String) {
    let folder = harness::folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    (folder, server, credential)
}

fn heading(browser: &Browser) -> String {
    browser.text("h1")
}

/// Types something into the field and sends it.
fn try_with(person: Person<'_>, typed: &str) {
    person.enter("credential", typed);
    person.follow("main button.main");
}

#[test]
fn every_page_of_the_host_is_sound_on_a_phone() {
    let (_folder, server, credential) = stage();
    let browser = Browser::open(&server.address, Device::Phone, Scripts::On);
    let person = Person {
        browser: &browser,
        hands: Hands::Pointing,
    };
    let audit = Audit::new(&browser);
    browser.go("/host");
    assert_eq!(browser.path(), SIGN_IN);
    audit.look("host-sign-in");
    try_with(person, "wrong");
    audit.look("host-sign-in-wrong");
    try_with(person, &credential);
    assert_eq!(browser.path(), "/host");
    assert_eq!(heading(&browser), "Desk");
    audit.look("host-desk");
    // A page that was open before somebody signed out elsewhere.
    browser.run(
        "document.querySelector('.desk-top [name=form_token]').value = 'x'",
        &[],
    );
    person.follow(SIGN_OUT);
    audit.look("host-trouble");
    for _ in 0..3 {
        post(&server, SIGN_IN, &[("credential", "wrong")]).expect(403);
    }
    browser.forget();
    browser.go(SIGN_IN);
    try_with(person, &credential);
    assert!(browser.text("[role=alert]").contains("Too many attempts"));
    audit.look("host-sign-in-too-often");
    audit.assert_sound();
}

#[test]
fn the_host_signs_in_and_out_by_keyboard_alone() {
    let (_folder, server, credential) = stage();
    let browser = Browser::open(&server.address, Device::Desktop, Scripts::On);
    let person = Person {
        browser: &browser,
        hands: Hands::Keyboard,
    };
    let audit = Audit::new(&browser);
    browser.go("/host");
    audit.walk("host-sign-in");
    audit.look("host-sign-in");
    person.enter("credential", &credential);
    browser.to_next_page(|| browser.press(&[key::ENTER]));
    assert_eq!(browser.path(), "/host");
    audit.walk("host-desk");
    audit.look("host-desk");
    // No script gets at what the browser holds, though the browser holds it.
    assert_eq!(browser.run("return document.cookie", &[]), "");
    browser.reload();
    assert_eq!(heading(&browser), "Desk");
    person.follow(SIGN_OUT);
    assert_eq!(browser.path(), SIGN_IN);
    browser.go("/host");
    assert_eq!(browser.path(), SIGN_IN);
    audit.assert_sound();
}

#[test]
fn a_one_time_link_and_the_desk_work_without_script() {
    let demo = Server::start(&["demo"], |line| line.contains(" --send "));
    let mut words = demo.printed.split_whitespace();
    let link = words.find(|word| word.contains("/host/open/")).unwrap();
    let browser = Browser::open(&demo.address, Device::Phone, Scripts::Off);
    browser.go(SIGN_IN);
    browser.picture("host-no-credential-phone");
    browser.go(link);
    browser.picture("host-open-phone");
    browser.to_next_page(|| browser.click("main button"));
    assert_eq!(browser.path(), "/host");
    browser.to_next_page(|| browser.click("main form[action$='everywhere'] button"));
    assert_eq!(browser.path(), SIGN_IN);
    browser.go(link);
    assert_eq!(heading(&browser), "This link opens nothing");
}

/// A page of another site with a form that it sends to ours.
fn foreign(server: &Server, path: &str, fields: &str) -> String {
    format!(
        "data:text/html,<form method=post action='http://{}{path}'>{fields}<button>b</button></form>",
        server.address
    )
}

#[test]
fn another_site_neither_signs_out_nor_in() {
    let (_folder, server, credential) = stage();
    let browser = Browser::open(&server.address, Device::Desktop, Scripts::On);
    let person = Person {
        browser: &browser,
        hands: Hands::Pointing,
    };
    browser.go(SIGN_IN);
    try_with(person, &credential);
    let form_token = browser.value("[name=form_token]");
    let field = format!("<input name=form_token value={form_token}>");
    browser.go(&foreign(&server, "/host/sign-out-everywhere", &field));
    person.follow("button");
    assert_eq!(heading(&browser), "You are signed out");
    browser.go("/host");
    assert_eq!(heading(&browser), "Desk", "the form did nothing");

    assert_eq!(cookies(&browser), [COOKIE]);

    browser.forget();
    let field = format!("<input name=credential value={credential}>");
    browser.go(&foreign(&server, SIGN_IN, &field));
    person.follow("button");
    assert_eq!(heading(&browser), "This form was not taken");
    browser.go("/host");
    assert_eq!(browser.path(), SIGN_IN);
    assert_eq!(cookies(&browser), Vec::<String>::new());
}

/// The names of the cookies that a browser holds for the service.
fn cookies(browser: &Browser) -> Vec<String> {
    let held = browser.cookies();
    let name = |cookie: &Value| cookie["name"].as_str().unwrap().to_owned();
    held.iter().map(name).collect()
}
