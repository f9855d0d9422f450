//! What a schema cannot say: rules between fields, and bounds that depend on the unit or stroke.
//!
//! Each rule reads what it needs and says nothing when part of that is absent or already at
//! fault. `session` and `line` have the rules of one session and of one shot line, `across`
//! those over all sessions, `host` those of what a host writes or an analyst sends back.

mod across;
mod amended;
mod host;
mod line;
mod session;

pub(super) use amended::{same_name, settled_at_opening};
pub(super) use host::{aggregate, missing_to_open, no_address, study};

use super::fault::{Fault, FaultCode, Flag, FlagCode};
use super::node::{Document, Node};
use crate::contribution::{DeepShare, Share};
use crate::protocol::Study;
use crate::units::{Tension, TensionUnit};
use crate::vocabulary::{Direction, ShotClass, Stroke};

/// Where rules write what they find.
struct Findings<'a> {
    faults: &'a mut Vec<Fault>,
    flags: &'a mut Vec<Flag>,
}

impl Findings<'_> {
    fn fault(&mut self, place: &Node<'_>, code: FaultCode, sentence: impl Into<String>) {
        place.spoil();
        self.faults
            .push(Fault::new(place.pointer(), code, sentence.into()));
    }

    fn flag(&mut self, place: &Node<'_>, code: FlagCode, sentence: impl Into<String>) {
        self.flags.push(Flag {
            pointer: place.pointer(),
            code,
            sentence: sentence.into(),
        });
    }
}

/// The rules of a contribution.
pub(super) fn contribution(
    root: &Document<'_>,
    study: &Study,
    faults: &mut Vec<Fault>,
    flags: &mut Vec<Flag>,
) {
    let found = &mut Findings { faults, flags };
    addressed_to(root, study, found);
    of_age(root, study, found);
    setup(&root.field("setup"), found);
    temperature(&root.field("court"), found);
    let sessions = root.field("sessions");
    for session in sessions.items() {
        session::check(&session, found);
    }
    across::check(&sessions, study, found);
}

/// The reference tension of a session, when it can be read.
pub(super) fn reference_tension(session: &Node<'_>) -> Option<Tension> {
    let tension = session.field("tension");
    let unit = tension.field("unit").word(TensionUnit::from_code)?;
    let mains = tension.field("mains").hundredths()?;
    let crosses = tension.field("crosses");
    let crosses = if crosses.is_absent() {
        mains
    } else {
        crosses.hundredths()?
    };
    Some(Tension::mean(mains, crosses, unit))
}

/// The shot class of a line, when it can be read.
pub(super) fn class_of(line: &Node<'_>) -> Option<ShotClass> {
    Some(ShotClass {
        stroke: line.field("stroke").word(Stroke::from_code)?,
        direction: line.field("direction").word(Direction::from_code)?,
    })
}

/// Shots in, as entered.
pub(super) fn landed_in(line: &Node<'_>) -> Option<Share> {
    line.field("in")
        .whole()
        .map(Share::Count)
        .or_else(|| line.field("in_percent").hundredths().map(Share::Percent))
}

/// Shots in and deep, as entered.
pub(super) fn deep(line: &Node<'_>) -> Option<DeepShare> {
    if let Some(count) = line.field("deep").whole() {
        return Some(DeepShare::OfIn(Share::Count(count)));
    }
    let percent = line.field("deep_percent").hundredths()?;
    match line.field("deep_percent_of").text()? {
        "hit" => Some(DeepShare::PercentOfHit(percent)),
        _ => Some(DeepShare::OfIn(Share::Percent(percent))),
    }
}

fn addressed_to(root: &Document<'_>, study: &Study, found: &mut Findings<'_>) {
    let slug = root.field("study");
    if slug.text().is_some_and(|slug| slug != study.label.slug) {
        found.fault(
            &slug,
            FaultCode::OtherStudy,
            format!("This address takes contributions to `{}`; write that, or send this to its own study.", study.label.slug),
        );
    }
    let version = root.field("consent").field("text_version");
    let current = &study.protocol.consent.version;
    if version.text().is_some_and(|version| version != current) {
        found.fault(
            &version,
            FaultCode::ConsentOutdated,
            format!("The consent text in force is version `{current}`; read it again and consent to that."),
        );
    }
}

/// What the player says of their age, where the study is for adults.
fn of_age(root: &Document<'_>, study: &Study, found: &mut Findings<'_>) {
    let consent = root.field("consent");
    let adult = consent.field("adult");
    if !study.protocol.adults_only || !consent.is_present() || consent.is_misnamed() {
        return;
    }
    if adult.is_absent() || adult.truth() == Some(false) {
        found.fault(
            &adult,
            FaultCode::AgeNotConfirmed,
            "This study is for adults: confirm that you are of age where you live; if you are not, please do not send this.",
        );
    }
}

fn setup(setup: &Node<'_>, found: &mut Findings<'_>) {
    let frame = setup.field("frame");
    let difference = frame.field("mass_difference_g");
    if frame.field("frames").text() == Some("one_restrung")
        && difference
            .hundredths()
            .is_some_and(|grams| 0 < grams.count())
    {
        found.fault(
            &difference,
            FaultCode::MassDifferenceOfOneFrame,
            "One restrung frame has no mass difference; leave it out, or write `two_matched` in `frames`.",
        );
    }
}

fn temperature(court: &Node<'_>, found: &mut Findings<'_>) {
    let place = court.field("temperature");
    let (Some(value), Some(unit)) = (place.hundredths(), court.field("temperature_unit").text())
    else {
        return;
    };
    // Play below -20 or above 50 °C (122 °F) is not plausible (our bounds).
    let (low, high) = if unit == "celsius" {
        (-20, 50)
    } else {
        (-4, 122)
    };
    if value.count() < low * 100 || high * 100 < value.count() {
        found.fault(
            &place,
            FaultCode::TemperatureOutOfBounds,
            format!(
                "{} is outside {low} to {high} degrees {unit}; check the number and its unit.",
                value.to_f64()
            ),
        );
    }
}
