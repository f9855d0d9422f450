//! Links that sign in once. They live in memory and end with the process.

use super::{LINK_LASTS_MS, Token};
use std::collections::BTreeMap;

/// The links that can still be opened: hash of the code, and when it ends.
#[derive(Debug, Default)]
pub struct Links(BTreeMap<[u8; 32], i64>);

impl Links {
    /// Remembers a link that is given out now.
    pub fn add(&mut self, code: &Token, now_ms: i64) {
        self.0.retain(|_, ends_at_ms| now_ms < *ends_at_ms);
        self.0
            .insert(code.hash(), now_ms.saturating_add(LINK_LASTS_MS));
    }

    /// Whether a link can be opened now. Looking does not use it up.
    #[must_use]
    pub fn has(&self, code: &Token, now_ms: i64) -> bool {
        let ends_at_ms = self.0.get(&code.hash());
        ends_at_ms.is_some_and(|ends_at_ms| now_ms < *ends_at_ms)
    }

    /// Uses a link up; whether it could be opened.
    pub fn take(&mut self, code: &Token, now_ms: i64) -> bool {
        let ends_at_ms = self.0.remove(&code.hash());
        ends_at_ms.is_some_and(|ends_at_ms| now_ms < ends_at_ms)
    }

    /// Ends every link.
    pub fn clear(&mut self) {
        self.0.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_opens_once_and_not_after_its_time() {
        let mut links = Links::default();
        let (code, late, unknown) = (
            Token::fresh().unwrap(),
            Token::fresh().unwrap(),
            Token::fresh().unwrap(),
        );
        links.add(&code, 1000);
        links.add(&late, 1000);
        assert!(links.has(&code, 1000 + LINK_LASTS_MS - 1));
        assert!(links.has(&code, 1000), "looking does not use it up");
        assert!(links.take(&code, 1000));
        assert!(!links.has(&code, 1000) && !links.take(&code, 1000));
        assert!(!links.has(&late, 1000 + LINK_LASTS_MS));
        assert!(!links.take(&late, 1000 + LINK_LASTS_MS));
        assert!(!links.take(&unknown, 1000));
        links.add(&code, 1000);
        links.clear();
        assert!(!links.has(&code, 1000));
    }
}
