//! Who gains: the share of players, or of pairs of sessions, whose true effect is above a
//! threshold.
//!
//! The between-effects variance holds day-to-day noise. Where enough players repeated sessions the
//! session part is taken out and the share is one of players; where not, it is one of pairs of
//! sessions, and is called so.

use super::selection::Selection;
use super::sensitivity::session_part;
use super::{Row, Rows, SessionSpread};
use crate::pooling::gains::{Measurement, Share, Shrunken, TrueEffects};
use crate::pooling::replicates::ReplicateVariance;
use crate::pooling::{Effects, Estimable, Level, NumericError, Reason, pool};
use crate::vocabulary::word_list;
use ndarray::Array1;

word_list! {
    /// What a share is a share of.
    GainOf {
        /// Players: what changes from one session to the next is taken out.
        Players = "players",
        /// Pairs of sessions: good and bad days are in it.
        PairsOfSessions = "pairs_of_sessions",
    }
}

/// The share whose true effect is above a threshold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gain {
    /// Of what.
    pub of: GainOf,
    /// The threshold, in the outcome's unit.
    pub threshold: f64,
    /// The share.
    pub share: Estimable<Share>,
    /// Upper limit of the variance of the true effects asked about, by Q-profile: what is left to
    /// say where the share is not estimable.
    pub tau_squared_high: Estimable<f64>,
}

/// Shares above zero and, where there is one, above the smallest worthwhile difference.
pub(super) fn gains(
    effects: &Effects,
    smallest_worthwhile: Option<f64>,
    repeats: Option<(&Selection<'_>, SessionSpread)>,
    level: Level,
) -> Vec<Gain> {
    let (of, truth) = match repeats {
        Some((rows, spread)) => (GainOf::Players, of_players(rows, spread)),
        None => (
            GainOf::PairsOfSessions,
            Ok(TrueEffects::as_measured(effects)),
        ),
    };
    let spread = truth
        .as_ref()
        .map_err(|reason| *reason)
        .and_then(TrueEffects::spread);
    let tau_squared_high = match repeats {
        None => pool(effects, level).heterogeneity,
        Some((rows, spread)) => with_sessions(rows, spread)
            .map_err(|_| Reason::OutOfRange)
            .and_then(|effects| pool(&effects, level).heterogeneity),
    };
    let tau_squared_high = tau_squared_high.and_then(|found| Ok(found.tau_squared?.high));
    std::iter::once(0.0)
        .chain(smallest_worthwhile)
        .map(|threshold| Gain {
            of,
            threshold,
            share: spread
                .as_ref()
                .map_err(|reason| *reason)
                .and_then(|spread| spread.share_above(threshold, level)),
            tau_squared_high,
        })
        .collect()
}

/// The effects with variances that hold the session-to-session variance too.
pub(super) fn with_sessions(
    rows: &Selection<'_>,
    spread: SessionSpread,
) -> Result<Effects, NumericError> {
    rows.changed(|_, row| {
        let added = spread.variance * session_part(row.sessions());
        (row.estimate, row.variance + added)
    })
}

/// The best guess at one player's true effect: between what the player's own sessions say and what
/// everybody else's do.
///
/// # Errors
/// [`Reason::NoReplicateVariance`] while too few players have repeated sessions, since then good
/// and bad days cannot be told from what lasts; else why the spread of true effects is not
/// estimable.
pub fn best_guess(
    rows: &Rows,
    session_spread: Option<SessionSpread>,
    own: &Measurement,
    level: Level,
) -> Estimable<Shrunken> {
    let spread = session_spread.ok_or(Reason::NoReplicateVariance)?;
    of_players(&rows.select(|_| true), spread)?
        .spread()?
        .shrink(own, level)
}

fn of_players(rows: &Selection<'_>, spread: SessionSpread) -> Estimable<TrueEffects> {
    let counts = |value: fn(&Row) -> u8| -> Array1<usize> {
        let sessions = rows.rows().map(|row| value(&row));
        sessions.map(usize::from).collect()
    };
    let looser = counts(|row| row.sessions().0);
    let tighter = counts(|row| row.sessions().1);
    TrueEffects::without_replicate_part(
        rows.estimates().view(),
        rows.variances().view(),
        Some(rows.groups().view()),
        [looser.view(), tighter.view()],
        ReplicateVariance {
            value: spread.variance,
            untruncated: spread.variance,
            se: spread.se,
        },
    )
    // Rows were checked when they were read.
    .map_err(|_| Reason::OutOfRange)
}
