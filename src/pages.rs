//! Pages: server-rendered HTML that needs no script, and the pictures on it.
//!
//! Templates stand under `pages/templates` and escape every value. Pages show what `findings` and
//! `disclosure` hand over and compute nothing of their own.

mod answer;
mod card;
mod closed;
pub mod desk;
pub mod history;
pub mod host;
mod interface;
mod nowhere;
mod plan;
mod receipt;
mod release;
mod script;
pub mod send;
mod station;
mod study;
mod take_part;
mod too_many;
pub mod upload;

use crate::protocol::Study;
use crate::wire::problem::ProblemKind;
use askama::Template;

pub use answer::{AnswerView, answer};
pub use card::{CardView, card};
pub use closed::closed;
pub use interface::interface;
pub use nowhere::{Nowhere, nowhere};
pub use plan::{PlanStep, plan};
pub use receipt::{Corrected, ReceiptView, SentPair, receipt, withdraw};
pub use release::{
    Asked, ReleaseDesk, ReleaseStep, ReleaseView, desk_release, frozen_view, release, releases,
};
pub use script::{SCRIPTS, script, worker};
pub use send::send;
pub use station::Station;
pub use study::{Hidden, Standing, StudyView, pairs, pictures, study, units_asked};
pub use take_part::take_part;
pub use too_many::too_many;

/// What every picture says when its data are made up, since a picture may be copied alone.
const INVENTED: &str = "Invented data: nobody hit these balls.";

/// The mark of the site in a browser's tab: an estimate beside the line of no difference.
pub const ICON: &str = include_str!("pages/style/icon.svg");

/// The style sheet of every page.
pub const STYLE: &str = concat!(
    include_str!("pages/style/page.css"),
    include_str!("pages/style/figures.css"),
    include_str!("pages/style/results.css"),
    include_str!("pages/style/forms.css"),
    include_str!("pages/style/answer.css"),
    include_str!("pages/style/upload.css"),
    include_str!("pages/style/surroundings.css"),
    include_str!("pages/style/plan.css"),
    include_str!("pages/style/host.css"),
    include_str!("pages/style/desk.css"),
    include_str!("pages/style/release.css"),
    include_str!("pages/style/sheet.css"),
    include_str!("pages/style/audience.css"),
    include_str!("pages/style/interface.css"),
);

/// The list of studies.
#[derive(Template)]
#[template(path = "studies.html", config = "src/pages/askama.toml")]
struct Studies<'a> {
    invented: bool,
    studies: &'a [&'a Study],
}

/// The page that lists every study.
///
/// # Errors
/// When the template cannot be filled.
pub fn studies(studies: &[&Study]) -> Result<String, askama::Error> {
    Studies {
        invented: studies.iter().any(|study| study.label.invented),
        studies,
    }
    .render()
}

/// The list of problems.
#[derive(Template)]
#[template(path = "problems.html", config = "src/pages/askama.toml")]
struct Problems {
    invented: bool,
    kinds: &'static [ProblemKind],
}

/// The page that explains every kind of error.
///
/// # Errors
/// When the template cannot be filled.
pub fn problems() -> Result<String, askama::Error> {
    Problems {
        invented: false,
        kinds: ProblemKind::ALL,
    }
    .render()
}
