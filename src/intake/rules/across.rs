//! Rules over all sessions together.

use super::{Findings, class_of, line, reference_tension};
use crate::intake::fault::{FaultCode, FlagCode};
use crate::intake::node::Node;
use crate::protocol::{GapBand, Study, limits};
use crate::units::{Speed, Tension};
use crate::vocabulary::{Arm, ShotClass, SpeedOver};
use std::collections::BTreeMap;

pub(super) fn check(sessions: &Node<'_>, study: &Study, found: &mut Findings<'_>) {
    orders(sessions, found);
    if !sessions.is_miscounted() {
        let both_there = arms(sessions, study, found);
        if both_there {
            something_to_compare(sessions, found);
        }
    }
    for lines in timed_lines(sessions).values() {
        same_shots_timed(lines, found);
        speeds_near_each_other(lines, found);
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

/// The rules of arms and gap. Whether both arms are there, or may be.
fn arms(sessions: &Node<'_>, study: &Study, found: &mut Findings<'_>) -> bool {
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
    let mut both_there = true;
    for arm in Arm::ALL {
        if !words.is_empty() && words.iter().all(Option::is_some) && !words.contains(&Some(*arm)) {
            both_there = false;
            let sentence = format!(
                "There is no `{}` session; a pair needs one of each arm.",
                arm.code()
            );
            found.fault(sessions, FaultCode::ArmMissing, sentence);
        }
    }
    if let (Some(looser), Some(tighter)) = (tensions.get(&Arm::Looser), tensions.get(&Arm::Tighter))
    {
        gap(sessions, tighter.minus(*looser), study, found);
    }
    both_there
}

fn gap(sessions: &Node<'_>, gap: Tension, study: &Study, found: &mut Findings<'_>) {
    if gap.nanograms() <= 0 {
        found.fault(
            sessions,
            FaultCode::LooserNotLooser,
            "The looser sessions are not strung looser than the tighter ones; swap the two string beds, or mend a tension or unit.",
        );
    } else if study.protocol.analysis.bands.band_of(gap) == GapBand::UnderProtocol {
        found.flag(
            sessions,
            FlagCode::GapUnderProtocol,
            format!("The gap of {:.2} lb is smaller than the protocol asks; it is kept apart from the primary analysis.", gap.pounds()),
        );
    }
}

/// A shot line with the arm of its session.
type LineOfArm<'a> = (Option<Arm>, Node<'a>);

/// Every line with a mean speed, by class.
fn timed_lines<'a>(sessions: &Node<'a>) -> BTreeMap<ShotClass, Vec<LineOfArm<'a>>> {
    let mut timed: BTreeMap<ShotClass, Vec<LineOfArm<'_>>> = BTreeMap::new();
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
    timed
}

fn something_to_compare(sessions: &Node<'_>, found: &mut Findings<'_>) {
    let comparable = timed_lines(sessions).values().any(|lines| {
        Arm::ALL
            .iter()
            .all(|arm| lines.iter().any(|(of, _)| *of == Some(*arm)))
    });
    if sessions.is_present() && !comparable && can_be_compared(sessions) {
        found.fault(
            sessions,
            FaultCode::NothingToCompare,
            "No stroke and direction has a mean speed in both arms; give `speed_mean` for one class in each.",
        );
    }
}

/// Whether nothing that decides what can be compared is at fault.
fn can_be_compared(sessions: &Node<'_>) -> bool {
    let sound = |place: &Node<'_>, names: &[&str]| {
        !place.is_at_fault() && names.iter().all(|name| !place.field(name).is_at_fault())
    };
    sessions.items().iter().all(|session| {
        let shots = session.field("shots");
        sound(session, &["arm", "shots"])
            && !shots.is_miscounted()
            && shots.items().iter().all(|line| {
                sound(line, &["stroke", "direction", "speed_mean"]) && !line.is_misnamed()
            })
    })
}

fn same_shots_timed(lines: &[LineOfArm<'_>], found: &mut Findings<'_>) {
    let over = |line: &Node<'_>| {
        let word = line.field("speed_over");
        if word.is_absent() {
            Some(SpeedOver::Unknown)
        } else {
            word.word(SpeedOver::from_code)
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

/// Holds every mean speed of a class against the middle one; of two, the later is named.
fn speeds_near_each_other(lines: &[LineOfArm<'_>], found: &mut Findings<'_>) {
    let mean = |line: &Node<'_>| line::speed(&line.field("speed_mean"), &line.field("speed_unit"));
    let speeds: Vec<Speed> = lines.iter().filter_map(|(_, line)| mean(line)).collect();
    let usual = match speeds.as_slice() {
        [first, _] => *first,
        _ => {
            let mut sorted = speeds.clone();
            sorted.sort_unstable();
            let Some(middle) = sorted.get(sorted.len() / 2) else {
                return;
            };
            *middle
        }
    };
    for (_, line) in lines {
        let Some(speed) = mean(line) else { continue };
        let ratio = speed.kmh() / usual.kmh();
        if limits::SPEED_RATIO_HIGHEST < ratio || ratio * limits::SPEED_RATIO_HIGHEST < 1.0 {
            found.fault(
                &line.field("speed_mean"),
                FaultCode::SpeedsFarApart,
                format!("{:.1} km/h here and {:.1} km/h in another session differ by more than a third; is one of them in the other unit?", speed.kmh(), usual.kmh()),
            );
        }
    }
}
