//! The options of `serve` that say whom to tell of a hole in the service.

use crate::clock;
use crate::wire::security_txt::{ContactUri, NotContact, SecurityNotice};
use clap::Args;

#[derive(Debug, Args)]
pub(super) struct Security {
    /// Whom to tell of a hole in the service, as mailto:, https:// or tel:; served as /.well-known/security.txt. May be repeated, the preferred way first
    #[arg(long = "security-contact", env = "TAUTPOOL_SECURITY_CONTACT", value_name = "URI", value_parser = uri)]
    contacts: Vec<ContactUri>,
    /// The last day on which that holds, as YYYY-MM-DD; left out, half a year from whenever it is read
    #[arg(
        long = "security-expires",
        env = "TAUTPOOL_SECURITY_EXPIRES",
        value_name = "DAY",
        requires = "contacts"
    )]
    expires: Option<String>,
    /// Where the host says what becomes of a report
    #[arg(long = "security-policy", env = "TAUTPOOL_SECURITY_POLICY", value_name = "URI", value_parser = uri, requires = "contacts")]
    policy: Option<ContactUri>,
    /// Languages in which a report may be written, as tags with commas between
    #[arg(long = "security-languages", env = "TAUTPOOL_SECURITY_LANGUAGES", value_name = "TAGS", default_value = "en", value_parser = languages)]
    languages: String,
}

fn uri(text: &str) -> Result<ContactUri, NotContact> {
    ContactUri::parse(text)
}

/// Language tags as far as their letters go (RFC 5646, section 2.1): parts of one to eight.
fn languages(text: &str) -> Result<String, &'static str> {
    let is_part = |part: &str| {
        (1..=8).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_alphanumeric())
    };
    let tags: Vec<&str> = text.split(',').map(str::trim).collect();
    if tags.iter().all(|tag| tag.split('-').all(is_part)) {
        Ok(tags.join(", "))
    } else {
        Err("write language tags with commas between, such as en,pt-BR")
    }
}

impl Security {
    /// What is to be told; `None` when nobody is named.
    pub(super) fn notice(&self) -> Result<Option<SecurityNotice>, String> {
        let Some(day) = &self.expires else {
            return Ok(self.told(None));
        };
        let end_ms = clock::end_of_day(day)
            .ok_or_else(|| format!("--security-expires {day}: write a day as YYYY-MM-DD"))?;
        if end_ms < clock::now_ms() {
            return Err(format!(
                "--security-expires {day}: that day is over; write one that is to come"
            ));
        }
        Ok(self.told(Some(end_ms)))
    }

    fn told(&self, expires_ms: Option<i64>) -> Option<SecurityNotice> {
        (!self.contacts.is_empty()).then(|| SecurityNotice {
            contacts: self.contacts.clone(),
            policy: self.policy.clone(),
            languages: self.languages.clone(),
            expires_ms,
        })
    }
}
