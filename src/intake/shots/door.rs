//! A summed-up file at the door: what the rules of a contribution find is told at the lines of the
//! file that it comes from.

use super::cells::Session;
use super::columns::Column;
use super::summary::{LeftOut, Line, Summary, is_small, summary};
use super::{Faults, Rejection, Shots};
use crate::findings::labels::class_label;
use crate::intake::fault::{Fault, FaultCode};
use crate::intake::uploaded;
use crate::protocol::Study;
use serde_json::json;
use std::collections::{BTreeMap, BTreeSet};

/// Sums the sessions up and holds the document against every rule of a contribution.
///
/// A class with a few shots can look implausible by chance: two volleys of one speed, say. What the
/// rules have against its speed or spread is then a reason to leave that figure out, and to say so,
/// as long as a class with enough shots stands beside it, which a mistaken unit would show in.
///
/// # Errors
/// What is wrong with the file.
pub(super) fn through(
    sessions: &BTreeMap<i64, Session>,
    study: &Study,
) -> Result<Shots, Rejection> {
    let mut left_out = BTreeSet::new();
    loop {
        let summary = summary(sessions, study, &left_out);
        let document = json!({"study": study.label.slug, "sessions": summary.sessions.clone()});
        let Err(rejection) = uploaded::checked(&document, study) else {
            return Ok(Shots {
                document,
                remarks: summary.remarks,
            });
        };
        let n_left_out = left_out.len();
        left_out.extend(implausible(&rejection, &summary));
        if left_out.len() == n_left_out {
            return Err(told(&rejection, sessions, &summary));
        }
    }
}

/// What is implausible of classes with few shots.
fn implausible(
    rejection: &Rejection,
    summary: &Summary,
) -> Vec<((usize, crate::vocabulary::ShotClass), LeftOut)> {
    let lines = || summary.classes.iter().flatten();
    let has_enough = lines().any(|line| {
        let of_class: Vec<&Line> = lines().filter(|other| other.class == line.class).collect();
        1 < of_class.len() && of_class.iter().all(|line| !is_small(line.n_timed))
    });
    let small = |fault: &Fault| {
        let (place, shot_place, field) = in_shots(&fault.pointer)?;
        let line = summary.classes.get(place)?.get(shot_place)?;
        let is_of_a_small_class = lines()
            .filter(|other| other.class == line.class)
            .any(|other| is_small(other.n_timed));
        let what = match field {
            "speed_sd" if is_small(line.n_timed) => LeftOut::Spread,
            "speed_mean" if is_of_a_small_class && has_enough => LeftOut::Speed,
            _ => return None,
        };
        Some(((place, line.class), what))
    };
    rejection.faults.iter().filter_map(small).collect()
}

/// The session, shot line and field of `/sessions/0/shots/1/speed_mean`.
fn in_shots(pointer: &str) -> Option<(usize, usize, &str)> {
    let (place, rest) = pointer.strip_prefix("/sessions/")?.split_once('/')?;
    let (shot_place, field) = rest.strip_prefix("shots/")?.split_once('/')?;
    Some((place.parse().ok()?, shot_place.parse().ok()?, field))
}

/// The faults of the document at the lines they come from.
fn told(rejection: &Rejection, sessions: &BTreeMap<i64, Session>, summary: &Summary) -> Rejection {
    let numbered: Vec<(&i64, &Session)> = sessions.iter().collect();
    let mut faults = Faults::default();
    for fault in &rejection.faults {
        if fault.code == FaultCode::NothingToCompare {
            let line = numbered
                .first()
                .map_or(1, |(_, session)| session.first_line);
            let sentence = "No stroke has a timed shot with both string beds; fill in `speed` for one stroke in a session of each.";
            let column = Column::Speed.code();
            faults.add(line, Some(column), fault.code, sentence.to_owned());
            continue;
        }
        let (line, column, of) = origin(&fault.pointer, &numbered, summary);
        let sentence = if of.is_empty() {
            fault.sentence.clone()
        } else {
            format!("{of}: {}", fault.sentence)
        };
        faults.add(line, Some(column.code()), fault.code, sentence);
    }
    match faults.none() {
        Err(told) => told,
        // A rejection without a fault would be a defect of the door.
        Ok(()) => super::unreadable(
            FaultCode::Unreadable,
            "The file passed every check and still could not be summed up; please report this."
                .to_owned(),
        ),
    }
}

/// The line, the column, and what of the file a place of the document speaks of.
fn origin(
    pointer: &str,
    sessions: &[(&i64, &Session)],
    summary: &Summary,
) -> (u64, Column, String) {
    let first_line = |place: usize| {
        sessions
            .get(place)
            .map_or(1, |(_, session)| session.first_line)
    };
    let label = |place: usize| {
        sessions
            .get(place)
            .map_or_else(String::new, |(number, _)| format!("Session {number}"))
    };
    if let Some((place, shot_place, field)) = in_shots(pointer) {
        let line = summary
            .classes
            .get(place)
            .and_then(|classes| classes.get(shot_place));
        let of = line.map_or_else(
            || label(place),
            |line| format!("{}, {}", label(place), class_label(line.class)),
        );
        let column = if field.starts_with("speed") {
            Column::Speed
        } else if field.starts_with("in") || field.starts_with("deep") {
            Column::Landed
        } else {
            Column::Stroke
        };
        let at = line.map_or_else(|| first_line(place), |line| line.first_line);
        return (at, column, of);
    }
    let mut tokens = pointer.split('/').skip(1);
    let place = tokens
        .nth(1)
        .and_then(|token| token.parse::<usize>().ok())
        .filter(|_| pointer.starts_with("/sessions/"));
    let column = match (tokens.next(), tokens.next()) {
        (Some("tension"), Some("crosses")) => Column::CrossesTension,
        (Some("tension"), Some("unit")) => Column::TensionUnit,
        (Some("tension"), _) => Column::Tension,
        (Some("minutes"), _) => Column::Minutes,
        (Some("partner"), _) => Column::PartnerSpeed,
        (Some("order"), _) => Column::Session,
        _ => Column::StringBed,
    };
    match place {
        Some(place) => (first_line(place), column, label(place)),
        None => (first_line(0), column, String::new()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_of_a_document_are_taken_apart() {
        assert_eq!(
            in_shots("/sessions/3/shots/12/speed_mean"),
            Some((3, 12, "speed_mean"))
        );
        assert_eq!(in_shots("/sessions/3/tension"), None);
        assert_eq!(in_shots("/sessions"), None);
    }
}
