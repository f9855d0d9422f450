//! Whom to tell of a hole in the service: `security.txt` (RFC 9116).

use std::fmt::Write;

/// What the host wants told, besides until when it holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SecurityNotice {
    /// Whom to tell, the preferred way first; at least one.
    pub contacts: Vec<ContactUri>,
    /// What the host promises to whoever tells.
    pub policy: Option<ContactUri>,
    /// Language tags with commas between.
    pub languages: String,
    /// When it ceases to hold, in milliseconds since the Unix epoch; `None` for some months after
    /// it is read.
    pub expires_ms: Option<i64>,
}

/// An address that may stand in the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ContactUri(String);

/// Why a text is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotContact {
    /// Another scheme, or none.
    #[error(
        "write an address that begins with mailto:, https:// or tel:, such as mailto:security@pool.example"
    )]
    Scheme,
    /// Something that no address has.
    #[error("write an address in visible ASCII without spaces; percent-encode what else it has")]
    Form,
}

impl ContactUri {
    /// Reads an address by one of these ways (RFC 9116, section 2.5.3: `https`, never `http`).
    ///
    /// # Errors
    /// [`NotContact`] with what to write instead.
    pub fn parse(text: &str) -> Result<Self, NotContact> {
        let text = text.trim();
        let schemes = ["mailto:", "https://", "tel:"];
        let rest = schemes.iter().find_map(|scheme| text.strip_prefix(scheme));
        let rest = rest.ok_or(NotContact::Scheme)?;
        if rest.is_empty() || !rest.bytes().all(|byte| byte.is_ascii_graphic()) {
            return Err(NotContact::Form);
        }
        Ok(Self(text.to_owned()))
    }
}

impl SecurityNotice {
    /// The file. `expires` is a date and time as RFC 3339 has it, `origin` what readers call the
    /// service.
    #[must_use]
    pub fn text(&self, expires: &str, origin: Option<&str>) -> String {
        let mut text = String::new();
        let mut line = |name: &str, value: &str| {
            // Writing to a text does not fail.
            let _ = writeln!(text, "{name}: {value}");
        };
        for contact in &self.contacts {
            line("Contact", &contact.0);
        }
        line("Expires", expires);
        line("Preferred-Languages", &self.languages);
        if let Some(origin) = origin {
            line("Canonical", &format!("{origin}{PATH}"));
        }
        if let Some(policy) = &self.policy {
            line("Policy", &policy.0);
        }
        text
    }
}

/// Where the file is (RFC 9116, section 3).
pub const PATH: &str = "/.well-known/security.txt";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_those_that_a_reader_can_use_and_no_line_of_their_own() {
        for text in [
            "mailto:security@pool.example",
            "https://pool.example/security",
            "tel:+1-201-555-0123",
            " mailto:a@b.example ",
        ] {
            assert!(ContactUri::parse(text).is_ok(), "{text}");
        }
        for (text, wrong) in [
            ("security@pool.example", NotContact::Scheme),
            ("http://pool.example", NotContact::Scheme),
            ("javascript:alert(1)", NotContact::Scheme),
            ("data:text/html,x", NotContact::Scheme),
            ("", NotContact::Scheme),
            ("mailto:", NotContact::Form),
            (
                "mailto:a@b.example\nContact: mailto:c@d.example",
                NotContact::Form,
            ),
            ("https://pool.example/a b", NotContact::Form),
            ("mailto:ä@b.example", NotContact::Form),
        ] {
            assert_eq!(ContactUri::parse(text), Err(wrong), "{text}");
        }
    }

    #[test]
    fn the_file_has_its_lines_in_order() {
        let uri = |text| ContactUri::parse(text).unwrap();
        let mut notice = SecurityNotice {
            contacts: vec![uri("mailto:a@pool.example"), uri("tel:+1-201-555-0123")],
            policy: Some(uri("https://pool.example/policy")),
            languages: "en, de".to_owned(),
            expires_ms: None,
        };
        assert_eq!(
            notice.text("2027-01-01T00:00:00Z", Some("https://pool.example")),
            "Contact: mailto:a@pool.example\nContact: tel:+1-201-555-0123\n\
             Expires: 2027-01-01T00:00:00Z\nPreferred-Languages: en, de\n\
             Canonical: https://pool.example/.well-known/security.txt\n\
             Policy: https://pool.example/policy\n"
        );
        notice.policy = None;
        notice.contacts.truncate(1);
        assert_eq!(
            notice.text("2027-01-01T00:00:00Z", None),
            "Contact: mailto:a@pool.example\nExpires: 2027-01-01T00:00:00Z\n\
             Preferred-Languages: en, de\n"
        );
    }
}
