//! What became of everybody who began, told in steps so that no single one shows.

use crate::findings::flow::{Count, ParticipantFlow};
use crate::protocol::AnalysisRules;
use crate::vocabulary::Ground;

/// Exact counts, as the host may see them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ExactFlow {
    /// Plans opened.
    pub started: usize,
    /// Contributions sent.
    pub sent: usize,
    /// Of these, waiting for the host.
    pub held: usize,
    /// Declined, by ground.
    pub declined: Vec<(Ground, usize)>,
    /// Withdrawn.
    pub withdrawn: usize,
    /// Counted in public figures.
    pub pooled: usize,
}

/// The flow in steps as wide as the protocol's minimum of players.
#[must_use]
pub fn flow(exact: &ExactFlow, rules: &AnalysisRules) -> ParticipantFlow {
    let step = |n: usize| Count::step(n, rules.minimum_players);
    ParticipantFlow {
        started: step(exact.started),
        sent: step(exact.sent),
        held: step(exact.held),
        declined: exact
            .declined
            .iter()
            .map(|(ground, n)| (*ground, step(*n)))
            .collect(),
        withdrawn: step(exact.withdrawn),
        pooled: step(exact.pooled),
    }
}
