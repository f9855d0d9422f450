//! What a host typed into the form of a study.

use super::names;
use crate::form::typed::Typed;

/// Longest that is kept of a field, in characters: more than any accepted text has, so that one
/// that is too long is refused as such.
const LONGEST: usize = 6000;

/// What was typed into the form, by field.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StudyEntries(Typed);

impl StudyEntries {
    /// The entries of a form. Names that the form does not know are left out, and so are spaces
    /// around a text.
    #[must_use]
    pub fn of<'a>(pairs: impl IntoIterator<Item = (&'a str, &'a str)>) -> Self {
        let mut entries = Self::default();
        for (name, text) in pairs {
            entries.set(name, text);
        }
        entries
    }

    /// What stands in a field; nothing when it was left blank.
    #[must_use]
    pub fn get(&self, name: &str) -> &str {
        self.0.get(name)
    }

    /// Fills a field of the form, or empties it.
    pub fn set(&mut self, name: &str, text: &str) {
        if names().any(|known| known == name) {
            self.0.set(name, text, LONGEST);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_field_has_a_name_of_its_own_and_unknown_ones_are_left_out() {
        let all: Vec<String> = names().collect();
        let different: BTreeSet<&String> = all.iter().collect();
        assert_eq!(all.len(), different.len());
        let entries = StudyEntries::of([
            ("question", "  Faster? "),
            ("outcome_1", "speed"),
            ("outcome_4", "speed"),
            ("form_token", "x"),
            ("contact", "   "),
            ("caution", "a\r\nb"),
        ]);
        assert_eq!(entries.get("question"), "Faster?");
        assert_eq!(entries.get("caution"), "a\nb");
        assert_eq!(entries.0.filled().count(), 3);
    }
}
