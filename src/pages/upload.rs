//! A file instead of typing: choose it, see what was read, agree, send. No results of the study.

mod shown;

use super::station::Station;
use super::study::paragraphs;
use crate::contribution::Contribution;
use crate::protocol::Study;
use crate::units::SpeedUnit;
use crate::vocabulary::CorrectionReason;
use askama::Template;
use shown::{SessionShown, missing, sessions};

/// One thing to mend or to look at, with its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spot {
    /// Where it stands.
    pub place: String,
    /// What it is and how to mend it.
    pub sentence: String,
}

/// Why a file was not taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// What is the matter, in a sentence.
    pub heading: String,
    /// Every place to mend.
    pub spots: Vec<Spot>,
}

/// One column of a file of shots.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ColumnWords {
    /// Its name.
    pub name: &'static str,
    /// Whether every file has it.
    pub is_required: bool,
    /// What to write in it.
    pub meaning: &'static str,
}

/// What goes along from page to page; empty texts where there is nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Carried<'a> {
    /// The receipt of an earlier contribution.
    pub receipt: &'a str,
    /// The contribution that is corrected.
    pub correcting: &'a str,
    /// The invitation, as it was typed; `None` when none is needed.
    pub invitation: Option<&'a str>,
    /// What was filled in where nothing should be.
    pub trap: &'a str,
}

/// What was answered beside the file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Answers {
    /// Consent to be counted.
    pub pooling: bool,
    /// Consent to anonymised rows.
    pub rows: bool,
    /// Of age.
    pub adult: bool,
    /// The plan's code; empty without one.
    pub plan_code: String,
    /// Level, 1 to 10.
    pub itn: Option<i64>,
}

impl Answers {
    /// What a file answers already. Consent is never taken from a file.
    #[must_use]
    pub fn of(contribution: &Contribution) -> Self {
        Self {
            plan_code: contribution.plan_code.clone().unwrap_or_default(),
            itn: contribution.background.itn,
            ..Self::default()
        }
    }
}

/// One session's figures as they were entered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entered {
    /// Tension with its unit.
    pub tension: String,
    /// Minutes of hitting.
    pub minutes: Option<String>,
    /// Unit of the speeds of each shot line.
    pub speed_units: Vec<SpeedUnit>,
}

/// What was read of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct Read<'a> {
    /// The contribution, its consent not yet given.
    pub contribution: &'a Contribution,
    /// The same sessions as they were entered.
    pub entered: Vec<Entered>,
    /// What was left out in summing up, a sentence each.
    pub remarks: &'a [String],
    /// Reasons to look again.
    pub flags: Vec<Spot>,
}

#[derive(Template)]
#[template(path = "upload.html", config = "src/pages/askama.toml")]
struct Choosing<'a> {
    invented: bool,
    study: &'a Study,
    here: Station,
    columns: &'a [ColumnWords],
    trouble: Option<&'a Trouble>,
    carried: &'a Carried<'a>,
}

/// The page on which a file is chosen, with what was wrong with the last one.
///
/// # Errors
/// When the template cannot be filled.
pub fn choose(
    study: &Study,
    columns: &[ColumnWords],
    trouble: Option<&Trouble>,
    carried: &Carried<'_>,
) -> Result<String, askama::Error> {
    Choosing {
        invented: study.label.invented,
        study,
        here: Station::Send,
        columns,
        trouble,
        carried,
    }
    .render()
}

#[derive(Template)]
#[template(path = "upload-preview.html", config = "src/pages/askama.toml")]
struct Preview<'a> {
    invented: bool,
    study: &'a Study,
    here: Station,
    sessions: Vec<SessionShown>,
    remarks: &'a [String],
    missing: Vec<String>,
    flags: &'a [Spot],
    consent: Vec<&'a str>,
    document: &'a str,
    token: &'a str,
    carried: &'a Carried<'a>,
    answers: &'a Answers,
    /// Every level, and whether it is the player's.
    levels: Vec<(i64, bool)>,
    wrong: &'a [String],
}

/// The page that shows what was read and asks for consent. `document` goes along in a hidden field,
/// `token` makes a double tap send once.
///
/// # Errors
/// When the template cannot be filled.
pub fn preview(
    study: &Study,
    read: &Read<'_>,
    document: &str,
    token: &str,
    carried: &Carried<'_>,
    answers: &Answers,
    wrong: &[String],
) -> Result<String, askama::Error> {
    Preview {
        invented: study.label.invented,
        study,
        here: Station::Send,
        sessions: sessions(read),
        remarks: read.remarks,
        missing: missing(read.contribution, study),
        flags: &read.flags,
        consent: paragraphs(&study.protocol.consent.text),
        document,
        token,
        carried,
        answers,
        levels: (1..=10)
            .map(|level| (level, answers.itn == Some(level)))
            .collect(),
        wrong,
    }
    .render()
}
