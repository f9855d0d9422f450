//! Numbers have at most two decimals.
//!
//! JSON Schema could say so with `multipleOf: 0.01`, but validators that divide in floating point
//! then refuse 71.6. So it is checked here, exactly, for every number of a document.

use super::fault::{Fault, FaultCode};
use super::json::pointer_to;
use crate::units::Hundredths;
use serde_json::{Number, Value};
use std::collections::BTreeSet;

/// Adds a fault for every number that is finer than a hundredth. Where no number or only a whole
/// one belongs, that has been said already.
pub(super) fn check(document: &Value, faults: &mut Vec<Fault>) {
    let known: BTreeSet<String> = faults
        .iter()
        .filter(|fault| !matches!(fault.code, FaultCode::TooLarge | FaultCode::TooSmall))
        .map(|fault| fault.pointer.clone())
        .collect();
    walk(document, String::new(), &mut |pointer, number| {
        if is_too_fine(number) && !known.contains(&pointer) {
            faults.push(Fault::new(
                pointer,
                FaultCode::TooManyDecimals,
                format!("{number} has more than two decimals; round it."),
            ));
        }
    });
}

/// Numbers beyond what a quantity may be are refused by their bounds.
fn is_too_fine(number: &Number) -> bool {
    number.as_f64().is_some_and(|value| {
        value.abs() <= Hundredths::LARGEST && Hundredths::from_decimal(value).is_none()
    })
}

/// Visits every number with its place.
fn walk(value: &Value, pointer: String, visit: &mut impl FnMut(String, &Number)) {
    match value {
        Value::Array(items) => {
            for (place, item) in items.iter().enumerate() {
                walk(item, format!("{pointer}/{place}"), visit);
            }
        }
        Value::Object(fields) => {
            for (name, field) in fields {
                walk(field, pointer_to(&pointer, name), visit);
            }
        }
        Value::Number(number) => visit(pointer, number),
        Value::Null | Value::Bool(_) | Value::String(_) => {}
    }
}
