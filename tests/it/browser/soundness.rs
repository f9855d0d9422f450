//! Every page of the contributor's way is sound in every state that a contributor gets to see.

use super::audit::Audit;
use super::files::written;
use super::hands::Hands;
use super::session::{Browser, Device, Scripts};
use super::stage::Stage;
use super::way::{SUMMARY, Way};

/// Goes through every page, and calls `look` with a name for each state.
fn visit(way: Way<'_>, look: &dyn Fn(&str)) {
    let browser = way.browser;
    way.open("take-part");
    look("take-part");
    way.open("plan");
    look("plan");
    browser.fill("[name=code]:not([type=hidden])", "ABCD");
    way.person
        .follow("form:has([name=code]:not([type=hidden])) button");
    look("plan-refused");
    way.draw();
    look("plan-sealed");
    way.open_the_plan();
    look("plan-opened");
    visit_form(way, look);
    way.open("upload");
    look("upload");
    way.choose_file(&written(browser, true));
    look("upload-faults");
    way.choose_file(&written(browser, false));
    look("upload-preview");
}

/// From an opened plan through the form and the receipt.
fn visit_form(way: Way<'_>, look: &dyn Fn(&str)) {
    way.go_to_the_form();
    look("form-setup");
    let [first, second] = way.played();
    way.fill_setup();
    way.next("device");
    look("form-device");
    way.fill_device();
    way.next("session-1");
    look("form-session");
    way.enter("s1_c1_hit", "many");
    way.press_next();
    way.browser.see(SUMMARY);
    look("form-faults");
    way.fill_session(1, first);
    way.next("session-2");
    way.fill_session(2, second);
    look("form-session-2");
    way.next("about");
    look("form-about");
    way.next("send");
    look("form-send");
    way.press_send();
    way.browser.see(SUMMARY);
    look("form-send-faults");
    way.consent();
    way.send();
    look("answer");
    let receipt = way.receipt();
    way.open("receipt");
    look("receipt");
    way.open_receipt(&"0".repeat(receipt.len()));
    look("receipt-unknown");
    way.open_receipt(&receipt);
    look("receipt-opened");
    way.with_pair(1, "answer");
    look("answer-again");
    way.open_receipt(&receipt);
    way.with_pair(1, "correct");
    look("form-correction");
    way.open_receipt(&receipt);
    way.with_pair(1, "withdraw");
    look("withdraw");
    way.person.follow("main button[value=withdraw-now]");
    look("withdrawn");
}

#[test]
fn every_page_for_contributors_is_sound_on_a_phone() {
    let stage = Stage::with_figures();
    let browser = Browser::open(&stage.address, Device::Phone, Scripts::On);
    let way = Way::new(&browser, Hands::Pointing);
    let audit = Audit::new(&browser);
    visit(way, &|name| audit.look(name));
    audit.assert_sound();
}

#[test]
fn every_page_for_contributors_is_sound_and_walkable_on_a_desktop() {
    let stage = Stage::new();
    let browser = Browser::open(&stage.address, Device::Desktop, Scripts::On);
    let way = Way::new(&browser, Hands::Pointing);
    let audit = Audit::new(&browser);
    visit(way, &|name| {
        audit.walk(name);
        audit.look(name);
    });
    audit.assert_sound();
}

#[test]
fn the_form_as_the_server_makes_it_is_sound() {
    let stage = Stage::new();
    let browser = Browser::open(&stage.address, Device::Phone, Scripts::On);
    browser.lose_scripts();
    let way = Way::new(&browser, Hands::Pointing);
    let audit = Audit::new(&browser);
    way.open("send");
    way.enter("order", "looser_tighter");
    way.fill_setup();
    way.enter("looser_mains", "4b");
    way.press_next();
    browser.see(SUMMARY);
    audit.look("served-setup-faults");
    way.enter("looser_mains", "46");
    way.next("device");
    way.fill_device();
    way.next("session-1");
    assert!(
        !browser.path().contains("#step"),
        "only a script turns to a step"
    );
    audit.look("served-session");
    way.go_to_step("send");
    way.press_send();
    browser.see(SUMMARY);
    audit.look("served-send-faults");
    audit.assert_sound();
}
