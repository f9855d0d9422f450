//! Shares of shots: looser minus tighter, in percentage points.

use super::counts::{self, Resolved};
use super::{Computed, Figure, LeftOutReason, both, secondary, to_f64};
use crate::contribution::{Contribution, DeepShare, Session, Share, ShotLine};
use crate::vocabulary::{Arm, Outcome, ShotClass, VarianceSource};

/// So many of so many shots of one session.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tally {
    /// Shots that count.
    pub x: i64,
    /// Shots they are taken of.
    pub n: i64,
    /// Whether every percentage behind it is one that a whole count makes.
    pub consistent: bool,
}

/// How a share is tallied in one session; `None` when the session does not say.
pub(super) type Rule = fn(&Session, ShotClass) -> Option<Tally>;

/// The rule of an outcome; `None` for the outcomes that are no shares.
pub(super) fn rule(outcome: Outcome) -> Option<Rule> {
    match outcome {
        Outcome::Speed | Outcome::PartnerSpeed => None,
        Outcome::InShare => Some(|session, class| in_of_hit(session.line(class)?)),
        Outcome::DeepShare => Some(|session, class| deep_of_in(session.line(class)?)),
        Outcome::TopspinShare => Some(secondary::topspin),
        Outcome::FlatShare => Some(secondary::flat),
        Outcome::CrosscourtShare => Some(secondary::crosscourt),
        Outcome::LongRallyShare => Some(secondary::long_rallies),
    }
}

/// So many of so many shots of one arm, over all its sessions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ArmCount {
    /// Shots that count.
    pub x: i64,
    /// Shots they are taken of, positive.
    pub n: i64,
}

/// The counts behind the share of a pair.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ShareCounts {
    /// The looser arm.
    pub looser: ArmCount,
    /// The tighter arm.
    pub tighter: ArmCount,
    /// Whether every percentage behind them is one that a whole count makes; otherwise some count
    /// is only the nearest.
    pub consistent: bool,
}

/// The counts of a share in both arms, summed over the sessions that give it: what a model of
/// counts takes instead of an estimate with its variance. The protocol's fewest shots are not
/// asked for; the effect of the same outcome and class stands where they are met.
///
/// `None` when the outcome is no share, and when an arm does not give it or counts nothing.
#[must_use]
pub fn share_counts(
    pair: &Contribution,
    outcome: Outcome,
    class: ShotClass,
) -> Option<ShareCounts> {
    let rule = rule(outcome)?;
    let arms = both(
        arm(pair, Arm::Looser, class, rule),
        arm(pair, Arm::Tighter, class, rule),
    );
    let (looser, tighter) = arms.ok()?;
    let consistent = looser.iter().chain(&tighter).all(|tally| tally.consistent);
    Some(ShareCounts {
        looser: summed(&looser),
        tighter: summed(&tighter),
        consistent,
    })
}

fn summed(tallies: &[Tally]) -> ArmCount {
    ArmCount {
        x: tallies.iter().map(|tally| tally.x).sum(),
        n: tallies.iter().map(|tally| tally.n).sum(),
    }
}

/// Shots in and shots hit of one line; `None` when it does not say.
#[must_use]
pub fn in_of_hit(line: &ShotLine) -> Option<Tally> {
    let resolved = resolve(line.landed_in?, line.hit)?;
    Some(Tally {
        x: resolved.count,
        n: line.hit,
        consistent: resolved.consistent,
    })
}

/// Deep shots and shots in of one line; `None` when it does not say.
#[must_use]
pub fn deep_of_in(line: &ShotLine) -> Option<Tally> {
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
pub(super) fn arm(
    pair: &Contribution,
    arm: Arm,
    class: ShotClass,
    rule: Rule,
) -> Result<Vec<Tally>, LeftOutReason> {
    let given: Vec<Tally> = pair
        .of_arm(arm)
        .filter_map(|session| rule(session, class))
        .collect();
    if given.is_empty() {
        return Err(LeftOutReason::NotGiven);
    }
    let counted: Vec<Tally> = given.into_iter().filter(|tally| 0 < tally.n).collect();
    if counted.is_empty() {
        return Err(LeftOutReason::NothingCounted);
    }
    Ok(counted)
}

/// The difference of a share, given how a session is tallied.
pub(super) fn difference(pair: &Contribution, class: ShotClass, rule: Rule) -> Computed {
    let (looser, tighter) = both(
        arm(pair, Arm::Looser, class, rule),
        arm(pair, Arm::Tighter, class, rule),
    )?;
    let all = || looser.iter().chain(&tighter);
    let added = added_to_every_session(all());
    let source = if !all().all(|tally| tally.consistent) {
        VarianceSource::NearestCounts
    } else if 0 < added {
        VarianceSource::AdjustedCounts
    } else {
        VarianceSource::Counts
    };
    let (looser, looser_variance) = arm_share(&looser, added);
    let (tighter, tighter_variance) = arm_share(&tighter, added);
    Ok(Figure {
        estimate: 100.0 * (looser - tighter),
        variance: 10_000.0 * (looser_variance + tighter_variance),
        imputed_variance: 0.0,
        log_sd_error: None,
        source,
    })
}

/// How many shots of each kind are added to every session before its variance is taken: one as
/// soon as any of these sessions is empty or full.
pub(super) fn added_to_every_session<'a>(mut tallies: impl Iterator<Item = &'a Tally>) -> i64 {
    i64::from(tallies.any(|tally| tally.x == 0 || tally.x == tally.n))
}

/// Share of one arm over its sessions, and its within-session variance with so many shots of each
/// kind added to every session.
fn arm_share(tallies: &[Tally], added: i64) -> (f64, f64) {
    let ArmCount { x, n } = summed(tallies);
    let n_total = to_f64(n);
    let weighted = tallies
        .iter()
        .map(|tally| (to_f64(tally.n) / n_total).powi(2) * variance(*tally, added));
    (to_f64(x) / n_total, weighted.sum())
}

/// Binomial variance of the share of one session with so many shots of each kind added to it.
pub(super) fn variance(tally: Tally, added: i64) -> f64 {
    let adjusted_n = to_f64(tally.n + 2 * added);
    let share = to_f64(tally.x + added) / adjusted_n;
    share * (1.0 - share) / adjusted_n
}
