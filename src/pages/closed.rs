//! What stands in the place of a contributor's page once recruiting is closed.

use super::station::Station;
use crate::protocol::Study;
use askama::Template;

#[derive(Template)]
#[template(path = "closed.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    invented: bool,
    study: &'a Study,
    here: Station,
}

/// The page of a study that takes no further contributions.
///
/// # Errors
/// When the template cannot be filled.
pub fn closed(study: &Study, here: Station) -> Result<String, askama::Error> {
    Page {
        invented: study.label.invented,
        study,
        here,
    }
    .render()
}
