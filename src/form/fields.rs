//! What a field is, and every place at which one stands.

use super::steps::{MOST_SESSIONS, Step};
use super::words::Choice;
use super::{FIELDS, MOST_CLASSES};

/// What a field takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A whole number.
    Whole,
    /// A number, with a point or a comma before its decimals.
    Decimal,
    /// One word of a list.
    Choice(&'static [Choice]),
    /// Yes, or nothing.
    Tick,
    /// Any text.
    Text,
}

/// How often a field stands in the form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Repeat {
    /// Once, in this step.
    Once(Step),
    /// Once for each class, in the step of the device: what the class is.
    ClassChoice,
    /// In every session.
    Session,
    /// In every session, for each class.
    Class,
}

/// How a field is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shown {
    /// One line; a list to open where the kind is a choice.
    Line,
    /// All words of a choice at once.
    Radios,
    /// Several lines.
    Area,
    /// Not at all; it only travels along.
    Hidden,
    /// In words of its own, beside the rest.
    Apart,
}

/// Under which heading a field is folded away.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fold {
    /// It is not.
    Open,
    /// Under this one.
    Under(&'static str),
}

/// What a number is given in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// None, or said in the label.
    None,
    /// Always this one.
    Fixed(&'static str),
    /// The unit of tension that was chosen.
    Tension,
    /// The unit of speed that was chosen.
    Speed,
    /// Counts or percent, whichever was chosen.
    Share,
}

impl Unit {
    /// The field that decides on the unit.
    #[must_use]
    pub const fn field(self) -> Option<&'static str> {
        match self {
            Self::None | Self::Fixed(_) => None,
            Self::Tension => Some("tension_unit"),
            Self::Speed => Some("speed_unit"),
            Self::Share => Some("shares_as"),
        }
    }
}

/// One field of the form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Field {
    /// The last part of its name.
    pub stem: &'static str,
    /// How often it stands there.
    pub repeat: Repeat,
    /// What it takes.
    pub kind: Kind,
    /// Where it goes: a path of the document, of its session or of its shot line. Empty when more
    /// than one place is made from it, or none.
    pub place: &'static str,
    /// What it is called.
    pub label: &'static str,
    /// What helps to fill it.
    pub hint: &'static str,
    /// What its number is given in.
    pub unit: Unit,
    /// How it is shown.
    pub shown: Shown,
    /// Whether it is folded away.
    pub fold: Fold,
    /// Whether it is usually the same in every session.
    pub same_again: bool,
}

impl Field {
    pub(super) const fn new(
        repeat: Repeat,
        stem: &'static str,
        kind: Kind,
        place: &'static str,
        label: &'static str,
    ) -> Self {
        Self {
            stem,
            repeat,
            kind,
            place,
            label,
            hint: "",
            unit: Unit::None,
            shown: Shown::Line,
            fold: Fold::Open,
            same_again: false,
        }
    }

    pub(super) const fn hint(self, hint: &'static str) -> Self {
        Self { hint, ..self }
    }

    pub(super) const fn unit(self, unit: Unit) -> Self {
        Self { unit, ..self }
    }

    pub(super) const fn shown(self, shown: Shown) -> Self {
        Self { shown, ..self }
    }

    pub(super) const fn under(self, heading: &'static str) -> Self {
        Self {
            fold: Fold::Under(heading),
            ..self
        }
    }

    pub(super) const fn same_again(self) -> Self {
        Self {
            same_again: true,
            ..self
        }
    }
}

/// A place at which a field stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spot {
    /// The field.
    pub field: &'static Field,
    /// The session, from 1; 0 for a field that stands once.
    pub session: usize,
    /// The class, from 1; 0 for a field that is not of a class.
    pub class: usize,
}

impl Spot {
    /// The field's name at this place.
    #[must_use]
    pub fn name(&self) -> String {
        let Self {
            field,
            session,
            class,
        } = self;
        let stem = field.stem;
        match field.repeat {
            Repeat::Once(_) => stem.to_owned(),
            Repeat::ClassChoice => format!("c{class}_{stem}"),
            Repeat::Session => format!("s{session}_{stem}"),
            Repeat::Class => format!("s{session}_c{class}_{stem}"),
        }
    }

    /// The step that it stands in.
    #[must_use]
    pub fn step(&self) -> Step {
        match self.field.repeat {
            Repeat::Once(step) => step,
            Repeat::ClassChoice => Step::Device,
            Repeat::Session | Repeat::Class => {
                Step::of_session(self.session).unwrap_or(Step::First)
            }
        }
    }
}

/// The field with this name, at its place; `None` when the form has none.
#[must_use]
pub fn find(name: &str) -> Option<Spot> {
    let (session, rest) = numbered(name, 's', MOST_SESSIONS);
    let (class, stem) = numbered(rest, 'c', MOST_CLASSES);
    FIELDS
        .iter()
        .map(|field| Spot {
            field,
            session,
            class,
        })
        .find(|spot| {
            let fits = match spot.field.repeat {
                Repeat::Once(_) => session == 0 && class == 0,
                Repeat::ClassChoice => session == 0 && class != 0,
                Repeat::Session => session != 0 && class == 0,
                Repeat::Class => session != 0 && class != 0,
            };
            fits && spot.field.stem == stem
        })
}

/// A name's leading number after a letter, such as `s2_`, and the rest; 0 when it has none.
fn numbered(name: &str, letter: char, most: usize) -> (usize, &str) {
    let read = || {
        let (digit, rest) = name.strip_prefix(letter)?.split_once('_')?;
        let number = digit.parse().ok()?;
        let fits = digit.len() == 1 && (1..=most).contains(&number);
        fits.then_some((number, rest))
    };
    read().unwrap_or((0, name))
}

/// Every field at every place, in the order of the form.
pub fn spots() -> impl Iterator<Item = Spot> {
    Step::ALL.iter().flat_map(|step| spots_of(*step))
}

/// Every field of a step at its places, in the order of the table.
pub fn spots_of(step: Step) -> impl Iterator<Item = Spot> + Clone {
    let session = step.session().unwrap_or(0);
    FIELDS.iter().flat_map(move |field| {
        let classes = match field.repeat {
            Repeat::Once(of) if of == step => 0..=0,
            Repeat::ClassChoice if step == Step::Device => 1..=MOST_CLASSES,
            Repeat::Session if session != 0 => 0..=0,
            Repeat::Class if session != 0 => 1..=MOST_CLASSES,
            #[expect(
                clippy::reversed_empty_ranges,
                reason = "a field of another step has no place in this one"
            )]
            _ => 1..=0,
        };
        classes.map(move |class| Spot {
            field,
            session,
            class,
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_name_is_unlike_the_others_and_is_found_again() {
        let mut names = BTreeSet::new();
        for spot in spots() {
            let name = spot.name();
            assert_eq!(find(&name), Some(spot), "{name}");
            assert!(names.insert(name));
        }
        assert!(150 < names.len(), "{}", names.len());
        for unknown in [
            "s0_minutes",
            "s5_minutes",
            "s11_minutes",
            "minutes",
            "c1_hit",
            "s1_order",
        ] {
            assert_eq!(find(unknown), None, "{unknown}");
        }
    }
}
