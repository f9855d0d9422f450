//! Which field a place of the document came from.

use crate::form::{Entries, FieldFault, MOST_CLASSES, Step, find, spots};
use crate::intake::fault::{Fault, FaultCode, Flag, FlagCode};
use std::collections::{BTreeMap, BTreeSet};

/// The fields of a document's places, by JSON Pointer.
#[derive(Clone, Debug, Default)]
pub struct Places {
    fields: BTreeMap<String, String>,
    asked: Vec<Fault>,
    asked_at: BTreeMap<String, String>,
}

impl Places {
    /// A place that a field makes, whether or not anything stands there.
    pub(super) fn put(&mut self, pointer: impl Into<String>, field: impl Into<String>) {
        self.fields.insert(pointer.into(), field.into());
    }

    /// A fault that the document cannot show, at its field.
    pub(super) fn ask(&mut self, fault: Fault, field: &str) {
        self.asked_at
            .insert(fault.sentence.clone(), field.to_owned());
        self.asked.push(fault);
    }

    /// What was not said and the document cannot show.
    #[must_use]
    pub fn asked(&self) -> &[Fault] {
        &self.asked
    }

    /// The field at which a fault is to be mended; `None` when it is not one of the form.
    #[must_use]
    pub fn field(&self, fault: &Fault, entries: &Entries) -> Option<String> {
        if let Some(field) = self.asked_at.get(&fault.sentence) {
            return Some(field.clone());
        }
        match fault.code {
            FaultCode::LooserNotLooser => return Some("tighter_mains".to_owned()),
            FaultCode::NothingToCompare => return Some(untimed(entries)),
            _ => {}
        }
        self.field_at(&fault.pointer)
    }

    /// The field that a place came from, or the first one around it.
    fn field_at(&self, mut pointer: &str) -> Option<String> {
        loop {
            if let Some(field) = self.fields.get(pointer).or_else(|| self.first_in(pointer)) {
                return Some(field.clone());
            }
            pointer = pointer.rsplit_once('/')?.0;
            if pointer.is_empty() {
                return None;
            }
        }
    }

    /// The first field inside an object.
    fn first_in(&self, pointer: &str) -> Option<&String> {
        let inside = format!("{pointer}/");
        if pointer.is_empty() {
            return None;
        }
        self.fields
            .range(inside.clone()..)
            .next()
            .filter(|(place, _)| place.starts_with(&inside))
            .map(|(_, field)| field)
    }

    /// Faults at their fields, in the order of the form, each said once.
    pub(super) fn at_fields(&self, faults: Vec<Fault>, entries: &Entries) -> Vec<FieldFault> {
        in_order(faults.into_iter().map(|fault| {
            let field = self.field(&fault, entries);
            at_field(field, fault.pointer, fault.code.code(), fault.sentence)
        }))
    }

    /// Flags at their fields, in the order of the form, each said once.
    pub(super) fn flags_at_fields(&self, flags: Vec<Flag>) -> Vec<FieldFault> {
        in_order(flags.into_iter().map(|flag| {
            let field = match flag.code {
                // As where the looser bed is not looser: the gap ends at the second tension.
                FlagCode::GapUnderProtocol => Some("tighter_mains".to_owned()),
                _ => self.field_at(&flag.pointer),
            };
            at_field(field, flag.pointer, flag.code.code(), flag.sentence)
        }))
    }
}

/// In the order of the form, each said once: sessions of one arm share their tension, so they share
/// what is said of it too.
fn in_order(told: impl Iterator<Item = FieldFault>) -> Vec<FieldFault> {
    let order: BTreeMap<String, usize> = spots().map(|spot| spot.name()).zip(0..).collect();
    let mut said = BTreeSet::new();
    let mut once: Vec<FieldFault> = told
        .filter(|one| {
            said.insert(match &one.field {
                Some(field) => (field.clone(), one.code.to_owned()),
                None => (String::new(), one.sentence.clone()),
            })
        })
        .collect();
    once.sort_by_key(|one| {
        let place = one.field.as_ref().and_then(|name| order.get(name));
        place.copied().unwrap_or(usize::MAX)
    });
    once
}

fn at_field(
    field: Option<String>,
    pointer: String,
    code: &'static str,
    sentence: String,
) -> FieldFault {
    let spot = field.as_deref().and_then(find);
    FieldFault {
        step: spot.map_or(Step::Send, |spot| spot.step()),
        field,
        pointer,
        code,
        sentence,
    }
}

/// Where a mean speed is missing for a comparison: of the first class that one session has it for,
/// or of the first class at all.
fn untimed(entries: &Entries) -> String {
    let n_sessions = entries.arms().len();
    let name = |session: usize, class: usize| format!("s{session}_c{class}_mean");
    let class = (1..=MOST_CLASSES)
        .find(|class| (1..=n_sessions).any(|session| !entries.is_blank(&name(session, *class))))
        .unwrap_or(1);
    let blank = |session: &usize| entries.is_blank(&name(*session, class));
    let session = (1..=n_sessions).find(blank).unwrap_or(n_sessions);
    name(session, class)
}
