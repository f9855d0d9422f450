//! Permanent addresses. A release carries its own, so it has to be known what the service is
//! called from outside, whoever asks and through which proxy.

use std::fmt;

/// Scheme and host under which the service is reached from outside: `https://pool.example`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PublicUrl(String);

/// Why a text is no public address.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotPublic {
    /// It does not begin as one.
    #[error("write an address that begins with https://, such as https://pool.example")]
    Scheme,
    /// Plain HTTP beyond this machine.
    #[error(
        "http:// is for this machine alone (127.0.0.1 or localhost); write the https:// address that readers see"
    )]
    Plain,
    /// There is more than scheme and host, or less.
    #[error(
        "write scheme and host alone, with a port where there is one, such as https://pool.example:8443"
    )]
    Form,
}

impl PublicUrl {
    /// Reads an address; a slash at its end is dropped.
    ///
    /// # Errors
    /// [`NotPublic`] with what to write instead.
    pub fn parse(text: &str) -> Result<Self, NotPublic> {
        let (scheme, authority) = text.trim().split_once("://").ok_or(NotPublic::Scheme)?;
        let authority = authority.strip_suffix('/').unwrap_or(authority);
        let is_authority = |byte: u8| byte.is_ascii_alphanumeric() || b".-:[]".contains(&byte);
        if !authority.bytes().all(is_authority) {
            return Err(NotPublic::Form);
        }
        let host = host(authority).ok_or(NotPublic::Form)?;
        match scheme {
            "https" => {}
            "http" if ["127.0.0.1", "localhost", "[::1]"].contains(&host) => {}
            "http" => return Err(NotPublic::Plain),
            _ => return Err(NotPublic::Scheme),
        }
        Ok(Self(format!("{scheme}://{authority}")))
    }

    /// The address as a text, without a slash at its end.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The permanent address of a release.
    #[must_use]
    pub fn release(&self, slug: &str, number: i64) -> String {
        format!("{self}/studies/{slug}/releases/{number}")
    }
}

impl fmt::Display for PublicUrl {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.0)
    }
}

/// The host of an authority whose port, if there is one, is a number.
fn host(authority: &str) -> Option<&str> {
    let host = match authority.rsplit_once(':') {
        Some((host, port)) if !port.ends_with(']') => {
            port.parse::<u16>().ok()?;
            host
        }
        _ => authority,
    };
    let is_name = !host.is_empty() && !host.contains([':', '[', ']']);
    let is_address = host.starts_with('[') && host.ends_with(']');
    (is_name || is_address).then_some(host)
}

/// What the document of a release is called when it is kept as a file.
#[must_use]
pub fn file_name(slug: &str, number: i64) -> String {
    format!("{slug}-release-{number}.json")
}
