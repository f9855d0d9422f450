//! Arms that were played more than once.
//!
//! Two sessions of one player with one string bed differ by chance within the session, which their
//! variances tell, and by the day. How much by the day cannot be told from one pair; over the
//! crowd, the sessions listed here can tell it: every arm with at least two of them, each with its
//! mean and the within-session variance of that mean.
//!
//! Variances are those of the effects ([`super`]), with the adjustment of Agresti & Caffo (2000) as
//! soon as any session of the arm is empty or full: the other arm has no part in the comparison.
//! The protocol's fewest shots are not asked for, since a short session has its large variance.

use super::spread::CrowdSpread;
use super::{secondary, shares, speed, to_f64};
use crate::contribution::{Contribution, Session};
use crate::vocabulary::{Arm, Outcome, ShotClass};

/// One arm of a pair with at least two sessions that give an outcome for a class.
#[derive(Clone, Debug, PartialEq)]
pub struct RepeatedArm {
    /// What was measured.
    pub outcome: Outcome,
    /// For which shots.
    pub class: ShotClass,
    /// With which string bed.
    pub arm: Arm,
    /// Two or more sessions, in the order they were given.
    pub sessions: Vec<SessionMean>,
}

/// One outcome in one session.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SessionMean {
    /// Mean speed, or share, in [`Outcome::unit`].
    pub mean: f64,
    /// Shots (or rallies) it is taken over, positive.
    pub n: i64,
    /// Within-session variance of the mean, in that unit squared, positive.
    pub variance: f64,
    /// The part of the variance that comes from an imputed standard deviation: all or nothing.
    pub imputed_variance: f64,
}

/// Every repeated arm of a pair, sorted by outcome, class and arm.
#[must_use]
pub fn of_pair(pair: &Contribution, crowd: &CrowdSpread) -> Vec<RepeatedArm> {
    let mut repeated = Vec::new();
    for outcome in Outcome::ALL {
        for class in super::classes(pair, *outcome) {
            for arm in Arm::ALL {
                let sessions = match shares::rule(*outcome) {
                    Some(rule) => shares_of(pair, *arm, class, rule),
                    None if *outcome == Outcome::PartnerSpeed => {
                        speeds_of(pair, *arm, secondary::partner)
                    }
                    None => {
                        let cv = crowd.cv(pair, class);
                        speeds_of(pair, *arm, |session| speed::of_session(session, class, cv))
                    }
                };
                if 2 <= sessions.len() {
                    repeated.push(RepeatedArm {
                        outcome: *outcome,
                        class,
                        arm: *arm,
                        sessions,
                    });
                }
            }
        }
    }
    repeated
}

fn shares_of(
    pair: &Contribution,
    arm: Arm,
    class: ShotClass,
    rule: shares::Rule,
) -> Vec<SessionMean> {
    let tallies = shares::arm(pair, arm, class, rule).unwrap_or_default();
    let added = shares::added_to_every_session(tallies.iter());
    tallies
        .into_iter()
        .map(|tally| SessionMean {
            mean: 100.0 * to_f64(tally.x) / to_f64(tally.n),
            n: tally.n,
            variance: 10_000.0 * shares::variance(tally, added),
            imputed_variance: 0.0,
        })
        .collect()
}

fn speeds_of(
    pair: &Contribution,
    arm: Arm,
    of_session: impl Fn(&Session) -> Option<speed::SessionSpeed>,
) -> Vec<SessionMean> {
    let speeds = pair.of_arm(arm).filter_map(of_session);
    speeds
        .filter(|speed| 0 < speed.n)
        .map(|speed| {
            let variance = speed.square * speed.inflation / to_f64(speed.n);
            SessionMean {
                mean: speed.mean,
                n: speed.n,
                variance,
                imputed_variance: if speed.imputed.is_some() {
                    variance
                } else {
                    0.0
                },
            }
        })
        .collect()
}

#[cfg(test)]
mod tests;
