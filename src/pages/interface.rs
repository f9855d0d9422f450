//! The page of the data interface, made from its description.

use crate::wire::openapi::{Described, Outline};
use askama::Template;

/// What stands for this service in commands while nobody has said what it is called. It is no
/// address, so that a command copied as it stands fails instead of asking another service.
const UNTOLD: &str = "https://YOUR-HOST";

#[derive(Template)]
#[template(path = "interface.html", config = "src/pages/askama.toml")]
struct Interface<'a> {
    invented: bool,
    outline: &'a Outline,
    address: &'a str,
    is_told: bool,
}

/// The page. `address` is what readers call the service, once that is known.
///
/// # Errors
/// When the template cannot be filled.
pub fn interface(outline: &Outline, address: Option<&str>) -> Result<String, askama::Error> {
    Interface {
        invented: false,
        outline,
        address: address.unwrap_or(UNTOLD),
        is_told: address.is_some(),
    }
    .render()
}

/// Whether a receipt goes with it, in words.
fn receipt_words(operation: &Described) -> &'static str {
    match operation.receipt {
        None => "",
        Some(true) => "Needs a receipt.",
        Some(false) => "A receipt may go with it.",
    }
}
