//! The host's page that publishes a release: what it would say, and the button that cannot be
//! undone.

use crate::findings::Findings;
use crate::numbers::counted;
use crate::pages::host::Desk;
use crate::release::{Release, ReleaseKind};
use crate::wire::release::answers;
use askama::Template;

/// What the host typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Asked {
    /// Whether it is to correct the last release.
    pub corrects: bool,
    /// What was wrong with that.
    pub reason: String,
    /// What there is to say of the release.
    pub note: String,
}

/// Where the host stands.
#[derive(Clone, Copy, Debug)]
pub enum ReleaseStep<'a> {
    /// Nothing can be released now, and why.
    Refused(&'a str),
    /// A release can be published.
    Ask {
        /// What it would say.
        draft: &'a Release,
        /// What is found in it.
        findings: &'a Findings,
        /// Whether it can only be a correction, since nothing else has changed.
        only_correction: bool,
        /// What the host typed, with why it was not taken.
        asked: &'a Asked,
        /// Why it was not taken.
        fault: Option<&'a str>,
    },
    /// It was published.
    Done {
        /// Its number.
        number: i64,
        /// Its permanent address.
        address: &'a str,
        /// SHA-256 of its document, in hexadecimal.
        sha256: &'a str,
    },
}

/// The page, of which study and in which sign-in.
#[derive(Clone, Copy, Debug)]
pub struct ReleaseDesk<'a> {
    /// What every page of the desk needs.
    pub desk: Desk<'a>,
    /// The study's short name.
    pub slug: &'a str,
    /// Whether its data are made up.
    pub invented: bool,
}

#[derive(Template)]
#[template(path = "host_release.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    invented: bool,
    desk: Desk<'a>,
    slug: &'a str,
    step: ReleaseStep<'a>,
    preview: Vec<(&'static str, String)>,
    answers: Vec<String>,
    changes: Vec<String>,
}

/// The page for a step.
///
/// # Errors
/// When the template cannot be filled.
pub fn desk_release(at: ReleaseDesk<'_>, step: ReleaseStep<'_>) -> Result<String, askama::Error> {
    let (preview, answers, changes) = match step {
        ReleaseStep::Ask {
            draft, findings, ..
        } => (
            preview(draft),
            answers(draft, findings),
            super::changes(draft),
        ),
        ReleaseStep::Refused(_) | ReleaseStep::Done { .. } => Default::default(),
    };
    Page {
        invented: at.invented,
        desk: at.desk,
        slug: at.slug,
        step,
        preview,
        answers,
        changes,
    }
    .render()
}

/// What a release would say, apart from its verdicts.
fn preview(draft: &Release) -> Vec<(&'static str, String)> {
    let publication = &draft.publication;
    let players = u64::try_from(draft.players()).unwrap_or(u64::MAX);
    let batch = publication.batch.as_ref();
    let mut lines = vec![
        (
            "Figures",
            format!(
                "{}, {} with a row, protocol version {}",
                batch.map_or_else(String::new, |batch| format!(
                    "batch {} of {}",
                    batch.number, batch.date
                )),
                counted(players, "player", "players"),
                publication.protocol_version
            ),
        ),
        (
            "Range in sentences",
            draft.stated.because.sentence().to_owned(),
        ),
        ("Publisher", draft.terms.publisher.clone()),
        ("Contact", draft.terms.contact.clone()),
        ("Licence of the data", draft.terms.licence_name.clone()),
        ("Permanent address", draft.address.clone()),
        ("Citation", draft.citation()),
    ];
    if draft.protocol.plan_hash_at_opening.is_some() && !draft.protocol.plan_held() {
        let changed = "is another one than when recruiting opened, and the release says so";
        lines.push(("Analysis plan", changed.to_owned()));
    }
    lines
}

/// Whether a release would be the first.
const fn is_first(draft: &Release) -> bool {
    matches!(draft.kind, ReleaseKind::First)
}
