//! Shares of shots: looser minus tighter, in percentage points.

use super::counts::{self, Resolved};
use super::{Computed, LeftOutReason, both, to_f64};
use crate::contribution::{DeepShare, Share, ShotLine};
use crate::vocabulary::VarianceSource;

/// So many of so many shots of one session.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tally {
    /// Shots that count.
    pub(super) x: i64,
    /// Shots they are taken of.
    pub(super) n: i64,
    /// Whether every percentage behind it is one that a whole count makes.
    consistent: bool,
}

/// Shots in and shots hit of one line.
pub(super) fn in_of_hit(line: &ShotLine) -> Option<Tally> {
    let resolved = resolve(line.landed_in?, line.hit)?;
    Some(Tally {
        x: resolved.count,
        n: line.hit,
        consistent: resolved.consistent,
    })
}

/// Deep shots and shots in of one line.
pub(super) fn deep_of_in(line: &ShotLine) -> Option<Tally> {
    let base = in_of_hit(line)?;
    let resolved = match line.deep? {
        // None of no shots, whatever percentage stands there.
        DeepShare::OfIn(_) if base.x == 0 => exact(0),
        DeepShare::OfIn(share) => resolve(share, base.x)?,
        DeepShare::PercentOfHit(percent) => counts::from_percent(percent, base.n)?,
    };
    Some(Tally {
        x: resolved.count,
        n: base.x,
        consistent: base.consistent && resolved.consistent,
    })
}

/// A share as a count out of `n`.
fn resolve(share: Share, n: i64) -> Option<Resolved> {
    match share {
        Share::Count(count) => Some(exact(count)),
        Share::Percent(percent) => counts::from_percent(percent, n),
    }
}

const fn exact(count: i64) -> Resolved {
    Resolved {
        count,
        consistent: true,
    }
}

/// The tallies of one arm that count anything.
fn arm(
    lines: &[&ShotLine],
    tally: impl Fn(&ShotLine) -> Option<Tally>,
) -> Result<Vec<Tally>, LeftOutReason> {
    let given: Vec<Tally> = lines.iter().filter_map(|line| tally(line)).collect();
    if given.is_empty() {
        return Err(LeftOutReason::NotGiven);
    }
    let counted: Vec<Tally> = given.into_iter().filter(|tally| 0 < tally.n).collect();
    if counted.is_empty() {
        return Err(LeftOutReason::NothingCounted);
    }
    Ok(counted)
}

/// The difference of a share, given how a line is tallied.
pub(super) fn difference(
    looser: &[&ShotLine],
    tighter: &[&ShotLine],
    tally: impl Fn(&ShotLine) -> Option<Tally>,
) -> Computed {
    let (looser, tighter) = both(arm(looser, &tally), arm(tighter, &tally))?;
    let all = || looser.iter().chain(&tighter);
    let extreme = all().any(|tally| tally.x == 0 || tally.x == tally.n);
    let source = if !all().all(|tally| tally.consistent) {
        VarianceSource::NearestCounts
    } else if extreme {
        VarianceSource::AdjustedCounts
    } else {
        VarianceSource::Counts
    };
    let added = i64::from(extreme);
    let (looser, looser_variance) = arm_share(&looser, added);
    let (tighter, tighter_variance) = arm_share(&tighter, added);
    Ok((
        100.0 * (looser - tighter),
        10_000.0 * (looser_variance + tighter_variance),
        source,
    ))
}

/// Share of one arm over its sessions, and its within-session variance with so many shots of each
/// kind added to every session.
fn arm_share(tallies: &[Tally], added: i64) -> (f64, f64) {
    let n_total = to_f64(tallies.iter().map(|tally| tally.n).sum());
    let x_total = to_f64(tallies.iter().map(|tally| tally.x).sum());
    let weighted = tallies.iter().map(|tally| {
        let adjusted_n = to_f64(tally.n + 2 * added);
        let share = to_f64(tally.x + added) / adjusted_n;
        (to_f64(tally.n) / n_total).powi(2) * share * (1.0 - share) / adjusted_n
    });
    (x_total / n_total, weighted.sum())
}
