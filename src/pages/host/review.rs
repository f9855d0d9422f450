//! Looking at what is held, blind to its effects, and deciding.

use super::Desk;
use crate::findings::labels::{class_label, ground_label};
use crate::numbers::{self, fixed};
use crate::protocol::StudyLabel;
use crate::review::{BlindClass, BlindLine, BlindPair, BlindSession};
use crate::vocabulary::{Arm, Ground, SpeedOver, Verdict};
use askama::Template;

/// What was found in a contribution.
#[derive(Clone, Debug)]
pub struct Found {
    /// In a sentence.
    pub sentence: String,
    /// The figure it rests on.
    pub figure: Option<String>,
    /// Whether the contribution is held because of it.
    pub holds: bool,
}

/// A contribution in the list.
#[derive(Clone, Debug)]
pub struct Listed {
    /// Its identifier.
    pub contribution: String,
    /// The day it came, as `YYYY-MM-DD`.
    pub came: String,
    /// How it stands, in words.
    pub standing: String,
    /// The first reason why it is held, in a sentence.
    pub why: Option<String>,
}

impl Listed {
    /// The end of its identifier, by which one is told from another in a list and on its page.
    fn ending(&self) -> String {
        let shown = self.contribution.len().saturating_sub(ENDING);
        format!("…{}", self.contribution.get(shown..).unwrap_or_default())
    }
}

/// How many characters of an identifier are shown.
const ENDING: usize = 6;

/// What became of everything that was sent so far.
#[derive(Clone, Debug)]
pub struct FlowLine {
    /// What is counted.
    pub label: String,
    /// How many.
    pub n: usize,
}

/// What the list shows.
#[derive(Debug)]
pub struct ReviewView<'a> {
    /// The desk.
    pub desk: Desk<'a>,
    /// The study.
    pub study: &'a StudyLabel,
    /// What waits.
    pub waiting: &'a [Listed],
    /// What was decided.
    pub decided: &'a [Listed],
    /// What became of everything.
    pub flow: &'a [FlowLine],
}

#[derive(Template)]
#[template(path = "host_review.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    invented: bool,
    view: &'a ReviewView<'a>,
    desk: Desk<'a>,
}

/// The list of what waits for a decision, and of what was decided.
///
/// # Errors
/// When the template cannot be filled.
pub fn review(view: &ReviewView<'_>) -> Result<String, askama::Error> {
    Page {
        invented: view.study.invented,
        view,
        desk: view.desk,
    }
    .render()
}

/// An earlier decision.
#[derive(Clone, Debug)]
pub struct Earlier {
    /// The day, as `YYYY-MM-DD`.
    pub date: String,
    /// What was decided.
    pub verdict: Verdict,
    /// On what ground.
    pub ground: Ground,
    /// The host's words.
    pub note: String,
}

/// One thing that the sender told: what it is about, and the value.
#[derive(Clone, Debug)]
pub struct ToldLine {
    /// What it is about.
    pub label: String,
    /// The value.
    pub value: String,
}

/// What the page of one contribution shows.
#[derive(Debug)]
pub struct CaseView<'a> {
    /// The desk.
    pub desk: Desk<'a>,
    /// The study.
    pub study: &'a StudyLabel,
    /// The contribution.
    pub listed: &'a Listed,
    /// Its newest version.
    pub version: i64,
    /// Its figures without effects.
    pub pair: &'a BlindPair,
    /// What was found.
    pub found: &'a [Found],
    /// What else was told, the note apart.
    pub told: &'a [ToldLine],
    /// The note.
    pub note: Option<&'a str>,
    /// Earlier decisions, the first one first.
    pub earlier: &'a [Earlier],
    /// What the host typed and could not be taken, with the reason.
    pub trouble: Option<Trouble<'a>>,
}

/// A decision that was not taken.
#[derive(Clone, Copy, Debug)]
pub struct Trouble<'a> {
    /// Why.
    pub words: &'a str,
    /// The button that was chosen.
    pub chosen: &'a str,
    /// What was typed.
    pub note: &'a str,
}

/// A decision that can be chosen.
struct Choice {
    value: String,
    label: &'static str,
    chosen: bool,
}

#[derive(Template)]
#[template(path = "host_case.html", config = "src/pages/askama.toml")]
struct CasePage<'a> {
    invented: bool,
    view: &'a CaseView<'a>,
    desk: Desk<'a>,
    gap: String,
    accept: Vec<Choice>,
    decline: Vec<Choice>,
    typed: &'a str,
}

/// The page of one contribution that the host decides on.
///
/// # Errors
/// When the template cannot be filled.
pub fn case(view: &CaseView<'_>) -> Result<String, askama::Error> {
    let chosen = view.trouble.map_or("", |trouble| trouble.chosen);
    let gap = |gap: crate::units::Tension| {
        format!(
            "{} lb ({} kg)",
            fixed(gap.pounds(), 1),
            fixed(gap.kilograms(), 1)
        )
    };
    CasePage {
        invented: view.study.invented,
        gap: view.pair.gap.map_or_else(String::new, gap),
        accept: choices(Verdict::Accept, chosen),
        decline: choices(Verdict::Decline, chosen),
        typed: view.trouble.map_or("", |trouble| trouble.note),
        desk: view.desk,
        view,
    }
    .render()
}

fn choices(verdict: Verdict, chosen: &str) -> Vec<Choice> {
    let choice = |ground: &Ground| {
        let value = choice_code(verdict, *ground);
        Choice {
            chosen: value == chosen,
            label: ground_label(*ground),
            value,
        }
    };
    verdict.grounds().iter().map(choice).collect()
}

/// How a decision with its ground stands in the form.
#[must_use]
pub fn choice_code(verdict: Verdict, ground: Ground) -> String {
    format!("{}-{}", verdict.code(), ground.code())
}

/// The decision that stands for a code of [`choice_code`].
#[must_use]
pub fn choice_of(code: &str) -> Option<(Verdict, Ground)> {
    let (verdict, ground) = code.split_once('-')?;
    Some((Verdict::from_code(verdict)?, Ground::from_code(ground)?))
}

impl Earlier {
    fn words(&self) -> &'static str {
        match self.verdict {
            Verdict::Accept => "It counts",
            Verdict::Decline => "It does not count",
        }
    }

    fn ground(&self) -> &'static str {
        ground_label(self.ground)
    }
}

impl BlindSession {
    fn bed(&self) -> &'static str {
        match self.arm {
            Arm::Looser => "looser",
            Arm::Tighter => "tighter",
        }
    }

    fn strung(&self) -> String {
        format!("{} lb", fixed(self.tension.pounds(), 1))
    }
}

impl BlindLine {
    fn label(&self) -> String {
        class_label(self.class)
    }

    fn timed_words(&self) -> String {
        let over = match self.over {
            None => return "no speed".to_owned(),
            Some(SpeedOver::All) => " of all",
            Some(SpeedOver::In) => " of those in",
            Some(SpeedOver::Unknown) => "",
        };
        let timed = self
            .timed
            .map_or_else(|| "not told".to_owned(), |n| n.to_string());
        format!("{timed}{over}")
    }

    fn spread_words(&self) -> String {
        self.spread_percent.map_or_else(
            || "not told".to_owned(),
            |percent| numbers::percent(percent / 100.0, 0),
        )
    }

    fn fastest_words(&self) -> String {
        self.fastest_sds.map_or_else(
            || "not told".to_owned(),
            |sds| format!("{} SD", fixed(sds, 1)),
        )
    }
}

impl BlindClass {
    fn label(&self) -> String {
        class_label(self.class)
    }

    fn speed_words(&self) -> String {
        self.speed_kmh.map_or_else(
            || "not told".to_owned(),
            |kmh| format!("{} km/h", fixed(kmh, 0)),
        )
    }

    fn share_words(percent: Option<f64>) -> String {
        percent.map_or_else(
            || "not told".to_owned(),
            |percent| numbers::percent(percent / 100.0, 0),
        )
    }

    fn in_words(&self) -> String {
        Self::share_words(self.in_percent)
    }

    fn deep_words(&self) -> String {
        Self::share_words(self.deep_percent)
    }
}
