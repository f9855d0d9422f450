//! What a kept contribution tells beside its outcomes: who hit, with what, where, and the note.

use super::json;
use serde_json::Value;

/// Where outcomes stand, in any session. All else may be read without learning what was found.
const OUTCOMES: &[&str] = &["partner", "spin", "rallies", "shots"];

/// What is said elsewhere: which study, and what was agreed to.
const FORMALITIES: &[&str] = &["study", "consent"];

/// One thing that was told: its place, from the outside in, and its value as a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// The names of the place: `court`, `temperature`; a session is named by its number.
    pub place: Vec<String>,
    /// The value.
    pub value: String,
}

/// Everything that a kept document tells beside its outcomes, in the order it was written. Empty
/// when the document cannot be read.
#[must_use]
pub fn beside_outcomes(document: &[u8]) -> Vec<Told> {
    let mut told = Vec::new();
    if let Ok(Value::Object(fields)) = json::parse(document, super::MOST_VALUES) {
        for (name, value) in &fields {
            if !FORMALITIES.contains(&name.as_str()) {
                collect(value, &mut vec![name.clone()], &mut told);
            }
        }
    }
    told
}

fn collect(value: &Value, place: &mut Vec<String>, told: &mut Vec<Told>) {
    match value {
        Value::Object(fields) => {
            for (name, value) in fields {
                if !OUTCOMES.contains(&name.as_str()) {
                    place.push(name.clone());
                    collect(value, place, told);
                    place.pop();
                }
            }
        }
        Value::Array(items) => {
            for (number, value) in (1..).zip(items) {
                place.push(i64::to_string(&number));
                collect(value, place, told);
                place.pop();
            }
        }
        Value::String(text) => told.push(Told {
            place: place.clone(),
            value: text.clone(),
        }),
        Value::Null => {}
        other => told.push(Told {
            place: place.clone(),
            value: other.to_string(),
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_but_outcomes_is_told() {
        let document = br#"{"study": "s", "note": "Wind.", "court": {"temperature": 21.5},
            "sessions": [{"arm": "looser", "partner": {"speed_mean": 80},
                          "shots": [{"stroke": "serve", "hit": 40, "speed_mean": 150}]}]}"#;
        let told: Vec<String> = beside_outcomes(document)
            .iter()
            .map(|told| format!("{} = {}", told.place.join("/"), told.value))
            .collect();
        assert_eq!(
            told,
            [
                "note = Wind.",
                "court/temperature = 21.5",
                "sessions/1/arm = looser"
            ]
        );
    }
}
