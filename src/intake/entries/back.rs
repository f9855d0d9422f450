//! A contribution as entries of the form, so that it can be corrected there.

use super::{document, number, place};
use crate::form::{
    Entries, Kind, MOST_CLASSES, MOST_SESSIONS, Order, Repeat, Spot, Step, asked_classes, spots_of,
};
use crate::protocol::Study;
use crate::vocabulary::{Arm, Direction, Sequence, ShotClass, Stroke};
use serde_json::Value;

/// The entries that make this document; `None` when it holds more than the form has room for.
///
/// Whether it does is not judged but tried: the document is made again and compared.
#[must_use]
pub fn entries(original: &Value, study: &Study) -> Option<Entries> {
    let sessions = in_order(original)?;
    let mut entries = Entries::default();
    entries.set("order", order(&sessions)?.code());
    for step in [Step::Send, Step::Setup, Step::Device, Step::About] {
        fill(&mut entries, original, spots_of(step));
    }
    match original.pointer("/consent/scope")?.as_str()? {
        "pooling" => entries.set("consent_pooling", "yes"),
        "pooling_and_rows" => {
            entries.set("consent_pooling", "yes");
            entries.set("consent_rows", "yes");
        }
        _ => return None,
    }
    shared(&mut entries, &sessions);
    let classes = classes(&mut entries, &sessions, study)?;
    for (number, session) in (1..).zip(&sessions) {
        let step = Step::of_session(number)?;
        tension(&mut entries, session);
        let of_session = |spot: &Spot| spot.field.repeat == Repeat::Session;
        fill(&mut entries, session, spots_of(step).filter(of_session));
        for line in lines(session) {
            let class = class_of(line)?;
            let place = classes.iter().position(|known| *known == class)? + 1;
            fill(
                &mut entries,
                line,
                spots_of(step).filter(|spot| spot.class == place),
            );
        }
    }
    let (made, _) = document(&entries, study);
    let mut played = original.clone();
    if let Some(list) = played.get_mut("sessions") {
        *list = Value::Array(sessions.into_iter().cloned().collect());
    }
    same(&made, &played).then_some(entries)
}

/// The sessions as they were played.
fn in_order(document: &Value) -> Option<Vec<&Value>> {
    let mut sessions: Vec<&Value> = document.get("sessions")?.as_array()?.iter().collect();
    // The bits of positive numbers rise as the numbers do; 1.0 is as good an order as 1.
    let order = |session: &&Value| session.get("order").and_then(Value::as_f64);
    sessions.sort_by_key(|session| order(session).map(f64::to_bits));
    (sessions.len() <= MOST_SESSIONS).then_some(sessions)
}

fn order(sessions: &[&Value]) -> Option<Order> {
    let arms: Option<Vec<Arm>> = sessions
        .iter()
        .map(|session| Arm::from_code(session.get("arm")?.as_str()?))
        .collect();
    let arms = arms?;
    if sessions
        .iter()
        .all(|session| session.get("order").is_none())
    {
        return (Order::Unknown.arms() == arms).then_some(Order::Unknown);
    }
    let played = Sequence::ALL.iter().find(|known| known.arms() == arms);
    played.copied().map(Order::Played)
}

/// What the form asks for once and the document repeats: taken from where it first stands.
fn shared(entries: &mut Entries, sessions: &[&Value]) {
    let all_lines = || sessions.iter().flat_map(|session| lines(session));
    let first = |name: &str| {
        all_lines()
            .filter_map(|line| line.get(name))
            .find_map(Value::as_str)
            .map(str::to_owned)
    };
    for name in ["speed_unit", "speed_over", "sd_divisor", "deep_percent_of"] {
        if let Some(word) = first(name) {
            entries.set(name, &word);
        }
    }
    let is_percent = all_lines()
        .any(|line| line.get("in_percent").is_some() || line.get("deep_percent").is_some());
    entries.set("shares_as", if is_percent { "percent" } else { "count" });
}

fn tension(entries: &mut Entries, session: &Value) {
    let text = |place: &str| session.pointer(place).and_then(text);
    let arm = text("/arm").unwrap_or_default();
    for part in ["mains", "crosses"] {
        if let Some(text) = text(&format!("/tension/{part}")) {
            entries.set(&format!("{arm}_{part}"), &text);
        }
    }
    if let Some(unit) = text("/tension/unit") {
        entries.set("tension_unit", &unit);
    }
}

fn lines(session: &Value) -> impl Iterator<Item = &Value> {
    session
        .get("shots")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
}

fn class_of(line: &Value) -> Option<ShotClass> {
    Some(ShotClass {
        stroke: Stroke::from_code(line.get("stroke")?.as_str()?)?,
        direction: Direction::from_code(line.get("direction")?.as_str()?)?,
    })
}

/// The classes in the order of the form; `None` when there are too many.
fn classes(entries: &mut Entries, sessions: &[&Value], study: &Study) -> Option<Vec<ShotClass>> {
    let mut classes = asked_classes(study);
    for line in sessions.iter().flat_map(|session| lines(session)) {
        let class = class_of(line)?;
        if !classes.contains(&class) {
            classes.push(class);
            let number = classes.len();
            entries.set(&format!("c{number}_stroke"), class.stroke.code());
            entries.set(&format!("c{number}_direction"), class.direction.code());
        }
    }
    (classes.len() <= MOST_CLASSES).then_some(classes)
}

/// Fills fields that have one place each.
fn fill(entries: &mut Entries, object: &Value, spots: impl Iterator<Item = Spot>) {
    for spot in spots {
        let Some(place) = place(spot.field, entries) else {
            continue;
        };
        let Some(found) = object.pointer(&format!("/{place}")) else {
            continue;
        };
        let text = match (spot.field.kind, found) {
            (Kind::Tick, Value::Bool(true)) => Some("yes".to_owned()),
            (Kind::Tick, _) => None,
            _ => text(found),
        };
        if let Some(text) = text {
            entries.set(&spot.name(), &text);
        }
    }
}

fn text(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => number::shown(number),
        _ => None,
    }
}

/// Whether two documents say the same: 60 and 60.0 are one number.
fn same(a: &Value, b: &Value) -> bool {
    match (a, b) {
        (Value::Number(a), Value::Number(b)) => {
            // Adding zero makes one zero of both.
            let bits = |number: &serde_json::Number| number.as_f64().map(|n| (n + 0.0).to_bits());
            bits(a) == bits(b)
        }
        (Value::Array(a), Value::Array(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b))
        }
        (Value::Object(a), Value::Object(b)) => {
            let in_b = |(name, value): (&String, &Value)| {
                b.get(name).is_some_and(|other| same(value, other))
            };
            a.len() == b.len() && a.iter().all(in_b)
        }
        _ => a == b,
    }
}
