//! What a reader sees whose network has asked as often as it may.

use crate::numbers::counted;
use askama::Template;

#[derive(Template)]
#[template(path = "too_many.html", config = "src/pages/askama.toml")]
struct Page {
    invented: bool,
    sends: bool,
    wait: String,
}

/// The page in place of the one that was asked for, or of the answer to a form. `seconds` is when
/// there may be another request.
///
/// # Errors
/// When the template cannot be filled.
pub fn too_many(seconds: u32, sends: bool) -> Result<String, askama::Error> {
    Page {
        invented: false,
        sends,
        wait: counted(seconds.into(), "second", "seconds"),
    }
    .render()
}
