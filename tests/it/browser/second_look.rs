//! What is odd is asked about while it is typed, once more where it was missed, and before sending.

use super::audit::Audit;
use super::hands::Hands;
use super::session::{Browser, Device, Scripts};
use super::stage::Stage;
use super::way::{LOOSER, SUMMARY, TIGHTER, Way};

const FLAG: &str = "#flag-looser_mains";

/// Kilograms, typed as pounds.
fn fill_setup(way: Way<'_>) {
    way.open("send");
    way.enter("order", "looser_tighter");
    way.fill_setup();
    way.enter("looser_mains", "23.5");
    way.enter("tighter_mains", "26");
}

#[test]
fn kilograms_typed_as_pounds_are_asked_about_and_not_refused() {
    let stage = Stage::new();
    let browser = Browser::open(&stage.address, Device::Phone, Scripts::On);
    let audit = Audit::new(&browser);
    let way = Way::new(&browser, Hands::Pointing);
    fill_setup(way);
    // By itself, a moment after the field was left; whoever saw it there is not asked again.
    browser.see(FLAG);
    assert!(browser.text(FLAG).contains("Is this tension in kilograms?"));
    way.next("device");
    assert!(!browser.has(SUMMARY));
    // After a new start of the page nobody has seen it, so the step is shown once more.
    browser.reload();
    way.see_step("device");
    way.person.press("#go-back");
    way.see_step("setup");
    way.press_next();
    browser.see(SUMMARY);
    assert!(browser.text(SUMMARY).contains("3 things to look at again"));
    browser.see(FLAG);
    audit.look("asked-about");
    way.next("device");
    way.fill_device();
    way.next("session-1");
    way.fill_session(1, LOOSER);
    way.next("session-2");
    way.fill_session(2, TIGHTER);
    way.next("about");
    way.next("send");
    browser.see("#flags");
    assert_eq!(browser.count("#flags li"), 3);
    assert!(!browser.has(SUMMARY));
    audit.look("asked-about-before-sending");
    way.consent();
    way.send();
    audit.assert_sound();
    drop(audit);
    drop(browser);
    assert_eq!(stage.stored().len(), 1);
}

#[test]
fn without_script_the_step_is_shown_once_more() {
    let stage = Stage::new();
    let browser = Browser::open(&stage.address, Device::Phone, Scripts::Off);
    let way = Way::new(&browser, Hands::Pointing);
    fill_setup(way);
    way.press_next();
    way.see_step("setup");
    assert!(browser.text(SUMMARY).contains("3 things to look at again"));
    browser.see(FLAG);
    browser.picture("asked-about-without-script");
    way.enter("tension_unit", "kg");
    way.next("device");
    assert!(!browser.has(SUMMARY));
}
