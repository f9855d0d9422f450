//! The page of the data interface, made from its description.

use crate::wire::openapi::{Described, Outline};
use askama::Template;

/// What stands for this service in commands while nobody has said what it is called.
const UNTOLD: &str = "http://127.0.0.1:8080";

#[derive(Template)]
#[template(path = "interface.html", config = "src/pages/askama.toml")]
struct Interface<'a> {
    invented: bool,
    outline: &'a Outline,
    address: &'a str,
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
