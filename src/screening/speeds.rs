//! Speeds that no stroke reaches, and fastest shots, means and standard deviations that cannot, or
//! hardly can, belong to the same shots.
//!
//! Of `n` shots with mean `m` and standard deviation `s` (divisor n - 1) none is further from the
//! mean than `s (n - 1)/sqrt(n)` (Samuelson 1968, JASA 63:1522), and the fastest is at least
//! `s/sqrt(n)` above it, reached when all shots but one are alike (Wolkowicz & Styan 1979, South
//! African Statistical Journal 13:1; from memory). Both hold for any figures whatsoever. Inside them
//! the fastest shot is held against what normal shots let expect, `E s` ([`expected_maximum`]), with
//! limits wide enough for shots that are skewed either way.

use super::lines::{Line, Lines, Speeds, Steps};
use super::{Rule, ScreeningFlag};
use crate::contribution::{Contribution, SpeedSummary};
use crate::effects::spread::expected_maximum;
use crate::units::Speed;
use crate::vocabulary::Stroke;

/// Spread and fastest shot of this many shots or more are held against what is to be expected.
const FEWEST_SHOTS: f64 = 15.0;

/// A fastest shot nearer to the mean than this part of what normal shots let expect holds the
/// contribution. Uniform shots, which have no tail at all, reach `sqrt(3) s`: 0.69 of it at 100 shots.
const REACH_HELD_LOW: f64 = 0.5;
/// Below this it is flagged.
const REACH_FLAGGED_LOW: f64 = 0.6;
/// Above this it is flagged. Shots with skewness 0.61 get there in about one session of a hundred.
const REACH_FLAGGED_HIGH: f64 = 2.0;
/// Above this it holds: one misread shot among a hundred that are right does it too, and that is
/// worth a look.
const REACH_HELD_HIGH: f64 = 2.6;

/// A coefficient of variation below this holds: half of what a ball machine leaves (Bower & Cross
/// 2005, 9 %, proxy) and less again for serves, which nobody feeds (our bounds).
const CV_HELD_LOW: f64 = 0.03;
/// The same for serves.
const CV_HELD_LOW_SERVE: f64 = 0.02;
/// A coefficient of variation above this holds (our bound).
const CV_HELD_HIGH: f64 = 0.6;
/// Where no standard deviation is given: the fastest of at least [`FEWEST_SHOTS`] shots is at least
/// this part of the mean above it (our bound; normal shots at the lowest coefficient reach twice
/// as far).
const LEAST_REACH: f64 = 0.03;

/// Fastest shots, km/h: above the first one is flagged, above the second it holds. The fastest
/// serves recorded are about 263 km/h and the fastest ground strokes about 200 km/h (from memory);
/// a device that misreads one shot is believed a little beyond.
const FASTEST_SERVE: (f64, f64) = (265.0, 290.0);
/// The same for every other stroke.
const FASTEST_OTHER: (f64, f64) = (215.0, 250.0);

/// Largest mean speed of ground strokes and volleys at level 1, and how much less for each level
/// below, km/h. Professional men average about 122 km/h (secondary source), and weaker levels are
/// given twice the room that separates them (our bounds).
const GROUND_STROKE: (f64, f64) = (150.0, 4.5);
/// The same for serves.
const SERVE: (f64, f64) = (215.0, 7.5);

/// Speeds beyond what the stroke or the level allows.
pub(super) fn implausible(contribution: &Contribution, itn: Option<i64>) -> Option<ScreeningFlag> {
    let lines = contribution
        .sessions
        .iter()
        .flat_map(|session| &session.lines);
    let speeds: Vec<_> = lines
        .filter_map(|line| Some((line.class.stroke, line.speed?)))
        .collect();
    // Whether a line is beyond what is believed, and whether it holds.
    let beyond = |(stroke, speed): &(Stroke, SpeedSummary)| {
        let (unusual, impossible) = match stroke {
            Stroke::Serve => FASTEST_SERVE,
            _ => FASTEST_OTHER,
        };
        let max = speed.max.map(Speed::kmh);
        let level = itn.and_then(|itn| most_of_level(*stroke, itn));
        let holds = max.is_some_and(|max| impossible < max)
            || level.is_some_and(|most| most < speed.mean.kmh());
        (holds || max.is_some_and(|max| unusual < max), holds)
    };
    let found: Vec<(bool, bool)> = speeds.iter().map(beyond).collect();
    let n_beyond = found.iter().filter(|(is_beyond, _)| *is_beyond).count();
    (0 < n_beyond).then(|| {
        ScreeningFlag::new(
            Rule::SpeedImplausible,
            found.iter().any(|(_, holds)| *holds),
            Some(format!("{n_beyond} of {} lines", speeds.len())),
            "A speed is higher than the stroke, or the level given, lets expect. Is the unit right, and the level?",
        )
    })
}

/// The largest mean speed that is believed at a level; `None` where strokes are mixed.
fn most_of_level(stroke: Stroke, itn: i64) -> Option<f64> {
    let (strongest, per_level) = match stroke {
        Stroke::Serve => SERVE,
        Stroke::Forehand | Stroke::Backhand | Stroke::Volley => GROUND_STROKE,
        Stroke::All => return None,
    };
    Some(strongest - per_level * super::lines::number(itn - 1))
}

/// What the fastest shot says of mean and standard deviation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Fit {
    Fits,
    Unusual,
    Hardly,
    Impossible,
}

/// Fastest shots that do not fit their means and standard deviations.
pub(super) fn inconsistent(lines: &Lines) -> Option<ScreeningFlag> {
    let speeds: Vec<Speeds> = lines.all().filter_map(|line| line.speeds).collect();
    let fits: Vec<Fit> = speeds
        .iter()
        .filter_map(|speeds| fit(*speeds, lines.steps))
        .collect();
    let worst = fits
        .iter()
        .copied()
        .max()
        .filter(|worst| *worst != Fit::Fits)?;
    let n_odd = fits.iter().filter(|fit| **fit != Fit::Fits).count();
    let sentence = match worst {
        Fit::Impossible => {
            "A fastest shot cannot belong to its mean and standard deviation, whatever the shots were. Is one of the three mistyped?"
        }
        _ => {
            "A fastest shot lies unusually near to, or far from, its mean for its standard deviation. Is one of the three mistyped, or a shot misread?"
        }
    };
    Some(ScreeningFlag::new(
        Rule::SpeedsInconsistent,
        Fit::Unusual < worst,
        Some(format!("{n_odd} of {} fastest shots", fits.len())),
        sentence,
    ))
}

/// `None` unless there are a fastest shot and a standard deviation.
fn fit(speeds: Speeds, steps: Steps) -> Option<Fit> {
    let (reach, sd) = (speeds.reach()?, speeds.sd?);
    let n = speeds.n;
    if n < 2.0 {
        return None;
    }
    // Each of the three was rounded, and the divisor of the standard deviation may be n.
    let slack = 0.5 * (steps.mean + steps.max);
    let widened = (n / (n - 1.0)).sqrt();
    let (least_sd, most_sd) = (sd - 0.5 * steps.sd, (sd + 0.5 * steps.sd) * widened);
    let furthest = most_sd * (n - 1.0) / n.sqrt() + slack;
    let nearest = least_sd / n.sqrt() - slack;
    if furthest < reach || reach < nearest {
        return Some(Fit::Impossible);
    }
    if n < FEWEST_SHOTS {
        return Some(Fit::Fits);
    }
    let expected = expected_maximum(whole(n)).ok()?;
    let (low, high) = ((reach + slack) / least_sd, (reach - slack) / most_sd);
    let is_outside = |from: f64, to: f64| low < from * expected || to * expected < high;
    Some(if is_outside(REACH_HELD_LOW, REACH_HELD_HIGH) {
        Fit::Hardly
    } else if is_outside(REACH_FLAGGED_LOW, REACH_FLAGGED_HIGH) {
        Fit::Unusual
    } else {
        Fit::Fits
    })
}

#[expect(clippy::cast_possible_truncation, reason = "a count of shots")]
const fn whole(n: f64) -> i64 {
    n as i64
}

/// Lines whose shots hardly differ, or differ as much as their mean.
pub(super) fn spread(lines: &Lines) -> Option<ScreeningFlag> {
    let (mut n_odd, mut n_lines) = (0, 0);
    for line in lines.all() {
        if let Some(is_odd) = is_spread_odd(line, lines.steps) {
            n_lines += 1;
            n_odd += i32::from(is_odd);
        }
    }
    (0 < n_odd).then(|| {
        ScreeningFlag::new(
            Rule::SpreadImplausible,
            true,
            Some(format!("{n_odd} of {n_lines} lines")),
            "The speeds of single shots differ far less, or far more, than strokes do. Is the figure a standard deviation of single shots?",
        )
    })
}

fn is_spread_odd(line: &Line, steps: Steps) -> Option<bool> {
    let speeds = line.speeds.filter(|speeds| FEWEST_SHOTS <= speeds.n)?;
    let Some(sd) = speeds.sd else {
        let reach = speeds.reach()? + 0.5 * (steps.mean + steps.max);
        return Some(reach < LEAST_REACH * speeds.mean);
    };
    let lowest = if line.class.stroke == Stroke::Serve {
        CV_HELD_LOW_SERVE
    } else {
        CV_HELD_LOW
    };
    let (least, most) = (sd - 0.5 * steps.sd, sd + 0.5 * steps.sd);
    Some(most < lowest * speeds.mean || CV_HELD_HIGH * speeds.mean < least)
}
