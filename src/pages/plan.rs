//! The page where an order of play is drawn and opened. It shows no results.

use super::station::Station;
use crate::plan::{Code, Kind};
use crate::protocol::{Protocol, Study};
use crate::vocabulary::{Arm, Sequence};
use askama::Template;

/// Where somebody stands with a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PlanStep {
    /// Nothing is drawn yet.
    Draw {
        /// A fresh token, under which one tap draws one plan.
        token: String,
        /// A code as typed that no plan has.
        refused: Option<String>,
    },
    /// Drawn and sealed.
    Sealed(Code),
    /// Opened, with its order.
    Opened(Code, Sequence),
}

#[derive(Template)]
#[template(path = "plan.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    invented: bool,
    study: &'a Study,
    here: Station,
    step: &'a PlanStep,
    kinds: Vec<Choice>,
}

/// A number of sessions to choose.
struct Choice {
    code: &'static str,
    label: &'static str,
    what: &'static str,
    minutes: i64,
}

/// The page for a step.
///
/// # Errors
/// When the template cannot be filled.
pub fn plan(study: &Study, step: &PlanStep) -> Result<String, askama::Error> {
    let choice = |kind: &Kind| {
        let (label, what) = match kind {
            Kind::TwoSessions => ("Two sessions", "One with each string bed: quick."),
            Kind::FourSessions => (
                "Four sessions",
                "Each string bed twice, so that warming up and tiring cancel out: surer.",
            ),
        };
        Choice {
            code: kind.code(),
            label,
            what,
            minutes: minutes(&study.protocol, *kind),
        }
    };
    Page {
        invented: study.label.invented,
        study,
        here: Station::Plan,
        step,
        kinds: Kind::ALL.iter().map(choice).collect(),
    }
    .render()
}

/// How long the sessions of a plan take with their warm-ups, rests apart.
pub(super) fn minutes(protocol: &Protocol, kind: Kind) -> i64 {
    let [first, _] = kind.sequences();
    let n_sessions = i64::try_from(first.arms().len()).unwrap_or(0);
    n_sessions * (protocol.warm_up_minutes + protocol.session_minutes)
}

/// The string beds in the order of play, in words.
fn beds(sequence: &Sequence) -> impl Iterator<Item = &'static str> {
    sequence.arms().iter().map(|arm| match arm {
        Arm::Looser => "The looser string bed",
        Arm::Tighter => "The tighter string bed",
    })
}
