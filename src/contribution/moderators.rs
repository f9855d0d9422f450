//! What may explain why the effect of one pair differs from that of another.
//!
//! Every difference is looser minus tighter, like the effects themselves; a bed's age too, so that
//! a positive one means the looser bed was older. What is not known of every session is `None`, and
//! the pair is then left out of a regression on it.

use super::{Contribution, StringBed};
use crate::units::Hundredths;
use crate::vocabulary::{Arm, Knowledge, StringFamily};

/// The moderators of one pair.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moderators {
    /// Mean over the looser sessions of the partner's mean ball speed, minus that over the tighter
    /// ones, km/h. `None` unless every session has one.
    pub partner_pace: Option<f64>,
    /// Which arm came first: +1/2 when every looser session was played before every tighter one,
    /// -1/2 the other way round, 0 for a balanced order such as looser, tighter, tighter, looser.
    /// `None` unless every session has its place in time.
    ///
    /// In general the share of couples of a looser and a tighter session in which the looser one
    /// was first, minus 1/2 (the Mann-Whitney statistic of the places; Mann & Whitney 1947). That
    /// is `(mean place of tighter - mean place of looser)/N` for sessions placed 1 to N, so a
    /// linear change over the sessions does not move the mean effect at order 0.
    pub order: Option<f64>,
    /// Hours played on the looser bed minus on the tighter one. `None` unless both are known.
    pub bed_age_hours: Option<Hundredths>,
    /// Days since the looser bed was strung minus those of the tighter one. `None` unless both are
    /// known.
    pub bed_age_days: Option<Hundredths>,
    /// Whether the player knew in no session which bed it was: false when in any session they did,
    /// `None` when neither is recorded of every session.
    pub blinded: Option<bool>,
    /// Level on the International Tennis Number, 1 (strongest) to 10.
    pub itn: Option<i64>,
    /// Material of the main strings; `None` when not known.
    pub mains_family: Option<StringFamily>,
    /// Sessions of the looser arm.
    pub looser_sessions: usize,
    /// Sessions of the tighter arm.
    pub tighter_sessions: usize,
}

impl Moderators {
    /// The moderators of a pair.
    #[must_use]
    pub fn of(contribution: &Contribution) -> Self {
        let background = &contribution.background;
        let age = |of: fn(&StringBed) -> Option<Hundredths>| {
            let looser = of(&background.looser_bed)?.count();
            let tighter = of(&background.tighter_bed)?.count();
            Some(Hundredths::from_count(looser - tighter))
        };
        Self {
            partner_pace: partner_pace(contribution),
            order: order(contribution),
            bed_age_hours: age(|bed| bed.hours_played),
            bed_age_days: age(|bed| bed.days_since_stringing),
            blinded: blinded(contribution),
            itn: background.itn,
            mains_family: background
                .mains_family
                .filter(|family| *family != StringFamily::Unknown),
            looser_sessions: contribution.of_arm(Arm::Looser).count(),
            tighter_sessions: contribution.of_arm(Arm::Tighter).count(),
        }
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "eight sessions of at most 300 mph are below 1e12, under 2^53"
)]
fn partner_pace(contribution: &Contribution) -> Option<f64> {
    // Sums of exact speeds over a common denominator, so that only the last division rounds.
    let arm = |arm: Arm| -> Option<(i64, i64)> {
        let means: Option<Vec<i64>> = contribution
            .of_arm(arm)
            .map(|session| Some(session.conditions.partner?.mean.hundred_millionths_kmh()))
            .collect();
        let means = means.filter(|means| !means.is_empty())?;
        Some((means.iter().sum(), i64::try_from(means.len()).ok()?))
    };
    let (looser, n_looser) = arm(Arm::Looser)?;
    let (tighter, n_tighter) = arm(Arm::Tighter)?;
    let numerator = looser * n_tighter - tighter * n_looser;
    Some(numerator as f64 / (100_000_000 * n_looser * n_tighter) as f64)
}

#[expect(clippy::cast_precision_loss, reason = "at most 64 couples of sessions")]
fn order(contribution: &Contribution) -> Option<f64> {
    let places = |arm: Arm| -> Option<Vec<i64>> {
        contribution
            .of_arm(arm)
            .map(|session| session.conditions.order)
            .collect()
    };
    let (looser, tighter) = (places(Arm::Looser)?, places(Arm::Tighter)?);
    let n_couples = looser.len() * tighter.len();
    let looser_first: usize = looser
        .iter()
        .map(|place| tighter.iter().filter(|other| place < other).count())
        .sum();
    (0 < n_couples).then(|| looser_first as f64 / n_couples as f64 - 0.5)
}

fn blinded(contribution: &Contribution) -> Option<bool> {
    let knew: Vec<Knowledge> = contribution
        .sessions
        .iter()
        .map(|session| session.conditions.knew_tension)
        .collect();
    if knew.contains(&Knowledge::Yes) {
        Some(false)
    } else if knew.contains(&Knowledge::Unknown) || knew.is_empty() {
        None
    } else {
        Some(true)
    }
}

#[cfg(test)]
mod tests;
