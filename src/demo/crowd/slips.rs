//! Contributions that should not count: careless ones, which intake refuses, and forged ones,
//! which pass intake and are left for screening and the host to notice.

use serde_json::{Map, Value, json};

/// A slip that intake refuses.
#[derive(Clone, Copy, Debug)]
pub(super) enum Slip {
    InMoreThanHit,
    OneSessionInOtherUnit,
    ArmsSwapped,
    PercentAboveHundred,
    DeepMoreThanIn,
    PoundsCalledKilograms,
    OneArmTwice,
    OrderRepeated,
    SpinBeyondHundred,
    TooManyDecimals,
    ConsentOfAnotherVersion,
}

impl Slip {
    pub(super) const ALL: &'static [Self] = &[
        Self::InMoreThanHit,
        Self::OneSessionInOtherUnit,
        Self::ArmsSwapped,
        Self::PercentAboveHundred,
        Self::DeepMoreThanIn,
        Self::PoundsCalledKilograms,
        Self::OneArmTwice,
        Self::OrderRepeated,
        Self::SpinBeyondHundred,
        Self::TooManyDecimals,
        Self::ConsentOfAnotherVersion,
    ];

    /// Puts the slip into a sound document, which has two sessions with tensions in lb.
    pub(super) fn into_document(self, document: &mut Value) {
        const FIRST_LINE: &str = "/sessions/0/shots/0";
        match self {
            Self::InMoreThanHit => in_and_deep(document, json!({ "hit": 58, "in": 85 })),
            Self::DeepMoreThanIn => {
                in_and_deep(document, json!({ "hit": 90, "in": 41, "deep": 64 }));
            }
            Self::PercentAboveHundred => in_and_deep(document, json!({ "in_percent": 130 })),
            Self::OneSessionInOtherUnit => {
                for line in items(document, "/sessions/1/shots") {
                    let mph = line.get("speed_unit").and_then(Value::as_str) == Some("mph");
                    set(
                        line,
                        "",
                        "speed_unit",
                        json!(if mph { "km/h" } else { "mph" }),
                    );
                }
            }
            Self::ArmsSwapped => {
                for session in items(document, "/sessions") {
                    let looser = session.get("arm").and_then(Value::as_str) == Some("looser");
                    set(
                        session,
                        "",
                        "arm",
                        json!(if looser { "tighter" } else { "looser" }),
                    );
                }
            }
            Self::PoundsCalledKilograms => {
                for session in items(document, "/sessions") {
                    set(session, "/tension", "unit", json!("kg"));
                }
            }
            Self::OneArmTwice => {
                let mut again = document.pointer("/sessions/0").cloned().unwrap_or_default();
                set(&mut again, "", "order", json!(2));
                if let Some(second) = document.pointer_mut("/sessions/1") {
                    *second = again;
                }
            }
            Self::OrderRepeated => {
                for session in items(document, "/sessions") {
                    set(session, "", "order", json!(1));
                }
            }
            Self::SpinBeyondHundred => {
                let spin = json!({ "given_as": "percent", "topspin": 60, "flat": 30, "slice": 30 });
                set(document, "/sessions/0", "spin", spin);
            }
            Self::TooManyDecimals => set(document, FIRST_LINE, "speed_mean", json!(88.4375)),
            Self::ConsentOfAnotherVersion => {
                set(document, "/consent", "text_version", json!("demo-0"));
            }
        }
    }
}

/// A forgery that intake lets pass.
#[derive(Clone, Copy, Debug)]
pub(super) enum Forgery {
    RoundTwins,
    ImpossiblePercentages,
    /// Somebody else's contribution, sent again; there is nothing to change in it.
    Copy,
    HardlyAnySpread,
    GoodAtEverything,
    TwinsButFaster,
}

impl Forgery {
    pub(super) const ALL: &'static [Self] = &[
        Self::RoundTwins,
        Self::ImpossiblePercentages,
        Self::Copy,
        Self::HardlyAnySpread,
        Self::GoodAtEverything,
        Self::TwinsButFaster,
    ];

    /// Forges a sound document with two sessions.
    pub(super) fn into_document(self, document: &mut Value) {
        match self {
            // The same round figures in both arms, and a large gain in speed.
            Self::RoundTwins => {
                let counted = json!({ "hit": 100, "in": 80, "deep": 40 });
                let timed = |mean, fastest| json!({ "speed_mean": mean, "speed_unit": "km/h", "speed_sd": 10, "sd_divisor": "n-1", "speed_max": fastest, "speed_n": 100, "speed_over": "all" });
                replace_shots(
                    document,
                    &counted,
                    &counted,
                    &timed(115, 140),
                    &timed(90, 115),
                );
            }
            // No whole number of 24 or 26 shots makes these percentages.
            Self::ImpossiblePercentages => {
                let looser = json!({ "hit": 24, "in_percent": 81, "deep_percent": 61, "deep_percent_of": "hit" });
                let tighter = json!({ "hit": 26, "in_percent": 64, "deep_percent": 22, "deep_percent_of": "hit" });
                let timed =
                    |mean| json!({ "speed_mean": mean, "speed_unit": "km/h", "speed_over": "all" });
                replace_shots(document, &looser, &tighter, &timed(104), &timed(92));
            }
            Self::Copy => {}
            // Human strokes scatter; these hardly do.
            Self::HardlyAnySpread => {
                let looser = json!({ "hit": 120, "in": 93, "deep": 44 });
                let tighter = json!({ "hit": 118, "in": 92, "deep": 38 });
                let timed = |mean, fastest, n| json!({ "speed_mean": mean, "speed_unit": "km/h", "speed_sd": 1.4, "sd_divisor": "n-1", "speed_max": fastest, "speed_n": n, "speed_over": "all" });
                replace_shots(
                    document,
                    &looser,
                    &tighter,
                    &timed(101.2, 104.9, 120),
                    &timed(93.1, 96.7, 118),
                );
            }
            Self::GoodAtEverything => {
                let looser = json!({ "hit": 100, "in": 97, "deep": 71 });
                let tighter = json!({ "hit": 100, "in": 52, "deep": 9 });
                let timed = |mean| json!({ "speed_mean": mean, "speed_unit": "mph", "speed_over": "all", "speed_n": 100 });
                replace_shots(document, &looser, &tighter, &timed(74.5), &timed(57.5));
            }
            // An ordinary pair whose two arms agree to the last digit, but for the speed.
            Self::TwinsButFaster => {
                let counted = json!({ "hit": 87, "in": 61, "deep": 23 });
                let timed = |mean, fastest| json!({ "speed_mean": mean, "speed_unit": "km/h", "speed_sd": 12.7, "sd_divisor": "unknown", "speed_max": fastest, "speed_n": 84, "speed_over": "all" });
                replace_shots(
                    document,
                    &counted,
                    &counted,
                    &timed(109.4, 141.2),
                    &timed(91.4, 141.2),
                );
            }
        }
    }
}

/// Sets a field of the object at a place.
fn set(document: &mut Value, pointer: &str, name: &str, value: Value) {
    if let Some(object) = document.pointer_mut(pointer).and_then(Value::as_object_mut) {
        object.insert(name.to_owned(), value);
    }
}

fn items<'a>(document: &'a mut Value, pointer: &str) -> impl Iterator<Item = &'a mut Value> {
    document
        .pointer_mut(pointer)
        .and_then(Value::as_array_mut)
        .into_iter()
        .flatten()
}

/// Replaces what the first line says of shots in and deep.
fn in_and_deep(document: &mut Value, fields: Value) {
    const COUNTED: [&str; 5] = [
        "in",
        "in_percent",
        "deep",
        "deep_percent",
        "deep_percent_of",
    ];
    let line = document
        .pointer_mut("/sessions/0/shots/0")
        .and_then(Value::as_object_mut);
    if let (Some(line), Value::Object(fields)) = (line, fields) {
        line.retain(|name, _| !COUNTED.contains(&name.as_str()));
        line.extend(fields);
    }
}

/// Replaces all shots by one line of forehands in each arm.
fn replace_shots(
    document: &mut Value,
    looser: &Value,
    tighter: &Value,
    looser_timed: &Value,
    tighter_timed: &Value,
) {
    for session in items(document, "/sessions") {
        let is_looser = session.get("arm").and_then(Value::as_str) == Some("looser");
        let (counted, timed) = if is_looser {
            (looser, looser_timed)
        } else {
            (tighter, tighter_timed)
        };
        let mut line = Map::new();
        line.insert("stroke".to_owned(), json!("forehand"));
        line.insert("direction".to_owned(), json!("all"));
        for part in [counted, timed] {
            line.extend(part.as_object().cloned().unwrap_or_default());
        }
        set(session, "", "shots", json!([line]));
    }
}
