//! What will be sent, to be read once more.

use super::blocks::step_title;
use super::fields::{class_title, unit, words_of};
use crate::form::{Entries, Kind, MOST_CLASSES, Repeat, Spot, Step, spots_of};
use crate::protocol::Study;

/// One part of what will be sent.
pub(super) struct Digest {
    pub(super) heading: String,
    pub(super) step: &'static str,
    /// What was filled, as label and text.
    pub(super) lines: Vec<(String, String)>,
}

/// Everything that was filled, step by step.
pub(super) fn of(entries: &Entries, study: &Study) -> Vec<Digest> {
    entries
        .steps()
        .into_iter()
        .filter(|step| *step != Step::Send)
        .map(|step| Digest {
            heading: step_title(step, entries),
            step: step.code(),
            lines: lines(step, entries, study),
        })
        .filter(|part| !part.lines.is_empty())
        .collect()
}

fn lines(step: Step, entries: &Entries, study: &Study) -> Vec<(String, String)> {
    let filled = |spot: &Spot| {
        let name = spot.name();
        (!entries.is_blank(&name)).then(|| text(spot, entries.get(&name), entries))
    };
    let mut lines: Vec<(String, String)> = spots_of(step)
        .filter(|spot| spot.class == 0)
        .filter_map(|spot| Some((label(&spot), filled(&spot)?)))
        .collect();
    for class in 1..=MOST_CLASSES {
        let parts: Vec<String> = spots_of(step)
            .filter(|spot| spot.class == class)
            .filter(|spot| spot.field.repeat == Repeat::Class)
            .filter_map(|spot| {
                let label = spot.field.label.to_lowercase();
                Some(format!("{label} {}", filled(&spot)?))
            })
            .collect();
        if !parts.is_empty() {
            lines.push((class_title(class, entries, study), parts.join(", ")));
        }
    }
    lines
}

/// A field's label where it no longer asks.
fn label(spot: &Spot) -> String {
    match spot.field.stem {
        "order" => "Order".to_owned(),
        "frames" => "Frames".to_owned(),
        "device" => "Measured by".to_owned(),
        "measured_at" => "Speed taken".to_owned(),
        "sd_divisor" => "Standard deviation divided".to_owned(),
        "speed_over" => "Mean speed over".to_owned(),
        "knew" => "Knew which string bed it was".to_owned(),
        _ => spot.field.label.to_owned(),
    }
}

fn text(spot: &Spot, typed: &str, entries: &Entries) -> String {
    if let Kind::Choice(_) = spot.field.kind {
        return words_of(&spot.name(), typed);
    }
    let unit = unit(spot.field.unit, entries);
    match spot.field.kind {
        _ if unit.is_empty() => typed.to_owned(),
        _ => format!("{} {unit}", typed.trim_end_matches(['%', ' '])),
    }
}
