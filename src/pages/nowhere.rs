//! What a reader sees at an address where nothing is, or that is no page to open.

use crate::protocol::Study;
use askama::Template;

/// Where somebody has come, and what leads on from there.
#[derive(Clone, Copy, Debug)]
pub struct Nowhere<'a> {
    /// What is the matter.
    pub heading: &'a str,
    /// In a sentence.
    pub words: &'a str,
    /// The study to which the address belongs, where there is one.
    pub study: Option<&'a Study>,
    /// Whether the address is one of the host's.
    pub is_of_host: bool,
}

#[derive(Template)]
#[template(path = "nowhere.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    invented: bool,
    view: Nowhere<'a>,
}

/// The page in place of the one that was looked for.
///
/// # Errors
/// When the template cannot be filled.
pub fn nowhere(view: &Nowhere<'_>) -> Result<String, askama::Error> {
    Page {
        invented: view.study.is_some_and(|study| study.label.invented),
        view: *view,
    }
    .render()
}
