//! Reading a JSON document that may be wrong in places.
//!
//! A [`Node`] is a place in the document, there or not. Asking for a value of some kind answers
//! `None` when it is absent, of another kind, or already at fault, so a rule needs no case for
//! malformed input and no place is faulted twice.

use super::json::pointer_to;
use crate::units::Hundredths;
use serde_json::Value;
use std::collections::BTreeSet;

/// A document with the places that are already at fault.
pub(super) struct Document<'a> {
    root: &'a Value,
    spoiled: &'a BTreeSet<String>,
}

/// A place in a document.
#[derive(Clone)]
pub(super) struct Node<'a> {
    value: Option<&'a Value>,
    pointer: String,
    spoiled: &'a BTreeSet<String>,
}

impl<'a> Document<'a> {
    pub(super) const fn new(root: &'a Value, spoiled: &'a BTreeSet<String>) -> Self {
        Self { root, spoiled }
    }

    pub(super) fn field(&self, name: &str) -> Node<'a> {
        let root = Node {
            value: Some(self.root),
            pointer: String::new(),
            spoiled: self.spoiled,
        };
        root.field(name)
    }
}

impl<'a> Node<'a> {
    fn inside(&self, token: &str, value: Option<&'a Value>) -> Self {
        let pointer = pointer_to(&self.pointer, token);
        let value = value.filter(|_| !self.spoiled.contains(&pointer));
        Self {
            value,
            pointer,
            spoiled: self.spoiled,
        }
    }

    /// The field with this name.
    pub(super) fn field(&self, name: &str) -> Self {
        let fields = self.value.and_then(Value::as_object);
        self.inside(name, fields.and_then(|fields| fields.get(name)))
    }

    /// The items of an array; none when it is not an array.
    pub(super) fn items(&self) -> Vec<Self> {
        let items = self.value.and_then(Value::as_array);
        items
            .into_iter()
            .flatten()
            .enumerate()
            .map(|(place, item)| self.inside(&place.to_string(), Some(item)))
            .collect()
    }

    /// Whether there is anything here.
    pub(super) const fn is_present(&self) -> bool {
        self.value.is_some()
    }

    /// The place, as a JSON Pointer.
    pub(super) fn pointer(&self) -> String {
        self.pointer.clone()
    }

    /// A text.
    pub(super) fn text(&self) -> Option<&'a str> {
        self.value.and_then(Value::as_str)
    }

    /// A truth value.
    pub(super) fn truth(&self) -> Option<bool> {
        self.value.and_then(Value::as_bool)
    }

    /// Any number.
    pub(super) fn number(&self) -> Option<f64> {
        self.value.and_then(Value::as_f64)
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
