//! A form as it arrives: what was typed, and what travels along.

use crate::form::{Entries, Step};
use crate::http::form;
use uuid::Uuid;

/// The field that people do not see and programs fill in. No browser fills in a field of this name by
/// itself (HTML Standard, 4.10.18.7, has the names that they know).
pub(in crate::http) const TRAP: &str = "leave_empty";

/// Longest receipt or invitation that is kept as it was typed; a real one is half as long.
const LONGEST_SECRET: usize = 80;

/// What the button that was pressed asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Action {
    /// Showing the form with what was given.
    Open,
    /// Checking this step and going on.
    Next,
    /// Going back one step.
    Back,
    /// Going to a step.
    To(Step),
    /// Sending.
    Send,
}

/// A form as it arrived.
#[derive(Clone, Debug)]
pub(super) struct Asked {
    pub(super) action: Action,
    pub(super) entries: Entries,
    /// The step that was shown.
    pub(super) step: Step,
    /// The furthest step that was shown.
    pub(super) reached: Step,
    /// The furthest step that was checked.
    pub(super) checked: Option<Step>,
    pub(super) token: String,
    pub(super) receipt: String,
    /// What was filled in where nothing should be.
    pub(super) trap: String,
    /// The invitation, as it was typed.
    pub(super) invitation: String,
    /// The contribution that is corrected.
    pub(super) correcting: Option<Uuid>,
}

impl Asked {
    /// A form that nobody has filled.
    pub(super) fn blank() -> Self {
        Self {
            action: Action::Open,
            entries: Entries::default(),
            step: Step::Setup,
            reached: Step::Setup,
            checked: None,
            token: form::fresh_token(),
            receipt: String::new(),
            trap: String::new(),
            invitation: String::new(),
            correcting: None,
        }
    }

    /// Reads a body that is declared as a form.
    pub(super) fn read(body: &[u8]) -> Self {
        let mut asked = Self::blank();
        for (name, value) in &form::pairs(body) {
            match name.as_str() {
                "do" => asked.action = action(value),
                "step" => asked.step = Step::from_code(value).unwrap_or(Step::Setup),
                "reached" => asked.reached = Step::from_code(value).unwrap_or(Step::Setup),
                "checked" => asked.checked = Step::from_code(value),
                "token" => asked.token = form::token(value),
                "receipt" => asked.receipt = short(value),
                "invitation" => asked.invitation = short(value),
                TRAP => asked.trap = short(value),
                "correcting" => asked.correcting = Uuid::parse_str(value).ok(),
                _ => asked.entries.set(name, value),
            }
        }
        asked
    }
}

fn short(value: &str) -> String {
    value.trim().chars().take(LONGEST_SECRET).collect()
}

fn action(word: &str) -> Action {
    match word {
        "next" => Action::Next,
        "back" => Action::Back,
        "send" => Action::Send,
        _ => word
            .strip_prefix("step:")
            .and_then(Step::from_code)
            .map_or(Action::Open, Action::To),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_is_read_whatever_stands_in_it() {
        let asked = Asked::read(b"do=step%3Adevice&step=setup&looser_mains=48%2C5&x=1&token=a");
        assert_eq!(asked.action, Action::To(Step::Device));
        assert_eq!(asked.entries.get("looser_mains"), "48,5");
        assert_eq!(asked.token.len(), 36);
        for body in [
            &b""[..],
            b"%",
            b"%zz=%f",
            b"\xff\xfe",
            b"do=dance",
            b"&&&===",
        ] {
            assert_eq!(Asked::read(body).action, Action::Open);
        }
    }
}
