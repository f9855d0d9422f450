//! The host's pages of studies: writing one, previewing it, opening and closing it, and watching how
//! far it has come. None shows which way a study points.

mod form;
mod progress;

pub use form::{FormView, REASON, Writing, preview, study_form};
pub use progress::{Arrivals, ProgressView};

use super::history::plan_words;
use super::host::Desk;
use crate::protocol::Study;
use crate::vocabulary::StudyState;
use askama::Template;
use progress::Shown;

/// Everything that the desk of one study shows.
#[derive(Debug)]
pub struct StudyDesk<'a> {
    /// The desk.
    pub desk: Desk<'a>,
    /// The study with the newest protocol.
    pub study: &'a Study,
    /// Where it stands.
    pub state: StudyState,
    /// The day on which recruiting opened.
    pub opened: Option<String>,
    /// The day on which it closed.
    pub closed: Option<String>,
    /// Whether the analysis plan is another than when recruiting opened.
    pub plan_changed: bool,
    /// How far it has come; `None` for a draft.
    pub progress: Option<ProgressView<'a>>,
}

#[derive(Template)]
#[template(path = "host_study.html", config = "src/pages/askama.toml")]
struct StudyPage<'a> {
    invented: bool,
    desk: Desk<'a>,
    view: &'a StudyDesk<'a>,
    study: &'a Study,
    slug: &'a str,
    progress: Option<Shown>,
}

/// The desk of one study.
///
/// # Errors
/// When the template cannot be filled.
pub fn study_desk(view: &StudyDesk<'_>) -> Result<String, askama::Error> {
    StudyPage {
        invented: view.study.label.invented,
        desk: view.desk,
        view,
        study: view.study,
        slug: &view.study.label.slug,
        progress: view
            .progress
            .as_ref()
            .map(|progress| progress.shown(view.study)),
    }
    .render()
}

/// What is asked before recruiting opens.
#[derive(Debug)]
pub struct Opening<'a> {
    /// The desk.
    pub desk: Desk<'a>,
    /// The draft.
    pub study: &'a Study,
    /// The hash that its analysis plan will be frozen by, hexadecimal.
    pub plan_hash: &'a str,
    /// What is missing, in sentences.
    pub missing: Vec<String>,
    /// Whether the draft was changed since the page was last seen.
    pub is_changed: bool,
}

#[derive(Template)]
#[template(path = "host_opening.html", config = "src/pages/askama.toml")]
struct OpeningPage<'a> {
    invented: bool,
    desk: Desk<'a>,
    view: &'a Opening<'a>,
    slug: &'a str,
    plan: String,
}

/// The page that asks whether to open recruiting, with what will be frozen.
///
/// # Errors
/// When the template cannot be filled.
pub fn opening(view: &Opening<'_>) -> Result<String, askama::Error> {
    OpeningPage {
        invented: view.study.label.invented,
        desk: view.desk,
        view,
        slug: &view.study.label.slug,
        plan: plan_words(view.study)?,
    }
    .render()
}

#[derive(Template)]
#[template(path = "host_closing.html", config = "src/pages/askama.toml")]
struct ClosingPage<'a> {
    invented: bool,
    desk: Desk<'a>,
    study: &'a Study,
    slug: &'a str,
}

/// The page that asks whether to close recruiting.
///
/// # Errors
/// When the template cannot be filled.
pub fn closing(desk: Desk<'_>, study: &Study) -> Result<String, askama::Error> {
    ClosingPage {
        invented: study.label.invented,
        desk,
        study,
        slug: &study.label.slug,
    }
    .render()
}
