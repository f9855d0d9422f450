//! The pages of the contributor's way as the plays speak of them: every selector stands here once.

use super::hands::{Hands, Person};
use super::session::{Browser, Scripts};
use super::stage::Stage;
use std::path::Path;

/// The list of what is to be mended.
pub(crate) const SUMMARY: &str = "#summary";
/// What the page says about sending without signal.
pub(crate) const SIGNAL_NOTE: &str = "#signal-note";
/// What the page says about what it keeps.
pub(crate) const DRAFT_NOTE: &str = "#draft-note";
/// The button that sends.
pub(crate) const SEND: &str = "#go-send";
/// What only the answer to a sending has.
pub(crate) const ANSWER: &str = "h2#own";
const NEXT: &str = "#go-next";
const RECEIPT: &str = "#receipt-text";

/// What one session came to, as it is typed.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Played {
    pub(crate) hit: &'static str,
    pub(crate) landed_in: &'static str,
    pub(crate) deep: &'static str,
    pub(crate) mean: &'static str,
    pub(crate) sd: &'static str,
}

/// With the looser string bed.
pub(crate) const LOOSER: Played = Played {
    hit: "100",
    landed_in: "80",
    deep: "40",
    mean: "103",
    sd: "10",
};

/// With the tighter string bed.
pub(crate) const TIGHTER: Played = Played {
    hit: "90",
    landed_in: "75",
    deep: "30",
    mean: "100.5",
    sd: "9.5",
};

/// Someone on the contributor's way.
#[derive(Clone, Copy)]
pub(crate) struct Way<'a> {
    pub(crate) browser: &'a Browser,
    pub(crate) person: Person<'a>,
}

impl<'a> Way<'a> {
    pub(crate) const fn new(browser: &'a Browser, hands: Hands) -> Self {
        Self {
            browser,
            person: Person { browser, hands },
        }
    }

    /// Opens a page of the study.
    pub(crate) fn open(&self, page: &str) {
        self.browser.go(&Stage::path(page));
    }

    /// From "how to play" to the draw.
    pub(crate) fn go_to_the_draw(&self) {
        self.person.follow("main a[href$='/plan']");
        self.browser.see("form:has([name=do][value=draw])");
    }

    /// Draws an order; answers the code of the plan.
    pub(crate) fn draw(&self) -> String {
        self.person.follow("form:has([name=do][value=draw]) button");
        self.browser.text(".code")
    }

    /// Opens the plan that was just drawn.
    pub(crate) fn open_the_plan(&self) {
        self.person
            .follow("form:has([type=hidden][name=code]) button");
        self.browser.see("ol.order");
    }

    /// From the opened plan to the form.
    pub(crate) fn go_to_the_form(&self) {
        self.person
            .follow("form[action$='/send']:has([name=plan_code]) button");
        self.see_step("setup");
    }

    /// Waits for a step of the form.
    #[track_caller]
    pub(crate) fn see_step(&self, step: &str) {
        self.browser.see(&format!("#step-{step}:not([hidden])"));
    }

    /// To the next step, which has to come.
    #[track_caller]
    pub(crate) fn next(&self, step: &str) {
        self.press_next();
        self.see_step(step);
    }

    /// Presses the button for the next step, whatever comes of it.
    #[track_caller]
    pub(crate) fn press_next(&self) {
        self.press_button(NEXT);
    }

    /// Presses the button that sends, whatever comes of it.
    #[track_caller]
    pub(crate) fn press_send(&self) {
        self.press_button(SEND);
    }

    #[track_caller]
    fn press_button(&self, css: &str) {
        match self.browser.scripts() {
            Scripts::On => self.person.press(css),
            Scripts::Off => self.person.follow(css),
        }
    }

    pub(crate) fn enter(&self, name: &str, value: &str) {
        self.person.enter(name, value);
    }

    /// Fills in how it was played. The order is left as it came.
    pub(crate) fn fill_setup(&self) {
        self.enter("tension_unit", "lb");
        self.enter("looser_mains", "46");
        self.enter("tighter_mains", "52");
        self.enter("frames", "one_restrung");
    }

    /// Fills in what measured.
    pub(crate) fn fill_device(&self) {
        self.enter("device", "radar");
        self.enter("speed_unit", "km/h");
        self.enter("speed_over", "all");
        self.enter("shares_as", "count");
    }

    /// Fills in what one session came to.
    pub(crate) fn fill_session(&self, number: usize, played: Played) {
        let name = |stem: &str| format!("s{number}_c1_{stem}");
        self.enter(&name("hit"), played.hit);
        self.enter(&name("in"), played.landed_in);
        self.enter(&name("deep"), played.deep);
        self.enter(&name("mean"), played.mean);
        self.enter(&name("sd"), played.sd);
    }

    /// Ticks every consent that is not ticked yet.
    pub(crate) fn consent(&self) {
        for name in ["consent_pooling", "consent_rows", "adult"] {
            if !self.browser.is_ticked(&format!("[name={name}]")) {
                self.enter(name, "yes");
            }
        }
    }

    /// What was played in the sessions of two, by the order in the form.
    pub(crate) fn played(&self) -> [Played; 2] {
        match self.browser.value("[name=order]:checked").as_str() {
            "looser_tighter" => [LOOSER, TIGHTER],
            "tighter_looser" => [TIGHTER, LOOSER],
            other => self.browser.fail(&format!("an order of two, not {other}")),
        }
    }

    /// Fills in a whole form without a mistake, up to its last step.
    pub(crate) fn fill_everything(&self) {
        self.see_step("setup");
        if !self.browser.has("[name=order]:checked") {
            self.enter("order", "looser_tighter");
        }
        let [first, second] = self.played();
        self.fill_setup();
        self.next("device");
        self.fill_device();
        self.next("session-1");
        self.fill_session(1, first);
        self.next("session-2");
        self.fill_session(2, second);
        self.next("about");
        self.next("send");
        self.consent();
    }

    /// Waits until exactly these fields are named as at fault.
    #[track_caller]
    pub(crate) fn see_faults(&self, fields: &[&str]) {
        self.browser.see(SUMMARY);
        for field in fields {
            self.browser.see(&format!("#fault-{field}"));
        }
        let at_fault = self.browser.run(
            "return [...document.querySelectorAll('.fault')].map((fault) => fault.id.replace(/^fault-/, ''))",
            &[],
        );
        let mut at_fault: Vec<&str> = at_fault
            .as_array()
            .unwrap()
            .iter()
            .map(|field| field.as_str().unwrap())
            .collect();
        at_fault.sort_unstable();
        let mut fields = fields.to_vec();
        fields.sort_unstable();
        if at_fault != fields {
            self.browser
                .fail(&format!("{at_fault:?} at fault, not {fields:?}"));
        }
    }

    /// Follows the summary to a field.
    #[track_caller]
    pub(crate) fn go_to_mend(&self, field: &str) {
        self.person.press(&format!(
            "{SUMMARY} a[href='#{field}'], {SUMMARY} a[href='#field-{field}']"
        ));
        // Without script, the reader is taken there and the next Tab starts there.
        let there = match self.browser.scripts() {
            Scripts::On => format!("[name='{field}']:focus"),
            Scripts::Off => format!("[name='{field}']:target, #field-{field}:target"),
        };
        self.browser.see(&there);
    }

    /// Sends, and waits for the answer.
    #[track_caller]
    pub(crate) fn send(&self) {
        self.person.follow(SEND);
        self.browser.see(ANSWER);
    }

    /// Chooses a file of shots and sends it off to be read.
    #[track_caller]
    pub(crate) fn choose_file(&self, file: &Path) {
        self.browser.upload("[type=file]", file);
        self.person.follow("form:has([type=file]) button");
    }

    /// Sends what was read from a file.
    #[track_caller]
    pub(crate) fn send_file(&self) {
        self.person
            .follow("form:has([name=document]) button[value=send]");
        self.browser.see(ANSWER);
    }

    /// The receipt that the answer shows.
    #[track_caller]
    pub(crate) fn receipt(&self) -> String {
        self.browser.text(RECEIPT)
    }

    /// Opens what was sent with a receipt.
    #[track_caller]
    pub(crate) fn open_receipt(&self, receipt: &str) {
        self.open("receipt");
        self.enter("receipt", receipt);
        self.person.follow("main button[value=see]");
    }

    /// Does something with the pair of this number, such as `correct`.
    #[track_caller]
    pub(crate) fn with_pair(&self, number: usize, what: &str) {
        let section = format!("section[aria-labelledby='pair-{number}']");
        self.person
            .follow(&format!("{section} button[value={what}]"));
    }

    /// Goes to a step of the form by its name.
    #[track_caller]
    pub(crate) fn go_to_step(&self, step: &str) {
        self.press_button(&format!("nav.steps button[value='step:{step}']"));
        self.see_step(step);
    }
}
