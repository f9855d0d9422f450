//! The `Idempotency-Key` header (draft-ietf-httpapi-idempotency-key-header-07).
//!
//! A string as structured fields have it (RFC 9651, section 3.3.3): between quotation marks, with
//! `\\"` and `\\\\` for the two characters that need it; parameters behind it are not looked at. Many
//! clients send the bare text, so that is taken too, as long as it cannot be read in two ways; both
//! are the same key.

use super::body::only;
use super::problem::Problem;
use crate::wire::problem::ProblemKind;
use actix_web::HttpRequest;
use sfv::{BareItem, Item, Parser};

/// Longest key, in characters.
const LONGEST: usize = 255;

/// The key of a request; `None` when it has none.
pub(super) fn request_key(request: &HttpRequest) -> Result<Option<String>, Problem> {
    only(request, "idempotency-key")?.map_or(Ok(None), |text| {
        read(text).map(Some).ok_or_else(|| {
            Problem::new(
                ProblemKind::BadRequest,
                "The Idempotency-Key must be 1 to 255 characters of ASCII between quotation marks, or bare without spaces, commas, semicolons, quotation marks and backslashes; a UUID serves well.",
            )
        })
    })
}

fn read(text: &str) -> Option<String> {
    let text = text.trim();
    let key = if text.starts_with('"') {
        let item: Item = Parser::new(text).parse().ok()?;
        match item.bare_item {
            BareItem::String(key) => key.as_str().to_owned(),
            _ => return None,
        }
    } else {
        text.bytes().all(is_plain).then(|| text.to_owned())?
    };
    (1..=LONGEST).contains(&key.len()).then_some(key)
}

/// Whether a character stands for itself in a bare key.
const fn is_plain(byte: u8) -> bool {
    byte.is_ascii_graphic() && !matches!(byte, b'"' | b'\\' | b',' | b';')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quoted_string_and_the_bare_text_are_one_key() {
        let uuid = "8e03978e-40d5-43e8-bc93-6894a57f9324";
        assert_eq!(read(uuid).as_deref(), Some(uuid));
        assert_eq!(read(&format!("\"{uuid}\"")).as_deref(), Some(uuid));
        assert_eq!(read(&format!(" \"{uuid}\";a=1 ")).as_deref(), Some(uuid));
        assert_eq!(read(r#""two words""#).as_deref(), Some("two words"));
        assert_eq!(read(r#""a \"b\" \\c""#).as_deref(), Some(r#"a "b" \c"#));
    }

    #[test]
    fn what_is_no_string_is_no_key() {
        let long = "k".repeat(LONGEST + 1);
        let quoted = format!("\"{long}\"");
        for text in [
            "",
            " ",
            "\"\"",
            "\"",
            "\"a",
            "a\"",
            "\"a\"b",
            "\"a\", \"b\"",
            r#""a\b""#,
            "two words",
            "a,b",
            "a;b",
            r"a\b",
            "\"\u{fc}\"",
            &long,
            &quoted,
        ] {
            assert_eq!(read(text), None, "{text}");
        }
        assert!(read(&long[1..]).is_some());
    }
}
