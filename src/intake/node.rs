//! Reading a JSON document that may be wrong in places.
//!
//! A [`Node`] is a place in the document: something stands there, nothing does, or what stands
//! there is already at fault. Asking for a value of some kind answers `None` in the last two
//! cases, so a rule needs no case for malformed input and no slip is faulted twice.

use super::fault::{Fault, FaultCode};
use super::json::pointer_to;
use crate::units::Hundredths;
use serde_json::Value;
use std::cell::RefCell;
use std::collections::BTreeSet;

/// A document with the places that are already at fault.
pub(super) struct Document<'a> {
    root: &'a Value,
    spoiled: RefCell<BTreeSet<String>>,
    miscounted: BTreeSet<String>,
    misnamed: BTreeSet<String>,
}

/// What stands at a place.
#[derive(Clone, Copy)]
enum Found<'a> {
    Value(&'a Value),
    Nothing,
    AtFault,
}

/// A place in a document.
#[derive(Clone)]
pub(super) struct Node<'a> {
    found: Found<'a>,
    pointer: String,
    document: &'a Document<'a>,
}

impl<'a> Document<'a> {
    /// A document with the faults that its schema found. A list with too few or too many entries
    /// can still be read entry by entry.
    pub(super) fn new(root: &'a Value, faults: &[Fault]) -> Self {
        let miscounts =
            |fault: &&Fault| matches!(fault.code, FaultCode::TooFew | FaultCode::TooMany);
        let (miscounted, spoiled): (Vec<&Fault>, Vec<&Fault>) = faults.iter().partition(miscounts);
        let pointers =
            |faults: Vec<&Fault>| faults.iter().map(|fault| fault.pointer.clone()).collect();
        let misnamed = faults
            .iter()
            .filter(|fault| fault.code == FaultCode::UnknownField)
            .filter_map(|fault| Some(fault.pointer.rsplit_once('/')?.0.to_owned()));
        Self {
            root,
            misnamed: misnamed.collect(),
            spoiled: RefCell::new(pointers(spoiled)),
            miscounted: pointers(miscounted),
        }
    }

    /// A field of the document.
    pub(super) fn field(&'a self, name: &str) -> Node<'a> {
        let at_fault = self.spoiled.borrow().contains("");
        let root = Node {
            found: if at_fault {
                Found::AtFault
            } else {
                Found::Value(self.root)
            },
            pointer: String::new(),
            document: self,
        };
        root.field(name)
    }
}

impl<'a> Node<'a> {
    fn inside(&self, token: &str, value: Option<&'a Value>) -> Self {
        let pointer = pointer_to(&self.pointer, token);
        let at_fault = self.is_at_fault() || self.document.spoiled.borrow().contains(&pointer);
        let found = match value {
            _ if at_fault => Found::AtFault,
            Some(value) => Found::Value(value),
            None => Found::Nothing,
        };
        Self {
            found,
            pointer,
            document: self.document,
        }
    }

    /// What stands here, as it is.
    pub(super) const fn value(&self) -> Option<&'a Value> {
        match self.found {
            Found::Value(value) => Some(value),
            Found::Nothing | Found::AtFault => None,
        }
    }

    /// The field with this name.
    pub(super) fn field(&self, name: &str) -> Self {
        let fields = self.value().and_then(Value::as_object);
        self.inside(name, fields.and_then(|fields| fields.get(name)))
    }

    /// The items of an array; none when it is not an array.
    pub(super) fn items(&self) -> Vec<Self> {
        let items = self.value().and_then(Value::as_array);
        items
            .into_iter()
            .flatten()
            .enumerate()
            .map(|(place, item)| self.inside(&place.to_string(), Some(item)))
            .collect()
    }

    /// Whether something readable stands here.
    pub(super) const fn is_present(&self) -> bool {
        matches!(self.found, Found::Value(_))
    }

    /// Whether nothing stands here, which is not the same as something at fault.
    pub(super) const fn is_absent(&self) -> bool {
        matches!(self.found, Found::Nothing)
    }

    /// Whether what stands here, or around it, is already at fault.
    pub(super) const fn is_at_fault(&self) -> bool {
        matches!(self.found, Found::AtFault)
    }

    /// Whether the schema found too few or too many entries in this list.
    pub(super) fn is_miscounted(&self) -> bool {
        self.document.miscounted.contains(&self.pointer)
    }

    /// Whether a field of this object has a name that nobody knows, so that a field which seems
    /// absent may stand there misspelt.
    pub(super) fn is_misnamed(&self) -> bool {
        self.document.misnamed.contains(&self.pointer)
    }

    /// From now on nothing is read from this place, if it is a single value: it was found at
    /// fault. A list or object can still be read in its parts.
    pub(super) fn spoil(&self) {
        if self
            .value()
            .is_some_and(|value| !value.is_array() && !value.is_object())
        {
            self.document
                .spoiled
                .borrow_mut()
                .insert(self.pointer.clone());
        }
    }

    /// The place, as a JSON Pointer.
    pub(super) fn pointer(&self) -> String {
        self.pointer.clone()
    }

    /// A text.
    pub(super) fn text(&self) -> Option<&'a str> {
        self.value().and_then(Value::as_str)
    }

    /// A truth value.
    pub(super) fn truth(&self) -> Option<bool> {
        self.value().and_then(Value::as_bool)
    }

    /// Any number.
    pub(super) fn number(&self) -> Option<f64> {
        self.value().and_then(Value::as_f64)
    }

    /// A number with at most two decimals.
    pub(super) fn hundredths(&self) -> Option<Hundredths> {
        self.number().and_then(Hundredths::from_decimal)
    }

    /// A whole number, written with or without a zero fraction.
    pub(super) fn whole(&self) -> Option<i64> {
        let count = self.hundredths()?.count();
        (count % 100 == 0).then_some(count / 100)
    }

    /// A word of a closed list.
    pub(super) fn word<T>(&self, from_code: impl Fn(&str) -> Option<T>) -> Option<T> {
        self.text().and_then(from_code)
    }
}
