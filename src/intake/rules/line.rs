//! The rules of one shot line.

use super::{Findings, class_of, deep, landed_in};
use crate::contribution::{DeepShare, Share};
use crate::effects::counts;
use crate::intake::fault::{FaultCode, FlagCode};
use crate::intake::node::Node;
use crate::protocol::limits;
use crate::units::{Speed, SpeedUnit};
use crate::vocabulary::{SpeedOver, Stroke};

pub(super) fn check(line: &Node<'_>, found: &mut Findings<'_>) {
    let hit = line.field("hit").whole().filter(|hit| 0 < *hit);
    let n_in = hit.and_then(|hit| n_in(line, hit, found));
    if let Some(hit) = hit {
        n_deep(line, hit, n_in, found);
        timed(line, hit, n_in, found);
    }
    let mean = line.field("speed_mean");
    let unit = line.field("speed_unit");
    if let Some(mean_speed) = speed(&mean, &unit) {
        if let Some(class) = class_of(line) {
            speed_within_bounds(&mean, mean_speed, class.stroke, found);
        }
        fastest(line, mean_speed, found);
        spread(line, mean_speed, found);
    }
}

/// A speed and its unit, when both can be read.
pub(super) fn speed(value: &Node<'_>, unit: &Node<'_>) -> Option<Speed> {
    Some(Speed::new(
        value.hundredths()?,
        unit.word(SpeedUnit::from_code)?,
    ))
}

pub(super) fn speed_within_bounds(
    place: &Node<'_>,
    speed: Speed,
    stroke: Stroke,
    found: &mut Findings<'_>,
) {
    let bounds = limits::speed_bounds(stroke);
    let kmh = speed.kmh();
    if kmh < bounds.lowest || bounds.highest < kmh {
        found.fault(
            place,
            FaultCode::SpeedOutOfBounds,
            format!(
                "{kmh:.2} km/h ({:.2} mph) is outside {} to {} km/h for a mean speed; check the number and its unit.",
                kmh / 1.609_344,
                bounds.lowest,
                bounds.highest
            ),
        );
    } else if kmh < bounds.usual_low || bounds.usual_high < kmh {
        found.flag(
            place,
            FlagCode::SpeedUnitSuspect,
            format!(
                "A mean of {kmh:.1} km/h ({:.1} mph) is unusual; is the unit right?",
                kmh / 1.609_344
            ),
        );
    }
}

/// Shots in as a count, with its rules.
fn n_in(line: &Node<'_>, hit: i64, found: &mut Findings<'_>) -> Option<i64> {
    match landed_in(line)? {
        Share::Count(count) => {
            if hit < count {
                found.fault(
                    &line.field("in"),
                    FaultCode::InMoreThanHit,
                    format!("{count} shots in are more than the {hit} hit; mend one of the two."),
                );
                return None;
            }
            Some(count)
        }
        Share::Percent(percent) => {
            let resolved = counts::from_percent(percent, hit)?;
            if !resolved.consistent {
                impossible_percent(&line.field("in_percent"), hit, found);
            }
            Some(resolved.count)
        }
    }
}

fn n_deep(line: &Node<'_>, hit: i64, n_in: Option<i64>, found: &mut Findings<'_>) {
    let Some(deep) = deep(line) else { return };
    let (place, resolved, base) = match deep {
        DeepShare::OfIn(Share::Count(count)) => {
            let (limit, of) = n_in.map_or((hit, "hit"), |n_in| (n_in, "that landed in"));
            if limit < count {
                found.fault(
                    &line.field("deep"),
                    FaultCode::DeepMoreThanIn,
                    format!(
                        "{count} deep shots are more than the {limit} {of}; mend one of the two."
                    ),
                );
            }
            return;
        }
        DeepShare::OfIn(Share::Percent(percent)) => {
            let Some(n_in) = n_in.filter(|n_in| 0 < *n_in) else {
                return;
            };
            (
                line.field("deep_percent"),
                counts::from_percent(percent, n_in),
                n_in,
            )
        }
        DeepShare::PercentOfHit(percent) => (
            line.field("deep_percent"),
            counts::from_percent(percent, hit),
            hit,
        ),
    };
    let Some(resolved) = resolved else { return };
    if !resolved.consistent {
        impossible_percent(&place, base, found);
    }
    if n_in.is_some_and(|n_in| n_in < resolved.count) {
        found.fault(
            &place,
            FaultCode::DeepMoreThanIn,
            format!("This makes {} deep shots, more than landed in; mend it, or look again at what it is a percentage of.", resolved.count),
        );
    }
}

fn impossible_percent(place: &Node<'_>, base: i64, found: &mut Findings<'_>) {
    found.flag(
        place,
        FlagCode::PercentImpossible,
        format!(
            "No whole number of {base} shots makes this percentage; the nearest count is used."
        ),
    );
}

fn timed(line: &Node<'_>, hit: i64, n_in: Option<i64>, found: &mut Findings<'_>) {
    let place = line.field("speed_n");
    let over = line.field("speed_over").word(SpeedOver::from_code);
    let limit = match over {
        Some(SpeedOver::In) => n_in.unwrap_or(hit),
        _ => hit,
    };
    match place.whole() {
        _ if limit == 0 && line.field("speed_mean").is_present() => found.fault(
            &line.field("speed_mean"),
            FaultCode::TimedMoreThanHit,
            "A mean over the shots in needs a shot in; leave the speed out, or mend `in` or `speed_over`.",
        ),
        Some(n) if limit < n => found.fault(
            &place,
            FaultCode::TimedMoreThanHit,
            format!("{n} timed shots are more than the {limit} there were; mend one of the two."),
        ),
        None if line.field("speed_mean").is_present() && place.is_absent() => found.flag(
            &place,
            FlagCode::TimedCountAssumed,
            format!("The number of timed shots is not given, so all {limit} are taken as timed."),
        ),
        _ => {}
    }
}

fn fastest(line: &Node<'_>, mean: Speed, found: &mut Findings<'_>) {
    let place = line.field("speed_max");
    if speed(&place, &line.field("speed_unit")).is_some_and(|fastest| fastest < mean) {
        found.fault(
            &place,
            FaultCode::MaxBelowMean,
            "The fastest shot is slower than the mean; swap or mend the two.",
        );
    }
}

/// The spread of single shots, of the player or the partner, against their mean.
pub(super) fn spread(line: &Node<'_>, mean: Speed, found: &mut Findings<'_>) {
    let place = line.field("speed_sd");
    let Some(sd) = speed(&place, &line.field("speed_unit")) else {
        return;
    };
    let cv = sd.kmh() / mean.kmh();
    let (lowest, highest) = limits::CV_BOUNDS;
    let (low, high) = limits::CV_USUAL;
    if cv < lowest || highest < cv {
        found.fault(
            &place,
            FaultCode::SpreadOutOfBounds,
            format!(
                "A standard deviation of {:.2} % of the mean is outside 1 to 100 %; leave it out unless it is one of single shots.",
                cv * 100.0
            ),
        );
    } else if cv < low || high < cv {
        found.flag(
            &place,
            FlagCode::SpreadUnusual,
            format!("A standard deviation of {:.0} % of the mean is unusual; is it a standard deviation?", cv * 100.0),
        );
    }
}
