//! What would make one player's own difference surer, as half-widths of its range.
//!
//! With `v` the variance by the scatter of shots, `sigma^2` that from session to session and `l`
//! and `t` sessions of the two arms, a range that holds both reaches `z sqrt(v + sigma^2 (1/l + 1/t))`
//! to either side, as for any difference of two means of independent sessions. Twice the shots in
//! every session halve `v`. Four sessions instead of two, with as many shots in each, halve both
//! parts.

use super::super::SessionSpread;
use super::super::sensitivity::session_part;
use crate::effects::Effect;
use crate::pooling::quantiles::Normal;
use crate::pooling::{Estimable, Level};

/// How far a range reaches, and how far it would.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Surer {
    /// By the scatter of shots alone: these sessions.
    pub shots: Reach,
    /// With what changes from session to session; `None` where that is not published.
    pub with_days: Option<Reach>,
}

/// Half-widths of the 95 % range, in the outcome's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// As played.
    pub now: f64,
    /// With twice the shots in every session.
    pub twice_the_shots: f64,
    /// With four sessions instead of two, as many shots in each; `None` unless there is one session
    /// for each string bed, since a variance does not tell which of several sessions brought what.
    pub four_sessions: Option<f64>,
}

/// What would make an effect surer.
///
/// # Errors
/// When the level has no normal quantile.
pub(super) fn surer(
    effect: &Effect,
    sessions: (u8, u8),
    spread: Option<SessionSpread>,
    level: Level,
) -> Estimable<Surer> {
    let z = Normal::upper_quantile(level.tail())?;
    let reach = |days: f64| {
        let half_width = |shots: f64, days: f64| z * (shots + days).sqrt();
        let half = effect.variance / 2.0;
        Reach {
            now: half_width(effect.variance, days),
            twice_the_shots: half_width(half, days),
            four_sessions: (sessions == (1, 1)).then(|| half_width(half, days / 2.0)),
        }
    };
    Ok(Surer {
        shots: reach(0.0),
        with_days: spread.map(|spread| reach(spread.variance * session_part(sessions))),
    })
}
