//! What the host sees of a contribution when deciding whether it counts: everything but the
//! direction and the size of its effects.
//!
//! Whoever decides while seeing which way the figures point can steer the answer, and need not even
//! mean to. So what differs between the arms is told for both together only: the mean of the
//! looser and the tighter arm. What is told of each session says nothing of the outcomes: how many
//! shots there were and were timed, how widely their speeds scatter for their mean, and how far the
//! fastest stands out. Looser and tighter may trade all outcomes without a change in what is seen,
//! and an effect may be any size.
//!
//! Absent on purpose: the figures of a single session's speed, shares, spin, partner and rallies.

use crate::contribution::{Contribution, Session, ShotLine, SpeedSummary};
use crate::effects::{ArmCount, share_counts};
use crate::units::Tension;
use crate::vocabulary::{Arm, Outcome, ShotClass, SpeedOver};

/// A pair without its effects.
#[derive(Clone, Debug, PartialEq)]
pub struct BlindPair {
    /// Tighter minus looser reference tension.
    pub gap: Option<Tension>,
    /// Every session, in the order it was given.
    pub sessions: Vec<BlindSession>,
    /// What both arms have in common, one entry for each class in both.
    pub classes: Vec<BlindClass>,
}

/// A session without its outcomes.
#[derive(Clone, Debug, PartialEq)]
pub struct BlindSession {
    /// With which string bed.
    pub arm: Arm,
    /// Reference tension.
    pub tension: Tension,
    /// Place in time.
    pub order: Option<i64>,
    /// One entry for each class.
    pub lines: Vec<BlindLine>,
}

/// A class of shots in one session, without outcomes.
#[derive(Clone, Debug, PartialEq)]
pub struct BlindLine {
    /// The class.
    pub class: ShotClass,
    /// Shots hit.
    pub hit: i64,
    /// Shots timed, where that is told.
    pub timed: Option<i64>,
    /// Over which shots the mean is.
    pub over: Option<SpeedOver>,
    /// Standard deviation over mean, in percent.
    pub spread_percent: Option<f64>,
    /// How many standard deviations the fastest shot is above the mean.
    pub fastest_sds: Option<f64>,
}

/// A class of shots over both arms: the mean of what each arm says.
#[derive(Clone, Debug, PartialEq)]
pub struct BlindClass {
    /// The class.
    pub class: ShotClass,
    /// Mean speed, km/h.
    pub speed_kmh: Option<f64>,
    /// In per shot hit, percent.
    pub in_percent: Option<f64>,
    /// Deep per shot in, percent.
    pub deep_percent: Option<f64>,
}

/// A contribution as the host may see it before deciding.
#[must_use]
pub fn blind(contribution: &Contribution) -> BlindPair {
    let classes = contribution.classes_in_both_arms();
    BlindPair {
        gap: contribution.gap(),
        sessions: contribution.sessions.iter().map(session).collect(),
        classes: classes
            .into_iter()
            .map(|class| over_both(contribution, class))
            .collect(),
    }
}

fn session(session: &Session) -> BlindSession {
    BlindSession {
        arm: session.arm,
        tension: session.tension,
        order: session.conditions.order,
        lines: session.lines.iter().map(line).collect(),
    }
}

fn line(line: &ShotLine) -> BlindLine {
    let speed = line.speed.as_ref();
    BlindLine {
        class: line.class,
        hit: line.hit,
        timed: speed.and_then(|speed| speed.n),
        over: speed.map(|speed| speed.over),
        spread_percent: speed.and_then(spread_percent),
        fastest_sds: speed.and_then(fastest_sds),
    }
}

fn spread_percent(speed: &SpeedSummary) -> Option<f64> {
    Some(100.0 * speed.sd?.kmh() / speed.mean.kmh())
}

fn fastest_sds(speed: &SpeedSummary) -> Option<f64> {
    Some((speed.max?.kmh() - speed.mean.kmh()) / speed.sd?.kmh())
}

fn over_both(contribution: &Contribution, class: ShotClass) -> BlindClass {
    let speed = |arm| {
        let lines = contribution.lines(arm, class);
        mean(lines.filter_map(|line| Some(line.speed.as_ref()?.mean.kmh())))
    };
    let percent = |outcome| {
        let counts = share_counts(contribution, outcome, class)?;
        let share = |arm: ArmCount| 100.0 * to_f64(arm.x) / to_f64(arm.n);
        Some(f64::midpoint(share(counts.looser), share(counts.tighter)))
    };
    BlindClass {
        class,
        speed_kmh: speed(Arm::Looser)
            .zip(speed(Arm::Tighter))
            .map(|(looser, tighter)| f64::midpoint(looser, tighter)),
        in_percent: percent(Outcome::InShare),
        deep_percent: percent(Outcome::DeepShare),
    }
}

/// The mean of the sessions that tell; `None` when none does.
fn mean(figures: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, n) = figures.fold((0.0, 0.0), |(sum, n), figure| (sum + figure, n + 1.0));
    (0.0 < n).then(|| sum / n)
}

#[expect(clippy::cast_precision_loss, reason = "counts are at most 80,000")]
const fn to_f64(count: i64) -> f64 {
    count as f64
}

#[cfg(test)]
mod tests;
