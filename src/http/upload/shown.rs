//! What a preview shows of a document beside what is computed on: figures as they were entered.

use crate::intake::uploaded::Uploaded;
use crate::pages::upload::{Entered, Read, Spot};
use crate::units::SpeedUnit;
use serde_json::Value;

/// What was read of a file.
pub(super) fn read(uploaded: &Uploaded) -> Read<'_> {
    let sessions = uploaded.document.get("sessions").and_then(Value::as_array);
    let flags = uploaded.admitted.flags.iter();
    Read {
        contribution: &uploaded.admitted.contribution,
        entered: sessions.into_iter().flatten().map(entered).collect(),
        remarks: &uploaded.remarks,
        flags: flags
            .map(|flag| Spot {
                place: place_words(&flag.pointer),
                sentence: flag.sentence.clone(),
            })
            .collect(),
    }
}

/// Numbers and units of one session as they were entered.
fn entered(session: &Value) -> Entered {
    let number = |place: &str| session.pointer(place).and_then(Value::as_f64);
    let number = |place: &str| number(place).map(|number| number.to_string());
    let unit = session.pointer("/tension/unit").and_then(Value::as_str);
    let unit = unit.unwrap_or_default();
    let mains = number("/tension/mains").unwrap_or_default();
    let shots = session.get("shots").and_then(Value::as_array);
    let units = shots.into_iter().flatten().map(|line| {
        let unit = line.get("speed_unit").and_then(Value::as_str);
        unit.and_then(SpeedUnit::from_code)
            .unwrap_or(SpeedUnit::KilometrePerHour)
    });
    Entered {
        tension: match number("/tension/crosses") {
            Some(crosses) if crosses != mains => {
                format!("{mains} {unit} mains, {crosses} {unit} crosses")
            }
            _ => format!("{mains} {unit}"),
        },
        minutes: number("/minutes"),
        speed_units: units.collect(),
    }
}

/// The place of a flag for a reader: which session it speaks of.
fn place_words(pointer: &str) -> String {
    let place = pointer.strip_prefix("/sessions/");
    let place = place.and_then(|rest| rest.split('/').next()?.parse::<usize>().ok());
    place.map_or_else(
        || "The file".to_owned(),
        |place| format!("Session {} of the file", place + 1),
    )
}
