//! What a schema cannot say: rules between fields, and bounds that depend on the unit or stroke.
//!
//! Each rule reads what it needs and says nothing when part of that is absent or already at
//! fault. The rules of one shot line are in [`line`].

mod line;

use super::fault::{Fault, FaultCode, Flag, FlagCode};
use super::node::{Document, Node};
use crate::contribution::{DeepShare, Share};
use crate::protocol::{GapBand, GapBands, Study, limits};
use crate::units::{Hundredths, Tension, TensionUnit};
use crate::vocabulary::{Arm, Direction, ShotClass, SpeedOver, Stroke};
use std::collections::BTreeMap;

/// Where rules write what they find.
struct Findings<'a> {
    faults: &'a mut Vec<Fault>,
    flags: &'a mut Vec<Flag>,
}

impl Findings<'_> {
    fn fault(&mut self, place: &Node<'_>, code: FaultCode, sentence: impl Into<String>) {
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
    setup(&root.field("setup"), found);
    temperature(&root.field("court"), found);
    let sessions = root.field("sessions");
    for session in sessions.items() {
        one_session(&session, found);
    }
    orders(&sessions, found);
    arms(&sessions, study, found);
    classes(&sessions, found);
}

/// The rules of a study.
pub(super) fn study(root: &Document<'_>, faults: &mut Vec<Fault>) {
    rising_edges(&root.field("protocol"), faults);
}

/// The rules of a download.
pub(super) fn aggregate(root: &Document<'_>, faults: &mut Vec<Fault>) {
    let protocol = root.field("protocol");
    rising_edges(&protocol, faults);
    let n_bands = protocol.field("gap_band_edges").items().len();
    for row in root.field("rows").items() {
        let band = row.field("band");
        let number = band
            .text()
            .and_then(|code| code.strip_prefix("band_")?.parse::<usize>().ok());
        if number.is_some_and(|number| n_bands < number) {
            faults.push(Fault::new(
                band.pointer(),
                FaultCode::NotInList,
                format!("The protocol of this file has {n_bands} gap bands; name one of them."),
            ));
        }
    }
}

fn rising_edges(protocol: &Node<'_>, faults: &mut Vec<Fault>) {
    let place = protocol.field("gap_band_edges");
    let edges = place
        .items()
        .iter()
        .map(Node::hundredths)
        .collect::<Option<Vec<_>>>();
    if let Some(edges) = edges
        && !edges.is_empty()
        && GapBands::new(TensionUnit::Pound, edges).is_none()
    {
        faults.push(Fault::new(
            place.pointer(),
            FaultCode::EdgesNotRising,
            "Each edge must be larger than the one before it; sort them and remove repeats."
                .to_owned(),
        ));
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

fn one_session(session: &Node<'_>, found: &mut Findings<'_>) {
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
                "{} {} is outside 15 to 100 lb (6.8 to 45.36 kg); check the number and its unit.",
                value.to_f64(),
                unit.code()
            ),
        );
    } else if tension < limits::TENSION_USUAL_LOW || limits::TENSION_USUAL_HIGH < tension {
        found.flag(
            place,
            FlagCode::TensionUnusual,
            "This tension is outside 35 to 70 lb (15.88 to 31.75 kg). Keep to the range that the frame's maker gives.",
        );
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
    }
}

fn orders(sessions: &Node<'_>, found: &mut Findings<'_>) {
    let mut seen = Vec::new();
    for session in sessions.items() {
        let place = session.field("order");
        let Some(order) = place.whole() else { continue };
        if seen.contains(&order) {
            found.fault(&place, FaultCode::OrderRepeated, format!("Two sessions are number {order} in time; number them 1, 2 and so on as they were played."));
        }
        seen.push(order);
    }
}

/// The reference tension of a session, when it can be read.
pub(super) fn reference_tension(session: &Node<'_>) -> Option<Tension> {
    let tension = session.field("tension");
    let unit = tension.field("unit").word(TensionUnit::from_code)?;
    let mains = tension.field("mains").hundredths()?;
    let crosses = tension.field("crosses");
    let crosses = if crosses.is_present() {
        crosses.hundredths()?
    } else {
        mains
    };
    Some(Tension::mean(mains, crosses, unit))
}

fn arms(sessions: &Node<'_>, study: &Study, found: &mut Findings<'_>) {
    let mut tensions: BTreeMap<Arm, Tension> = BTreeMap::new();
    let items = sessions.items();
    let words: Vec<Option<Arm>> = items
        .iter()
        .map(|session| session.field("arm").word(Arm::from_code))
        .collect();
    for (session, arm) in items.iter().zip(&words) {
        let (Some(arm), Some(tension)) = (arm, reference_tension(session)) else {
            continue;
        };
        if *tensions.entry(*arm).or_insert(tension) != tension {
            found.fault(
                &session.field("tension"),
                FaultCode::ArmTensionDiffers,
                format!("All {} sessions of one contribution share one reference tension; send a different tension as a further contribution.", arm.code()),
            );
        }
    }
    for arm in Arm::ALL {
        if !words.is_empty() && words.iter().all(Option::is_some) && !words.contains(&Some(*arm)) {
            found.fault(
                sessions,
                FaultCode::ArmMissing,
                format!(
                    "There is no `{}` session; a pair needs one of each arm.",
                    arm.code()
                ),
            );
        }
    }
    if let (Some(looser), Some(tighter)) = (tensions.get(&Arm::Looser), tensions.get(&Arm::Tighter))
    {
        gap(sessions, tighter.minus(*looser), study, found);
    }
}

fn gap(sessions: &Node<'_>, gap: Tension, study: &Study, found: &mut Findings<'_>) {
    if gap.nanograms() <= 0 {
        found.fault(
            sessions,
            FaultCode::LooserNotLooser,
            "The looser sessions are not strung looser than the tighter ones; swap the arms or mend a tension or unit.",
        );
    } else if study.protocol.analysis.bands.band_of(gap) == GapBand::UnderProtocol {
        found.flag(
            sessions,
            FlagCode::GapUnderProtocol,
            format!("The gap of {:.2} lb is smaller than the protocol asks; it is kept apart from the primary analysis.", gap.pounds()),
        );
    }
}

/// The shot class of a line, when it can be read.
pub(super) fn class_of(line: &Node<'_>) -> Option<ShotClass> {
    Some(ShotClass {
        stroke: line.field("stroke").word(Stroke::from_code)?,
        direction: line.field("direction").word(Direction::from_code)?,
    })
}

/// Rules over all lines of one class, whatever session they are in.
fn classes(sessions: &Node<'_>, found: &mut Findings<'_>) {
    let mut timed: BTreeMap<ShotClass, Vec<(Option<Arm>, Node<'_>)>> = BTreeMap::new();
    for session in sessions.items() {
        let arm = session.field("arm").word(Arm::from_code);
        for shot_line in session.field("shots").items() {
            if let Some(class) = class_of(&shot_line)
                && shot_line.field("speed_mean").is_present()
            {
                timed.entry(class).or_default().push((arm, shot_line));
            }
        }
    }
    let comparable = timed.values().any(|lines| {
        Arm::ALL
            .iter()
            .all(|arm| lines.iter().any(|(of, _)| *of == Some(*arm)))
    });
    let readable = !found
        .faults
        .iter()
        .any(|fault| fault.pointer.starts_with("/sessions"));
    if !comparable && readable {
        found.fault(
            sessions,
            FaultCode::NothingToCompare,
            "No stroke and direction has a mean speed in both arms; give `speed_mean` for one class in each.",
        );
    }
    for lines in timed.values() {
        same_shots_timed(lines, found);
        speeds_near_each_other(lines, found);
    }
}

fn same_shots_timed(lines: &[(Option<Arm>, Node<'_>)], found: &mut Findings<'_>) {
    let over = |line: &Node<'_>| {
        let word = line.field("speed_over");
        if word.is_present() {
            word.word(SpeedOver::from_code)
        } else {
            Some(SpeedOver::Unknown)
        }
    };
    let Some((first, rest)) = lines.split_first() else {
        return;
    };
    for (_, line) in rest {
        if let (Some(here), Some(there)) = (over(line), over(&first.1))
            && here != there
        {
            found.fault(
                &line.field("speed_over"),
                FaultCode::SpeedOverDiffers,
                format!("This mean speed is over `{}` shots and an earlier one over `{}`: they cannot be compared. Write the same in every session, or `unknown` in all.", here.code(), there.code()),
            );
        }
    }
}

fn speeds_near_each_other(lines: &[(Option<Arm>, Node<'_>)], found: &mut Findings<'_>) {
    let mean = |line: &Node<'_>| line::speed(&line.field("speed_mean"), &line.field("speed_unit"));
    let Some(first) = lines.iter().find_map(|(_, line)| mean(line)) else {
        return;
    };
    for (_, line) in lines {
        if let Some(speed) = mean(line) {
            let ratio = speed.kmh() / first.kmh();
            if limits::SPEED_RATIO_HIGHEST < ratio || ratio * limits::SPEED_RATIO_HIGHEST < 1.0 {
                found.fault(
                    &line.field("speed_mean"),
                    FaultCode::SpeedsFarApart,
                    format!("{:.1} km/h here and {:.1} km/h in an earlier session differ by more than a third; is one of them in the other unit?", speed.kmh(), first.kmh()),
                );
            }
        }
    }
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
