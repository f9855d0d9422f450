//! Moving through the steps of a form: what is shown next, and what of it is to be mended.

use super::asked::{Action, Asked};
use crate::form::{FieldFault, Step};

/// A form on its way back to the browser.
#[derive(Debug)]
pub(super) struct Form {
    pub(super) asked: Asked,
    /// Everything that is to be mended, also where nobody has been yet.
    all_faults: Vec<FieldFault>,
    /// Everything that is worth a second look, also where nobody has been yet.
    all_flags: Vec<FieldFault>,
    /// Whether the player was kept from going on.
    pub(super) kept: bool,
    /// Whether a step is shown once more because something in it is worth a second look.
    pub(super) asks: bool,
}

impl Form {
    /// A form with everything that is to be mended in it.
    pub(super) fn new(
        mut asked: Asked,
        all_faults: Vec<FieldFault>,
        all_flags: Vec<FieldFault>,
    ) -> Self {
        // Another order of play may have taken the step away.
        let steps = asked.entries.steps();
        if !steps.contains(&asked.step) {
            asked.step = Step::About;
        }
        Self {
            asked,
            all_faults,
            all_flags,
            kept: false,
            asks: false,
        }
    }

    /// Does what the button asks for; sending only as far as it fails.
    pub(super) fn act(&mut self) {
        match self.asked.action {
            Action::Open => {
                self.asked.step = Step::Setup;
                self.asked.reached = Step::Setup;
                self.asked.checked = None;
            }
            Action::Next => self.go_on(),
            Action::Back => self.arrive(self.beside(self.asked.step, false)),
            Action::To(step) => self.arrive(step),
            Action::Send => self.hold_against(Step::Send),
        }
    }

    /// What is to be mended as far as was checked. Nobody is blamed for what lies ahead.
    pub(super) fn faults(&self) -> Vec<FieldFault> {
        let checked = self.asked.checked;
        let mut faults = self.all_faults.clone();
        faults.retain(|fault| Some(fault.step) <= checked);
        faults
    }

    /// What is worth a second look as far as was checked, and all of it before it is sent.
    pub(super) fn flags(&self) -> Vec<FieldFault> {
        let is_last = self.asked.step == Step::Send;
        let mut flags = self.all_flags.clone();
        flags.retain(|flag| is_last || Some(flag.step) <= self.asked.checked);
        flags
    }

    fn go_on(&mut self) {
        let step = self.asked.step;
        let is_first_check = self.asked.checked < Some(step);
        self.hold_against(step);
        if !self.kept {
            // Once, so that it is read where it can be mended; whoever goes on again means it.
            self.asks = is_first_check && self.all_flags.iter().any(|flag| flag.step == step);
            if !self.asks {
                self.arrive(self.beside(step, true));
            }
        }
    }

    /// Checks everything up to a step, and stops at the first that is at fault.
    fn hold_against(&mut self, step: Step) {
        self.asked.checked = self.asked.checked.max(Some(step));
        let first = self.all_faults.iter().map(|fault| fault.step).min();
        if let Some(first) = first.filter(|first| *first <= step) {
            self.kept = true;
            self.arrive(first);
        }
    }

    fn beside(&self, step: Step, forward: bool) -> Step {
        let steps = self.asked.entries.steps();
        let place = steps.iter().position(|known| *known == step).unwrap_or(0);
        let other = if forward {
            place + 1
        } else {
            place.saturating_sub(1)
        };
        steps.get(other).copied().unwrap_or(step)
    }

    fn arrive(&mut self, step: Step) {
        if !self.asked.entries.steps().contains(&step) {
            return;
        }
        if self.asked.reached < step {
            self.asked.reached = step;
            if let Some(session) = step.session() {
                self.asked.entries.take_over_from_first(session);
            }
        }
        self.asked.step = step;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(step: Step) -> FieldFault {
        FieldFault {
            field: None,
            step,
            pointer: String::new(),
            code: "missing",
            sentence: String::new(),
        }
    }

    fn at(step: Step) -> Asked {
        Asked {
            step,
            reached: step,
            ..Asked::blank()
        }
    }

    fn after(action: Action, step: Step, faults: &[Step]) -> Form {
        let asked = Asked { action, ..at(step) };
        let faults = faults.iter().copied().map(fault).collect();
        let mut form = Form::new(asked, faults, Vec::new());
        form.act();
        form
    }

    #[test]
    fn what_is_odd_is_asked_once_where_it_stands() {
        let next = |checked| {
            let asked = Asked {
                action: Action::Next,
                checked,
                ..at(Step::Setup)
            };
            let flags = vec![fault(Step::Setup), fault(Step::First)];
            let mut form = Form::new(asked, Vec::new(), flags);
            form.act();
            (form.asked.step, form.asks, form.kept, form.flags().len())
        };
        assert_eq!(next(None), (Step::Setup, true, false, 1));
        assert_eq!(next(Some(Step::Setup)), (Step::Device, false, false, 1));
    }

    #[test]
    fn one_goes_on_unless_something_up_to_here_is_to_be_mended() {
        let form = after(Action::Next, Step::Device, &[Step::First]);
        assert_eq!((form.asked.step, form.kept), (Step::First, false));
        assert!(form.faults().is_empty());
        let form = after(Action::Next, Step::Device, &[Step::Setup, Step::First]);
        assert_eq!((form.asked.step, form.kept), (Step::Setup, true));
        assert_eq!(form.faults().len(), 1);
    }

    #[test]
    fn with_two_sessions_the_second_is_followed_by_what_is_optional() {
        let form = after(Action::Next, Step::Second, &[]);
        assert_eq!(form.asked.step, Step::About);
        let form = after(Action::Back, Step::About, &[]);
        assert_eq!(form.asked.step, Step::Second);
        let form = after(Action::To(Step::Third), Step::Device, &[]);
        assert_eq!(form.asked.step, Step::Device);
    }

    #[test]
    fn at_the_ends_one_stays() {
        assert_eq!(
            after(Action::Back, Step::Setup, &[]).asked.step,
            Step::Setup
        );
        assert_eq!(after(Action::Next, Step::Send, &[]).asked.step, Step::Send);
    }

    #[test]
    fn sending_shows_every_fault_and_the_first_of_their_steps() {
        let form = after(Action::Send, Step::Send, &[Step::First, Step::Send]);
        assert_eq!((form.asked.step, form.kept), (Step::First, true));
        assert_eq!(form.faults().len(), 2);
    }
}
