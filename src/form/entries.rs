//! What was typed.

use super::fields::{Kind, Spot, find};
use super::steps::{Order, Step};
use super::typed::Typed;
use super::{MOST_CLASSES, asked_classes};
use crate::protocol::Study;
use crate::vocabulary::{Arm, Direction, ShotClass, Stroke};

/// Longest text that is kept of a field for numbers, words and ticks. No accepted one is half as
/// long.
const LONGEST: usize = 60;

/// Longest that is kept of a field for text: enough of a note that is too long to say so.
const LONGEST_TEXT: usize = 2000;

/// Every field that was filled, by name, as it was typed. Names that the form does not know are
/// left out, and so are spaces around a text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Entries(Typed);

impl Entries {
    /// The entries of a form. Where a name stands twice, the later one holds.
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

    /// Whether a field was left blank.
    #[must_use]
    pub fn is_blank(&self, name: &str) -> bool {
        self.get(name).is_empty()
    }

    /// Fills a field of the form, or empties it.
    pub fn set(&mut self, name: &str, text: &str) {
        let Some(spot) = find(name) else { return };
        let longest = match spot.field.kind {
            Kind::Text => LONGEST_TEXT,
            Kind::Whole | Kind::Decimal | Kind::Choice(_) | Kind::Tick => LONGEST,
        };
        self.0.set(name, text, longest);
    }

    /// Every filled field with its text, by name.
    pub fn filled(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.filled()
    }

    /// What was said about the order of play.
    #[must_use]
    pub fn order(&self) -> Option<Order> {
        Order::from_code(self.get("order"))
    }

    /// The arms of the sessions. Two, of which nothing is known, as long as no order is chosen.
    #[must_use]
    pub fn arms(&self) -> Vec<Option<Arm>> {
        match self.order() {
            Some(order) => order.arms().iter().copied().map(Some).collect(),
            None => vec![None; 2],
        }
    }

    /// The steps that there are.
    #[must_use]
    pub fn steps(&self) -> Vec<Step> {
        Step::all_with(self.arms().len())
    }

    /// A class of the form by its number from 1: one that the study asks for, or one that the
    /// player has chosen.
    #[must_use]
    pub fn class(&self, number: usize, study: &Study) -> Option<ShotClass> {
        let asked = number
            .checked_sub(1)
            .and_then(|place| asked_classes(study).get(place).copied());
        asked.or_else(|| {
            Some(ShotClass {
                stroke: Stroke::from_code(self.get(&format!("c{number}_stroke")))?,
                direction: Direction::from_code(self.get(&format!("c{number}_direction")))?,
            })
        })
    }

    /// The numbers of the classes that the study asks for or the player has begun to choose.
    #[must_use]
    pub fn used_classes(&self, study: &Study) -> Vec<usize> {
        let n_asked = asked_classes(study).len();
        let begun = |number: usize| {
            !self.is_blank(&format!("c{number}_stroke"))
                || !self.is_blank(&format!("c{number}_direction"))
        };
        (1..=MOST_CLASSES)
            .filter(|number| *number <= n_asked || begun(*number))
            .collect()
    }

    /// Fills what a later session usually shares with the first one and was left blank.
    pub fn take_over_from_first(&mut self, session: usize) {
        for spot in super::spots() {
            if spot.session == session && spot.field.same_again {
                let first = Spot { session: 1, ..spot };
                let text = self.get(&first.name()).to_owned();
                if self.is_blank(&spot.name()) && !text.is_empty() {
                    self.set(&spot.name(), &text);
                }
            }
        }
    }

    /// Takes back every consent, because it was given to another wording.
    pub fn forget_consent(&mut self, current_version: &str) {
        for name in ["consent_pooling", "consent_rows", "adult"] {
            self.0.remove(name);
        }
        self.set("consent_version", current_version);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_fields_of_the_form_are_kept_trimmed_and_bounded() {
        let long = "1".repeat(10_000);
        let entries = Entries::of([
            ("looser_mains", "  48,5 "),
            ("admin", "yes"),
            ("s5_minutes", "20"),
            ("s1_c1_hit", long.as_str()),
            ("note", "a\r\nb"),
            ("tighter_mains", "   "),
        ]);
        assert_eq!(entries.get("looser_mains"), "48,5");
        assert_eq!(entries.get("s1_c1_hit").len(), LONGEST);
        assert_eq!(entries.get("note"), "a\nb");
        let names: Vec<&str> = entries.filled().map(|(name, _)| name).collect();
        assert_eq!(names, ["looser_mains", "note", "s1_c1_hit"]);
    }

    #[test]
    fn a_later_session_takes_over_what_is_blank_and_no_figure() {
        let mut entries = Entries::of([
            ("s1_minutes", "20"),
            ("s1_warm_up", "10"),
            ("s1_knew", "yes"),
            ("s1_c1_hit", "60"),
            ("s1_partner_speed", "80"),
            ("s2_minutes", "15"),
        ]);
        entries.take_over_from_first(2);
        assert_eq!(entries.get("s2_minutes"), "15");
        assert_eq!(entries.get("s2_warm_up"), "10");
        assert_eq!(entries.get("s2_knew"), "yes");
        assert!(entries.is_blank("s2_c1_hit"));
        assert!(entries.is_blank("s2_partner_speed"));
    }
}
