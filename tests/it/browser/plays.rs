//! Whole ways: draw, play, type with mistakes, mend, send, see, add, correct, withdraw.

use super::hands::Hands;
use super::secrecy::Published;
use super::session::{Browser, Device, Scripts};
use super::stage::Stage;
use super::way::{DRAFT_NOTE, LOOSER, SEND, SIGNAL_NOTE, SUMMARY, TIGHTER, Way};
use crate::harness::STUDY;
use serde_json::Value;

/// From "how to play" to the form, by way of a drawn and opened plan.
fn draw(way: Way<'_>, published: &Published) {
    way.open("take-part");
    published.assert_absent(way.browser);
    way.go_to_the_draw();
    published.assert_absent(way.browser);
    let code = way.draw();
    published.assert_absent(way.browser);
    let groups: Vec<usize> = code.split('-').map(str::len).collect();
    assert_eq!(groups, [4, 4, 4], "{code}");
    way.open_the_plan();
    published.assert_absent(way.browser);
    assert_eq!(way.browser.count("ol.order li"), 2);
    way.go_to_the_form();
    let plain = |code: &str| code.replace('-', "");
    assert_eq!(plain(&way.browser.value("[name=plan_code]")), plain(&code));
    published.assert_absent(way.browser);
}

/// Types everything, with three kinds of mistakes, and mends them.
fn type_with_mistakes(way: Way<'_>) {
    let browser = way.browser;
    let [first, second] = way.played();
    way.fill_setup();
    way.next("device");
    way.fill_device();
    way.next("session-1");
    way.fill_session(1, first);
    way.enter("s1_c1_in", "120");
    way.enter("s1_c1_mean", "1o3");
    way.press_next();
    way.see_faults(&["s1_c1_in", "s1_c1_mean"]);
    if browser.scripts() == Scripts::On {
        browser.wait("the focus at the summary", || way.person.is_at(SUMMARY));
    }
    way.go_to_mend("s1_c1_in");
    way.enter("s1_c1_in", first.landed_in);
    way.enter("s1_c1_mean", first.mean);
    way.next("session-2");
    assert!(!browser.has(SUMMARY));
    way.fill_session(2, second);
    way.enter("s2_c1_hit", "");
    way.press_next();
    way.see_faults(&["s2_c1_hit"]);
    way.go_to_mend("s2_c1_hit");
    way.enter("s2_c1_hit", second.hit);
    way.next("about");
    way.next("send");
    way.press_send();
    way.see_faults(&["consent_pooling", "adult"]);
    way.consent();
}

/// Sees what was sent, adds a pair, corrects the first and withdraws the second.
fn use_receipt(way: Way<'_>, receipt: &str) {
    let browser = way.browser;
    way.open_receipt(receipt);
    assert_eq!(browser.count("button[value=correct]"), 1);
    way.person.follow("main form[action$='/send'] button");
    way.fill_everything();
    way.send();
    assert!(
        !browser.has("#receipt-text"),
        "a receipt that is known is not shown again"
    );

    way.open_receipt(receipt);
    assert_eq!(browser.count("button[value=correct]"), 2);
    way.with_pair(1, "correct");
    way.go_to_step("session-1");
    way.enter("s1_c1_mean", "102.25");
    way.go_to_step("send");
    way.consent();
    way.press_send();
    way.see_faults(&["reason"]);
    way.enter("reason", "typing_mistake");
    way.send();

    way.open_receipt(receipt);
    assert_eq!(browser.count("[aria-labelledby='pair-1'] > ul li"), 1);
    way.with_pair(2, "withdraw");
    way.person.follow("main button[value=withdraw-now]");
    assert_eq!(browser.count("button[value=withdraw]"), 1);
    assert_eq!(
        browser.count("[aria-labelledby='pair-1'] button[value=withdraw]"),
        1
    );
}

/// The speeds of a stored contribution, by the string bed.
fn speeds(stored: &Value) -> Vec<(&str, f64)> {
    let sessions = stored["sessions"].as_array().unwrap().iter();
    sessions
        .map(|session| {
            let arm = session["arm"].as_str().unwrap();
            (arm, session["shots"][0]["speed_mean"].as_f64().unwrap())
        })
        .collect()
}

/// The whole way.
fn play(device: Device, scripts: Scripts, hands: Hands) {
    let stage = Stage::with_figures();
    let before = stage.players();
    let browser = Browser::open(&stage.address, device, scripts);
    let published = Published::read(&browser);
    let way = Way::new(&browser, hands);
    draw(way, &published);
    type_with_mistakes(way);
    published.assert_absent(&browser);
    way.send();
    let receipt = way.receipt();
    use_receipt(way, &receipt);
    drop(browser);
    let stored = stage.stored();
    let sent = stored.get(before..).unwrap();
    assert!(!sent.is_empty());
    let mut first = speeds(&sent[0]);
    assert!(first.iter().any(|(_, mean)| *mean == 102.25), "{first:?}");
    first.sort_by(|a, b| a.0.cmp(b.0));
    let arms: Vec<&str> = first.iter().map(|(arm, _)| *arm).collect();
    assert_eq!(arms, ["looser", "tighter"]);
}

#[test]
fn the_whole_way_on_a_phone() {
    play(Device::Phone, Scripts::On, Hands::Pointing);
}

#[test]
fn the_whole_way_on_a_phone_without_script() {
    play(Device::Phone, Scripts::Off, Hands::Pointing);
}

#[test]
fn the_whole_way_by_keyboard_alone() {
    play(Device::Desktop, Scripts::On, Hands::Keyboard);
}

#[test]
fn the_form_on_a_desktop_without_script() {
    let stage = Stage::new();
    let browser = Browser::open(&stage.address, Device::Desktop, Scripts::Off);
    let way = Way::new(&browser, Hands::Pointing);
    way.open("send");
    way.fill_everything();
    way.send();
    assert!(!way.receipt().is_empty());
    drop(browser);
    let stored = stage.stored();
    assert_eq!(stored.len(), 1);
    assert_eq!(stored[0]["study"], STUDY);
    assert_eq!(speeds(&stored[0]), [("looser", 103.0), ("tighter", 100.5)]);
}

#[test]
fn a_draft_survives_without_signal_and_is_sent_once_afterwards() {
    let mut stage = Stage::new();
    let browser = Browser::open(&stage.address, Device::Phone, Scripts::On);
    let way = Way::new(&browser, Hands::Pointing);
    way.open("send");
    browser.wait("the page to be kept", || {
        browser.text(DRAFT_NOTE).contains("without signal")
    });
    stage.stop();
    browser.set_offline(true);
    way.fill_everything();
    browser.reload();
    // A page that is opened anew takes the network to be there until it is told again.
    browser.set_offline(true);
    way.see_step("send");
    assert_eq!(browser.value("[name=s1_c1_mean]"), LOOSER.mean);
    assert_eq!(browser.value("[name=s2_c1_mean]"), TIGHTER.mean);
    assert!(browser.is_ticked("[name=consent_pooling]"));
    way.press_send();
    browser.wait("the note that it waits", || {
        browser.is_in_sight(SIGNAL_NOTE)
    });
    browser.picture("waiting-for-signal");
    stage.start_again();
    browser.to_next_page(|| browser.set_offline(false));
    assert!(!way.receipt().is_empty());
    way.open("send");
    way.see_step("setup");
    assert_eq!(browser.value("[name=looser_mains]"), "");
    drop(browser);
    assert_eq!(stage.stored().len(), 1);
}

#[test]
fn a_second_tap_sends_nothing_twice() {
    for scripts in [Scripts::On, Scripts::Off] {
        let stage = Stage::new();
        let browser = Browser::open(&stage.address, Device::Phone, scripts);
        let way = Way::new(&browser, Hands::Pointing);
        way.open("send");
        way.fill_everything();
        browser.to_next_page(|| browser.click_twice(SEND));
        assert!(!way.receipt().is_empty());
        drop(browser);
        let stored = stage.stored();
        assert_eq!(stored.len(), 1);
    }
}
