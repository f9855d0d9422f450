//! Sessions that agree better than chance allows: figures made up, or one session written down twice.
//!
//! Whoever invents a session from another leaves counts, spreads or fastest shots as they were. For
//! honest sessions chance alone moves them: a count of `n` shots by `sqrt(n p q)`, a mean by `s /
//! sqrt(n)`, the logarithm of a standard deviation by `1 / sqrt(2 (n - 1))` and the fastest of `n`
//! normal shots by about `1.28 s / sqrt(2 ln n)` (Gumbel 1958, Statistics of Extremes; from memory).
//! Days that differ and shots that are correlated only move them further.

use super::chance::{as_telling, closeness, combined, odds};
use super::lines::{Line, Lines, Speeds, Steps, number};
use super::{Rule, ScreeningFlag};
use crate::effects::Tally;

/// Below this chance a contribution is held. At most one honest contribution in two hundred is by
/// each rule here, since every chance errs upwards (see the simulation in `DEVELOPERS.md`).
pub(super) const HELD_BELOW: f64 = 5e-3;
/// Below this chance it is flagged.
pub(super) const FLAGGED_BELOW: f64 = 2e-2;

/// The formulas for spreads and fastest shots hold for normal shots; shots with lighter tails move
/// them less. Uniform shots, lighter than any stroke, move a standard deviation 0.63 times as much
/// (kurtosis 1.8 in place of 3); our bound lies between.
const LIGHTER_TAILS: f64 = 0.75;

/// Below this many timed shots a spread is not compared.
const FEWEST_TIMED: f64 = 5.0;

/// Two ways of reading "the same", each with all figures and with whole figures alone.
const WAYS: f64 = 4.0;

/// Two sessions of the pair whose figures are more alike than chance allows.
pub(super) fn sessions_alike(lines: &Lines) -> Option<ScreeningFlag> {
    let n = lines.sessions.len();
    let pairs = (0..n).flat_map(|first| (first + 1..n).map(move |second| (first, second)));
    let chances: Vec<f64> = pairs
        .filter_map(|(first, second)| {
            let (first, second) = (lines.sessions.get(first)?, lines.sessions.get(second)?);
            Some(two_sessions(first, second, lines.steps))
        })
        .collect();
    let n_pairs = chances.iter().map(|_| 1.0).sum::<f64>();
    let least = least(chances)? * n_pairs;
    flag(
        Rule::SessionsAlike,
        least,
        "Two of the sessions are more alike than chance usually makes them. Was one of them entered twice?",
    )
}

fn two_sessions(first: &[Line], second: &[Line], steps: Steps) -> f64 {
    let both = || {
        let of = |line: &Line| second.iter().find(|other| other.class == line.class);
        first.iter().filter_map(move |line| Some((line, of(line)?)))
    };
    let same_speeds: Vec<Near> = both()
        .flat_map(|(a, b)| shares(a, b).into_iter().chain(speeds(a, b, steps, false)))
        .collect();
    let shifted_speeds: Vec<Near> = both()
        .flat_map(|(a, b)| shares(a, b).into_iter().chain(speeds(a, b, steps, true)))
        .collect();
    let chances = [same_speeds, shifted_speeds].into_iter().flat_map(|near| {
        let all: Vec<f64> = near.iter().map(|near| near.chance).collect();
        let whole: Vec<(f64, bool)> = near.iter().map(|near| (near.same, near.is_same)).collect();
        [combined(&all), as_telling(&whole)]
    });
    least(chances.collect()).unwrap_or(1.0) * WAYS
}

/// How near two figures are.
#[derive(Clone, Copy, Debug)]
struct Near {
    /// The chance that they are as near.
    chance: f64,
    /// The chance that they are the same.
    same: f64,
    /// Whether they are the same.
    is_same: bool,
}

impl Near {
    fn of(difference: f64, half_step: f64, sd: f64) -> Option<Self> {
        Some(Self {
            chance: closeness(difference, half_step, sd)?,
            same: closeness(0.0, half_step, sd)?,
            is_same: difference.abs() < half_step,
        })
    }
}

fn shares(a: &Line, b: &Line) -> Vec<Near> {
    let share = |a: Option<Tally>, b: Option<Tally>| near_share(a?, b?);
    [share(a.landed_in, b.landed_in), share(a.deep, b.deep)]
        .into_iter()
        .flatten()
        .collect()
}

/// How near two shares are, against the binomial scatter about their common share, which is shrunk
/// a little away from the edges.
fn near_share(a: Tally, b: Tally) -> Option<Near> {
    if a.n <= 0 || b.n <= 0 {
        return None;
    }
    let (n_a, n_b) = (number(a.n), number(b.n));
    let common = (number(a.x + b.x) + 1.0) / (n_a + n_b + 2.0);
    let variance = common * (1.0 - common) * (1.0 / n_a + 1.0 / n_b);
    let more = if n_a < n_b { n_b } else { n_a };
    Near::of(
        number(a.x) / n_a - number(b.x) / n_b,
        0.5 / more,
        variance.sqrt(),
    )
}

/// How near the speeds of two lines are; shifted, how near they would be if one line were the other
/// with a constant added.
fn speeds(a: &Line, b: &Line, steps: Steps, shifted: bool) -> Vec<Near> {
    let (Some(a), Some(b)) = (a.speeds, b.speeds) else {
        return Vec::new();
    };
    if a.n < FEWEST_TIMED || b.n < FEWEST_TIMED {
        return Vec::new();
    }
    let mean_sd = (a.sd_or_small().powi(2) / a.n + b.sd_or_small().powi(2) / b.n).sqrt();
    let extremes = (fastest_sd(a).powi(2) + fastest_sd(b).powi(2)).sqrt();
    let mean = || Near::of(a.mean - b.mean, 0.5 * steps.mean, mean_sd);
    let sd = || {
        let (one, two) = (a.sd?, b.sd?);
        Near::of(
            one - two,
            0.5 * steps.sd,
            log_sd_sd(a, b) * f64::midpoint(one, two),
        )
    };
    let max = || Near::of(a.max? - b.max?, 0.5 * steps.max, extremes);
    let reach = || {
        let half_step = 0.5 * (steps.mean + steps.max);
        Near::of(a.reach()? - b.reach()?, half_step, extremes)
    };
    let figures = if shifted {
        [sd(), reach(), None]
    } else {
        [mean(), sd(), max()]
    };
    figures.into_iter().flatten().collect()
}

/// Standard deviation of the fastest shot about its expectation.
fn fastest_sd(speeds: Speeds) -> f64 {
    LIGHTER_TAILS * 1.28 * speeds.sd_or_small() / (2.0 * speeds.n.ln()).sqrt()
}

/// Standard deviation of the difference of two logarithms of standard deviations.
fn log_sd_sd(a: Speeds, b: Speeds) -> f64 {
    LIGHTER_TAILS * (0.5 / (a.n - 1.0) + 0.5 / (b.n - 1.0)).sqrt()
}

/// Counts that agree over all sessions better than chance allows: each session against all before
/// it, so that the comparisons are independent (Helmert contrasts).
pub(super) fn counts_too_even(lines: &Lines) -> Option<ScreeningFlag> {
    let mut chances = Vec::new();
    for class in lines.classes() {
        for share in [|line: &Line| line.landed_in, |line: &Line| line.deep] {
            let tallies = lines.of_class(class).filter_map(share);
            tallies.reduce(|before, tally| {
                chances.extend(near_share(before, tally).map(|near| near.chance));
                Tally {
                    x: before.x + tally.x,
                    n: before.n + tally.n,
                    consistent: before.consistent && tally.consistent,
                }
            });
        }
    }
    flag(
        Rule::CountsTooEven,
        combined(&chances),
        "The counts of the sessions agree better than chance usually lets them. Were they counted, or estimated?",
    )
}

/// Standard deviations, and fastest shots, in one proportion over all lines.
pub(super) fn speeds_too_regular(lines: &Lines) -> Option<ScreeningFlag> {
    let speeds: Vec<Speeds> = lines
        .all()
        .filter_map(|line| line.speeds)
        .filter(|speeds| FEWEST_TIMED <= speeds.n && speeds.sd.is_some())
        .collect();
    let mut chances = Vec::new();
    for (place, later) in speeds.iter().enumerate() {
        // Against the mean of all before it, as if that had their shots together.
        let before = speeds.get(..place).unwrap_or_default();
        chances.extend(near_spread(before, *later, lines.steps));
        chances.extend(near_reach(before, *later, lines.steps));
    }
    let least = least(vec![
        combined(&chances),
        round_parts(&speeds, lines.steps, 0.05),
        round_parts(&speeds, lines.steps, 0.01),
    ])?;
    flag(
        Rule::SpeedsTooRegular,
        3.0 * least,
        "Standard deviations or fastest shots keep one proportion to their means, more exactly than shots usually do. Were they measured, or worked out?",
    )
}

/// The chance that as many standard deviations and fastest shots are whole multiples of a part of
/// their means.
fn round_parts(speeds: &[Speeds], steps: Steps, part: f64) -> f64 {
    let is_round = |figure: f64, half_step: f64, mean: f64| {
        let multiple = figure / mean / part;
        // Rounding of the mean moves the multiple too.
        let slack = (half_step + 0.5 * steps.mean * figure / mean) / mean / part;
        let miss = (multiple - multiple.round()).abs();
        (2.0 * slack < 0.5).then_some((2.0 * slack, miss <= slack))
    };
    let events: Vec<(f64, bool)> = speeds
        .iter()
        .flat_map(|speeds| {
            let sd = speeds
                .sd
                .and_then(|sd| is_round(sd, 0.5 * steps.sd, speeds.mean));
            let max = speeds
                .max
                .and_then(|max| is_round(max, 0.5 * steps.max, speeds.mean));
            [sd, max]
        })
        .flatten()
        .collect();
    as_telling(&events)
}

fn near_spread(before: &[Speeds], later: Speeds, steps: Steps) -> Option<f64> {
    let log_cv = |speeds: &Speeds| Some((speeds.sd? / speeds.mean).ln());
    let mean = mean(before.iter().filter_map(log_cv))?;
    let shots: f64 = before.iter().map(|speeds| speeds.n - 1.0).sum();
    let sd = LIGHTER_TAILS * (0.5 / (later.n - 1.0) + 0.5 / shots).sqrt();
    closeness(log_cv(&later)? - mean, 0.5 * steps.sd / later.sd?, sd)
}

fn near_reach(before: &[Speeds], later: Speeds, steps: Steps) -> Option<f64> {
    let ratio = |speeds: &Speeds| Some(speeds.reach()? / speeds.sd?);
    let ratios: Vec<f64> = before.iter().filter_map(ratio).collect();
    let earlier = ratios.iter().map(|_| 1.0).sum::<f64>();
    let mean = mean(ratios.into_iter())?;
    let one = fastest_sd(later) / later.sd?;
    let half_step = 0.5 * (steps.mean + steps.max + steps.sd * mean) / later.sd?;
    closeness(
        ratio(&later)? - mean,
        half_step,
        one * (1.0 + 1.0 / earlier).sqrt(),
    )
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (mut sum, mut n) = (0.0, 0.0);
    for value in values {
        sum += value;
        n += 1.0;
    }
    (0.0 < n).then(|| sum / n)
}

fn least(chances: Vec<f64>) -> Option<f64> {
    chances.into_iter().reduce(|a, b| if b < a { b } else { a })
}

pub(super) fn flag(rule: Rule, chance: f64, sentence: &str) -> Option<ScreeningFlag> {
    (chance < FLAGGED_BELOW)
        .then(|| ScreeningFlag::new(rule, chance < HELD_BELOW, Some(odds(chance)), sentence))
}
