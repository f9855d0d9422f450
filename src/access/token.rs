//! Random tokens: what a signed-in browser holds, what a one-time link carries, and what a form of
//! the host's pages has to bring along.

use crate::receipt::sha256;
use data_encoding::BASE64URL_NOPAD;
use std::io;
use subtle::ConstantTimeEq;

/// Bytes of a token.
const LENGTH: usize = 32;

/// 256 random bits. Whoever has them is let in, so only their hash is kept.
pub struct Token([u8; LENGTH]);

impl std::fmt::Debug for Token {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("Token(..)")
    }
}

impl Token {
    /// A fresh one from the operating system.
    ///
    /// # Errors
    /// When the system has no randomness to give.
    pub fn fresh() -> io::Result<Self> {
        let mut bytes = [0; LENGTH];
        getrandom::fill(&mut bytes).map_err(io::Error::other)?;
        Ok(Self(bytes))
    }

    /// Reads a token as it was sent; `None` when it is none.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let bytes = BASE64URL_NOPAD.decode(text.as_bytes()).ok()?;
        bytes.try_into().ok().map(Self)
    }

    /// As it is sent: 43 characters of Base64 for addresses (RFC 4648, section 5).
    #[must_use]
    pub fn reveal(&self) -> String {
        BASE64URL_NOPAD.encode(&self.0)
    }

    /// What is kept of it.
    #[must_use]
    pub fn hash(&self) -> [u8; LENGTH] {
        sha256(&[&self.0])
    }
}

/// What every form of one sign-in brings along, so that no other site can send one in its name.
#[derive(Clone)]
pub struct FormToken(String);

impl std::fmt::Debug for FormToken {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("FormToken(..)")
    }
}

impl FormToken {
    /// The token made of these bytes.
    #[must_use]
    pub fn new(bytes: [u8; LENGTH]) -> Self {
        Self(BASE64URL_NOPAD.encode(&bytes))
    }

    /// As it stands in a form.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.0
    }

    /// Whether a form brought this token. The time it takes tells nothing of how much of a guess
    /// was right.
    #[must_use]
    pub fn is(&self, sent: &str) -> bool {
        self.0.as_bytes().ct_eq(sent.as_bytes()).into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_reads_back_and_no_other_text_does() {
        let token = Token::fresh().unwrap();
        let sent = token.reveal();
        assert_eq!(sent.len(), 43);
        assert_eq!(Token::parse(&sent).unwrap().hash(), token.hash());
        assert_ne!(Token::fresh().unwrap().hash(), token.hash());
        for text in [
            "",
            &sent[1..],
            &format!("{sent}A"),
            &format!("{}=", &sent[1..]),
        ] {
            assert!(Token::parse(text).is_none(), "{text}");
        }
    }

    #[test]
    fn a_form_token_is_itself_and_nothing_else() {
        let token = FormToken::new([7; 32]);
        assert!(token.is(token.text()));
        for sent in ["", &token.text()[1..], FormToken::new([8; 32]).text()] {
            assert!(!token.is(sent), "{sent}");
        }
    }

    #[test]
    fn no_debug_print_shows_one() {
        let shown = format!(
            "{:?} {:?}",
            Token::fresh().unwrap(),
            FormToken::new([7; 32])
        );
        assert_eq!(shown, "Token(..) FormToken(..)");
    }
}
