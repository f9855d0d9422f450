//! What was read of a file, in figures and words.

use super::{Entered, Read};
use crate::contribution::{Contribution, DeepShare, Session, Share, ShotLine, SpeedSummary};
use crate::effects::{timed_shots, variance_inflation};
use crate::findings::labels::{class_label, outcome_label};
use crate::numbers::{MOST_DECIMALS, counted, fixed};
use crate::protocol::Study;
use crate::units::{Speed, SpeedUnit};
use crate::vocabulary::{Arm, Direction, Outcome, ShotClass};

/// What stands in a cell of which nothing was given.
const NOT_GIVEN: &str = "not given";

/// One session as it was read.
pub(super) struct SessionShown {
    pub(super) heading: String,
    pub(super) facts: Vec<String>,
    /// Strokes in all directions together.
    pub(super) lines: Vec<LineShown>,
    /// Single directions.
    pub(super) directions: Vec<LineShown>,
}

/// One shot class of a session.
pub(super) struct LineShown {
    pub(super) class: String,
    pub(super) hit: String,
    pub(super) landed_in: String,
    pub(super) deep: String,
    pub(super) mean: String,
    pub(super) sd: String,
    pub(super) timed: String,
    pub(super) worth: String,
}

/// Every session in the order of the file.
pub(super) fn sessions(read: &Read<'_>) -> Vec<SessionShown> {
    let sessions = read.contribution.sessions.iter().zip(&read.entered);
    sessions
        .enumerate()
        .map(|(place, (session, entered))| {
            let lines = session.lines.iter().zip(&entered.speed_units);
            let (all, apart): (Vec<_>, Vec<_>) =
                lines.partition(|(line, _)| line.class.direction == Direction::All);
            let shown = |lines: Vec<(&ShotLine, &SpeedUnit)>| -> Vec<LineShown> {
                let lines = lines.into_iter();
                lines.map(|(line, unit)| line_shown(line, *unit)).collect()
            };
            SessionShown {
                heading: format!("Session {}: {} string bed", place + 1, session.arm.code()),
                facts: facts(session, entered),
                lines: shown(all),
                directions: shown(apart),
            }
        })
        .collect()
}

fn facts(session: &Session, entered: &Entered) -> Vec<String> {
    let mut facts = vec![format!("Strung at {}.", entered.tension)];
    facts.push(session.conditions.order.map_or_else(
        || "Place in the order of play not given.".to_owned(),
        |order| format!("Number {order} in the order of play."),
    ));
    facts.push(entered.minutes.as_ref().map_or_else(
        || "Minutes not given.".to_owned(),
        |minutes| format!("{minutes} minutes of hitting."),
    ));
    facts.push(session.conditions.partner.map_or_else(
        || "Partner’s speed not given.".to_owned(),
        |partner| {
            let unit = entered.speed_units.first().copied();
            let unit = unit.unwrap_or(SpeedUnit::KilometrePerHour);
            format!("Partner’s mean speed {}.", speed_words(partner.mean, unit))
        },
    ));
    facts
}

fn line_shown(line: &ShotLine, unit: SpeedUnit) -> LineShown {
    let speed = line.speed.as_ref();
    let not_given = || NOT_GIVEN.to_owned();
    LineShown {
        class: class_label(line.class),
        hit: line.hit.to_string(),
        landed_in: line.landed_in.map_or_else(not_given, share_words),
        deep: line.deep.map_or_else(not_given, |deep| match deep {
            DeepShare::OfIn(Share::Count(count)) => count.to_string(),
            DeepShare::OfIn(Share::Percent(percent)) => format!("{} % of in", percent.to_f64()),
            DeepShare::PercentOfHit(percent) => format!("{} % of hit", percent.to_f64()),
        }),
        mean: speed.map_or_else(not_given, |speed| speed_words(speed.mean, unit)),
        sd: speed
            .and_then(|speed| speed.sd)
            .map_or_else(not_given, |sd| speed_words(sd, unit)),
        timed: speed.map_or_else(not_given, |speed| timed_shots(line, speed).to_string()),
        worth: speed.map_or_else(not_given, |speed| worth(line, speed)),
    }
}

fn share_words(share: Share) -> String {
    match share {
        Share::Count(count) => count.to_string(),
        Share::Percent(percent) => format!("{} %", percent.to_f64()),
    }
}

/// A speed in the unit it was entered in, which it came from exactly.
fn speed_words(speed: Speed, unit: SpeedUnit) -> String {
    let value = match unit {
        SpeedUnit::KilometrePerHour => speed.kmh(),
        // 1 mi = 1.609344 km by definition.
        SpeedUnit::MilePerHour => speed.kmh() / 1.609_344,
    };
    format!("{} {}", fixed(value, MOST_DECIMALS), unit.code())
}

/// How many unrelated shots tell as much of the mean.
#[expect(clippy::cast_precision_loss, reason = "at most 10,000 shots")]
fn worth(line: &ShotLine, speed: &SpeedSummary) -> String {
    let n = timed_shots(line, speed);
    if speed.lag1.is_none() {
        return format!("taken as {n}");
    }
    let effective = n as f64 / variance_inflation(speed.lag1);
    if effective < 9.5 {
        format!("about {}", fixed(effective, 1))
    } else {
        format!("about {}", fixed(effective, 0))
    }
}

/// What the study asks for and the file does not have.
pub(super) fn missing(contribution: &Contribution, study: &Study) -> Vec<String> {
    let minimum = study.protocol.minimum_shots;
    let mut missing = Vec::new();
    let mut classes: Vec<ShotClass> = Vec::new();
    for primary in &study.protocol.analysis.primary {
        for arm in Arm::ALL {
            let bed = arm.code();
            let class = class_label(primary.class);
            let lines: Vec<&ShotLine> = contribution.lines(*arm, primary.class).collect();
            let hit: i64 = lines.iter().map(|line| line.hit).sum();
            let is_given = |line: &&ShotLine| match primary.outcome {
                Outcome::Speed => line.speed.is_some(),
                Outcome::DeepShare => line.deep.is_some() && line.landed_in.is_some(),
                _ => line.landed_in.is_some(),
            };
            if hit < minimum {
                if !classes.contains(&primary.class) {
                    let shots = counted(u64::try_from(hit).unwrap_or(0), "shot", "shots");
                    missing.push(format!(
                        "The study asks for at least {minimum} shots of {class} with each string bed; with the {bed} one there are {shots}."
                    ));
                }
            } else if !lines.iter().all(is_given) {
                missing.push(format!(
                    "{} for {class} is not given in every session with the {bed} string bed.",
                    outcome_label(primary.outcome)
                ));
            }
        }
        classes.push(primary.class);
    }
    missing
}
