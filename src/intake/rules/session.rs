//! The rules of one session.

use super::{Findings, class_of, line};
use crate::intake::fault::{FaultCode, FlagCode};
use crate::intake::node::Node;
use crate::protocol::limits;
use crate::units::{Hundredths, Tension, TensionUnit};
use crate::vocabulary::Stroke;

pub(super) fn check(session: &Node<'_>, found: &mut Findings<'_>) {
    let tension = session.field("tension");
    let unit = tension.field("unit").word(TensionUnit::from_code);
    for name in ["mains", "crosses"] {
        string_tension(&tension.field(name), unit, found);
    }
    spin(&session.field("spin"), found);
    rallies(&session.field("rallies"), found);
    partner(&session.field("partner"), found);
    let mut seen = Vec::new();
    for shot_line in session.field("shots").items() {
        if let Some(class) = class_of(&shot_line) {
            if seen.contains(&class) {
                found.fault(
                    &shot_line,
                    FaultCode::ClassRepeated,
                    "This stroke and direction already have a line in this session; merge the two.",
                );
            }
            seen.push(class);
        }
        line::check(&shot_line, found);
    }
}

fn string_tension(place: &Node<'_>, unit: Option<TensionUnit>, found: &mut Findings<'_>) {
    let (Some(value), Some(unit)) = (place.hundredths(), unit) else {
        return;
    };
    let tension = Tension::new(value, unit);
    if tension < limits::TENSION_LOWEST || limits::TENSION_HIGHEST < tension {
        found.fault(
            place,
            FaultCode::TensionOutOfBounds,
            format!(
                "{} {} is outside 15 to 100 lb (6.81 to 45.35 kg); check the number and its unit.",
                value.to_f64(),
                unit.code()
            ),
        );
    } else if tension < limits::TENSION_USUAL_LOW || limits::TENSION_USUAL_HIGH < tension {
        found.flag(place, FlagCode::TensionUnusual, unusual(value, unit));
    }
}

/// What is said of a tension outside the usual range. Where the other unit would make it a usual
/// one, the unit is the likely slip; otherwise some beds are strung so.
fn unusual(value: Hundredths, unit: TensionUnit) -> &'static str {
    let (other, question) = match unit {
        TensionUnit::Pound => (
            TensionUnit::Kilogram,
            "Is this tension in kilograms? As pounds it is outside 35 to 70 lb (15.88 to 31.75 kg). If it is right, keep to the range that the frame's maker gives.",
        ),
        TensionUnit::Kilogram => (
            TensionUnit::Pound,
            "Is this tension in pounds? As kilograms it is outside 35 to 70 lb (15.88 to 31.75 kg). If it is right, keep to the range that the frame's maker gives.",
        ),
    };
    let usual = limits::TENSION_USUAL_LOW..=limits::TENSION_USUAL_HIGH;
    if usual.contains(&Tension::new(value, other)) {
        question
    } else {
        "This tension is outside 35 to 70 lb (15.88 to 31.75 kg). Keep to the range that the frame's maker gives."
    }
}

fn spin(spin: &Node<'_>, found: &mut Findings<'_>) {
    let parts = ["topspin", "flat", "slice"].map(|name| spin.field(name));
    if spin.field("given_as").text() == Some("count") {
        for part in parts.iter().filter(|part| part.hundredths().is_some()) {
            if part.whole().is_none() {
                found.fault(part, FaultCode::NotWhole, "A count of shots is a whole number; write one, or write `percent` in `given_as`.");
            }
        }
        return;
    }
    if spin.field("given_as").text() == Some("percent") {
        let whole = Hundredths::from_count(10_000);
        let beyond = |part: &&Node<'_>| part.hundredths().is_some_and(|part| whole < part);
        let mut any = false;
        for part in parts.iter().filter(beyond) {
            any = true;
            found.fault(
                part,
                FaultCode::SpinSum,
                "No part of the shots is more than 100 %; mend it, or write `count` in `given_as`.",
            );
        }
        if any {
            return;
        }
    }
    let sum: Option<i64> = parts
        .iter()
        .map(|part| part.hundredths().map(Hundredths::count))
        .sum();
    if let (Some("percent"), Some(sum)) = (spin.field("given_as").text(), sum)
        && limits::PERCENT_SUM_SLACK < (sum - 10_000).abs()
    {
        found.fault(
            spin,
            FaultCode::SpinSum,
            format!("Topspin, flat and slice add up to {} %, not to 100 %; mend them, or write `count` in `given_as`.", Hundredths::from_count(sum).to_f64()),
        );
    }
}

fn rallies(rallies: &Node<'_>, found: &mut Findings<'_>) {
    let above = rallies.field("above_length");
    if let (Some(played), Some(longer)) = (rallies.field("played").whole(), above.whole())
        && played < longer
    {
        found.fault(
            &above,
            FaultCode::AboveMoreThanPlayed,
            format!("{longer} rallies above length are more than the {played} played; mend one of the two."),
        );
    }
}

fn partner(partner: &Node<'_>, found: &mut Findings<'_>) {
    let mean = partner.field("speed_mean");
    if let Some(speed) = line::speed(&mean, &partner.field("speed_unit")) {
        line::speed_within_bounds(&mean, speed, Stroke::All, found);
        line::spread(partner, speed, found);
    }
}
