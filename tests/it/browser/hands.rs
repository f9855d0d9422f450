//! Two ways to use a page: pointing, as with a finger or a mouse, and the keyboard alone.
//!
//! Both press buttons and fill in fields, whatever kind of field it is. Fields are named by their
//! `name`, so that other words on a page change no test.

use super::session::{Browser, key};
use serde_json::json;

/// More stops than any page has.
const MOST_STOPS: usize = 250;

/// How often Tab is pressed before somebody looks where they are.
const STOPS_AT_A_TIME: usize = 8;

/// How somebody uses a page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Hands {
    Pointing,
    Keyboard,
}

/// Somebody at a browser.
#[derive(Clone, Copy)]
pub(crate) struct Person<'a> {
    pub(crate) browser: &'a Browser,
    pub(crate) hands: Hands,
}

impl Person<'_> {
    /// Presses a button or opens a link.
    #[track_caller]
    pub(crate) fn press(&self, css: &str) {
        self.browser.see(css);
        match self.hands {
            Hands::Pointing => self.browser.click(css),
            Hands::Keyboard => {
                self.tab_to(css);
                self.browser.press(&[key::ENTER]);
            }
        }
    }

    /// Presses what leads to another page, and waits for it.
    #[track_caller]
    pub(crate) fn follow(&self, css: &str) {
        self.browser.see(css);
        self.browser.to_next_page(|| self.press(css));
    }

    /// Fills in a field in place of what it holds.
    #[track_caller]
    pub(crate) fn enter(&self, name: &str, value: &str) {
        let field = format!("[name='{name}']");
        self.browser.see(&field);
        self.unfold(&field);
        let kind = self.browser.run(
            "return document.querySelector(arguments[0])?.type ?? ''",
            &[json!(field)],
        );
        let kind = kind.as_str().unwrap();
        match (kind, self.hands) {
            ("radio", Hands::Pointing) => self.browser.tick(&format!("{field}[value='{value}']")),
            ("checkbox", Hands::Pointing) => self.browser.tick(&field),
            ("select-one", Hands::Pointing) => self.browser.choose(&field, value),
            (_, Hands::Pointing) => self.browser.fill(&field, value),
            ("radio" | "select-one", Hands::Keyboard) => self.choose_by_arrows(&field, value),
            ("checkbox", Hands::Keyboard) => {
                self.tab_to(&field);
                self.browser.press(&[key::SPACE]);
                assert!(self.browser.is_ticked(&field), "{field} stays unticked");
            }
            (_, Hands::Keyboard) => {
                self.tab_to(&field);
                self.browser.press_with(key::CONTROL, 'a');
                self.browser.press(&[key::BACKSPACE]);
                self.browser.type_text(value);
            }
        }
    }

    /// Opens what a field is folded under.
    #[track_caller]
    fn unfold(&self, css: &str) {
        let folded = format!("details:not([open]):has({css}) > summary");
        while self.browser.has(&folded) {
            let n_folded = self.browser.count(&folded);
            self.press(&folded);
            self.browser.wait("what is folded to open", || {
                self.browser.count(&folded) < n_folded
            });
        }
    }

    /// Whether something has the focus.
    pub(crate) fn is_at(&self, css: &str) -> bool {
        self.browser.run(
            "return document.activeElement?.matches(arguments[0]) ?? false",
            &[json!(css)],
        ) == true
    }

    #[track_caller]
    fn tab_to(&self, css: &str) {
        // Many keys at a time are quicker; once the focus is there, the rest of them do nothing.
        self.browser.run(
            "const there = (event) => {
                 if (event.key === 'Tab' && document.activeElement?.matches(arguments[0])) {
                     event.preventDefault();
                 }
             };
             removeEventListener('keydown', window.stopAt, true);
             window.stopAt = there;
             addEventListener('keydown', there, true);",
            &[json!(css)],
        );
        for _ in 0..MOST_STOPS / STOPS_AT_A_TIME {
            if self.is_at(css) {
                self.browser
                    .run("removeEventListener('keydown', window.stopAt, true)", &[]);
                return;
            }
            self.browser.press(&[key::TAB; STOPS_AT_A_TIME]);
        }
        self.browser.fail(&format!("Tab never reaches {css}"));
    }

    #[track_caller]
    fn choose_by_arrows(&self, field: &str, value: &str) {
        self.tab_to(field);
        let wanted =
            format!("{field}[value='{value}'], {field}:has(option[value='{value}']:checked)");
        for _ in 0..MOST_STOPS {
            let is_wanted = self.browser.run(
                "return document.activeElement.value === arguments[0]",
                &[json!(value)],
            );
            if is_wanted == true && self.is_at(&wanted) {
                if self.browser.has(&format!("{field}[type=radio]")) {
                    self.browser.press(&[key::SPACE]);
                }
                return;
            }
            self.browser.press(&[key::DOWN]);
        }
        self.browser
            .fail(&format!("no arrow leads to {value} in {field}"));
    }
}
