//! What secondary outcomes are made of: spin, directions, rallies and the partner's speed.
//!
//! - Topspin and flat share are taken of all shots of the session: of topspin, flat and slice
//!   together when the three are counts; when they are percentages, of the session's shots, and
//!   each becomes the nearest whole count of them. The session's shots are its line of all strokes
//!   in all directions, or else the sum over the strokes that have lines. A player who counted some
//!   strokes only gives a number that is too small, hence a variance that is too large and never
//!   one that is too small.
//! - Cross-court share is taken of the stroke's line of all directions, or else of its three
//!   directions together. A session whose directions add up to more than its line of all
//!   directions contradicts itself and says nothing; one with neither leaves open how many there
//!   were. No shot counts twice, because a line is never added to the line that contains it.
//! - Long-rally share is taken of the rallies played.
//! - The partner's mean speed needs its standard deviation and number of shots. Nothing is
//!   imputed: how one player's shots vary says little about another's.

use super::counts;
use super::shares::Tally;
use super::speed::SessionSpeed;
use crate::contribution::{Session, Spin};
use crate::units::Hundredths;
use crate::vocabulary::{Direction, ShotClass, Stroke};

/// Shots with topspin of all shots of a session.
pub(super) fn topspin(session: &Session, _: ShotClass) -> Option<Tally> {
    match session.conditions.spin? {
        Spin::Counts {
            topspin,
            flat,
            slice,
        } => Some(exact(topspin, topspin + flat + slice)),
        Spin::Percents { topspin, .. } => of_shots(topspin, session),
    }
}

/// Flat shots of all shots of a session.
pub(super) fn flat(session: &Session, _: ShotClass) -> Option<Tally> {
    match session.conditions.spin? {
        Spin::Counts {
            topspin,
            flat,
            slice,
        } => Some(exact(flat, topspin + flat + slice)),
        Spin::Percents { flat, .. } => of_shots(flat, session),
    }
}

/// Cross-court shots of the shots of a stroke.
pub(super) fn crosscourt(session: &Session, class: ShotClass) -> Option<Tally> {
    let hit = |direction| hit(session, class.stroke, direction);
    let crosscourt = hit(Direction::Crosscourt)?;
    let elsewhere = [Direction::DownTheLine, Direction::Middle].map(hit);
    let known: i64 = elsewhere.into_iter().flatten().sum();
    match hit(Direction::All) {
        Some(all) => (crosscourt + known <= all).then(|| exact(crosscourt, all)),
        None => elsewhere
            .iter()
            .all(Option::is_some)
            .then(|| exact(crosscourt, crosscourt + known)),
    }
}

/// Rallies above the protocol's length of the rallies played.
pub(super) fn long_rallies(session: &Session, _: ShotClass) -> Option<Tally> {
    let rallies = session.conditions.rallies?;
    Some(exact(rallies.above_length?, rallies.played))
}

/// The partner's mean speed, when its spread and number of shots are known.
pub(super) fn partner(session: &Session) -> Option<SessionSpeed> {
    let partner = session.conditions.partner?;
    Some(SessionSpeed {
        n: partner.n?,
        mean: partner.mean.kmh(),
        square: partner.sd?.kmh().powi(2),
        inflation: 1.0,
        imputed: None,
    })
}

/// At least so many shots were hit in a session: all of them, or else those of its largest line.
pub(super) fn shots_at_least(session: &Session) -> i64 {
    let largest = session.lines.iter().map(|line| line.hit).max();
    shots(session).or(largest).unwrap_or(0)
}

const fn exact(x: i64, n: i64) -> Tally {
    Tally {
        x,
        n,
        consistent: true,
    }
}

fn of_shots(percent: Hundredths, session: &Session) -> Option<Tally> {
    let n = shots(session)?;
    let resolved = counts::from_percent(percent, n)?;
    Some(Tally {
        x: resolved.count,
        n,
        consistent: resolved.consistent,
    })
}

fn hit(session: &Session, stroke: Stroke, direction: Direction) -> Option<i64> {
    Some(session.line(ShotClass { stroke, direction })?.hit)
}

/// Shots of a stroke in all directions; `None` when its lines leave that open.
fn shots_of_stroke(session: &Session, stroke: Stroke) -> Option<i64> {
    let hit = |direction| hit(session, stroke, direction);
    hit(Direction::All).or_else(|| {
        Some(hit(Direction::Crosscourt)? + hit(Direction::DownTheLine)? + hit(Direction::Middle)?)
    })
}

/// Shots of a session; `None` when its lines leave that open.
fn shots(session: &Session) -> Option<i64> {
    shots_of_stroke(session, Stroke::All).or_else(|| {
        let has_lines = |stroke: &&Stroke| {
            session
                .lines
                .iter()
                .any(|line| line.class.stroke == **stroke)
        };
        let strokes: Vec<Stroke> = Stroke::ALL.iter().filter(has_lines).copied().collect();
        // Lines of all strokes in some directions say nothing of the strokes beside them.
        (!strokes.is_empty() && !strokes.contains(&Stroke::All)).then(|| {
            strokes
                .into_iter()
                .map(|stroke| shots_of_stroke(session, stroke))
                .sum::<Option<i64>>()
        })?
    })
}

#[cfg(test)]
mod tests;
