//! Texts by the name of their field, as every form keeps what was typed.

use std::collections::BTreeMap;

/// What was typed into the fields that were filled.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Typed(BTreeMap<String, String>);

impl Typed {
    /// What stands in a field; nothing when it was left blank.
    pub(super) fn get(&self, name: &str) -> &str {
        self.0.get(name).map_or("", String::as_str)
    }

    /// Fills a field with so many characters of a text at most, without spaces around it, or empties
    /// the field.
    pub(super) fn set(&mut self, name: &str, text: &str, longest: usize) {
        let text = text.replace("\r\n", "\n");
        let kept: String = text.trim().chars().take(longest).collect();
        if kept.is_empty() {
            self.remove(name);
        } else {
            self.0.insert(name.to_owned(), kept);
        }
    }

    /// Empties a field.
    pub(super) fn remove(&mut self, name: &str) {
        self.0.remove(name);
    }

    /// Every filled field with its text, by name.
    pub(super) fn filled(&self) -> impl Iterator<Item = (&str, &str)> {
        let filled = self.0.iter();
        filled.map(|(name, text)| (name.as_str(), text.as_str()))
    }
}
