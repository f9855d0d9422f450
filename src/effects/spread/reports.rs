//! What the players who report a standard deviation say, in an order that depends on the content
//! alone.

use super::maximum::{self, FEWEST_SHOTS};
use crate::contribution::{Contribution, ShotLine, SpeedSummary};
use crate::effects::{timed_shots, to_f64};
use crate::pooling::sums::compensated_sum;
use crate::units::Speed;
use crate::vocabulary::ShotClass;
use std::collections::BTreeMap;

/// What one session reports of one class.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct LineReport {
    pub(super) class: ShotClass,
    /// ln CV by the standard deviation.
    pub(super) log_cv: f64,
    /// ln of the standard deviation that the maximum suggests over the reported one, where both
    /// were given.
    pub(super) log_ratio: Option<f64>,
}

/// What one pair says of spread: all that a crowd keeps of it.
#[derive(Clone, Debug, PartialEq)]
pub struct PairReport {
    /// Stands for the content of the pair.
    pub(super) fingerprint: u64,
    /// Of every session and class with a standard deviation.
    pub(super) lines: Vec<LineReport>,
}

/// A player who reports a standard deviation in some pair.
#[derive(Clone, Debug)]
pub(super) struct Reporter {
    /// Every pair, also one without a standard deviation.
    pub(super) pairs: Vec<PairReport>,
}

impl Reporter {
    /// The smallest fingerprint of the player's pairs.
    pub(super) fn fingerprint(&self) -> Option<u64> {
        self.pairs.iter().map(|pair| pair.fingerprint).min()
    }

    /// Everything the player reports.
    pub(super) fn lines(&self) -> impl Iterator<Item = &LineReport> {
        self.pairs.iter().flat_map(|pair| &pair.lines)
    }

    /// Mean ln CV over all sessions with a class.
    pub(super) fn log_cv(&self, class: ShotClass) -> Option<f64> {
        let of_class = self.lines().filter(|line| line.class == class);
        mean(of_class.map(|line| line.log_cv))
    }

    /// Mean over all sessions of ln of the suggested over the reported standard deviation.
    pub(super) fn log_ratio(&self) -> Option<f64> {
        mean(self.lines().filter_map(|line| line.log_ratio))
    }
}

/// The players who report a standard deviation. Players are numbered by the caller.
pub(super) fn collect(reports: impl IntoIterator<Item = (usize, PairReport)>) -> Vec<Reporter> {
    let mut players: BTreeMap<usize, Vec<PairReport>> = BTreeMap::new();
    for (player, report) in reports {
        players.entry(player).or_default().push(report);
    }
    players
        .into_values()
        .filter(|pairs| pairs.iter().any(|pair| !pair.lines.is_empty()))
        .map(|pairs| Reporter { pairs })
        .collect()
}

impl PairReport {
    /// What a contribution says of spread.
    #[must_use]
    pub fn of(contribution: &Contribution) -> Self {
        let mut lines: Vec<LineReport> = timed_lines(contribution)
            .filter_map(|(line, speed)| {
                let is_enough = FEWEST_SHOTS <= timed_shots(line, speed);
                let sd = speed.sd.filter(|_| is_enough)?;
                let log_cv = (sd.kmh() / speed.mean.kmh()).ln();
                let suggested = maximum::log_cv(line, speed);
                Some(LineReport {
                    class: line.class,
                    log_cv,
                    log_ratio: suggested.map(|suggested| suggested - log_cv),
                })
            })
            .collect();
        lines.shrink_to_fit();
        Self {
            fingerprint: fingerprint(contribution),
            lines,
        }
    }
}

fn timed_lines(contribution: &Contribution) -> impl Iterator<Item = (&ShotLine, &SpeedSummary)> {
    contribution
        .sessions
        .iter()
        .flat_map(|session| &session.lines)
        .filter_map(|line| Some((line, line.speed.as_ref()?)))
}

/// A number that stands for the speeds of a pair, whatever the order of its sessions: the hash
/// FNV-1a of 64 bits (Fowler, Noll & Vo; RFC 9923) of one text line for each timed shot line,
/// sorted: stroke, direction, mean, standard deviation, maximum and number of timed shots, speeds
/// in hundred-millionths of 1 km/h and `-` for what was not given.
pub(super) fn fingerprint(contribution: &Contribution) -> u64 {
    let entered = |speed: Option<Speed>| {
        speed.map_or_else(
            || "-".to_owned(),
            |speed| speed.hundred_millionths_kmh().to_string(),
        )
    };
    let mut lines: Vec<String> = timed_lines(contribution)
        .map(|(line, speed)| {
            format!(
                "{} {} {} {} {} {}\n",
                line.class.stroke.code(),
                line.class.direction.code(),
                entered(Some(speed.mean)),
                entered(speed.sd),
                entered(speed.max),
                timed_shots(line, speed),
            )
        })
        .collect();
    lines.sort_unstable();
    lines
        .iter()
        .flat_map(|line| line.bytes())
        .fold(0xcbf2_9ce4_8422_2325, |hash: u64, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
        })
}

/// The mean, the same to the last bit in whatever order the values come; `None` of none.
pub(super) fn mean(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.into_iter().collect();
    values.sort_unstable_by(f64::total_cmp);
    let n = i64::try_from(values.len()).ok().filter(|n| 0 < *n)?;
    Some(compensated_sum(values) / to_f64(n))
}
