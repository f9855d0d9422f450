//! What may be shown: from counted pairs to published rows, and figures over everybody.
//!
//! - A row is published only with its player's consent to rows, and only in an analysis where at
//!   least the protocol's minimum of consenting players have one (`cells`).
//! - Estimates are rounded to 0.1 of their unit, variances to three significant digits.
//! - What others may know of a player besides (`facts`) is coarsened, and shown only as far as at
//!   least the minimum of players are alike in all of it, over all their pairs (`alike`,
//!   k-anonymity). Pairs of players whose gap bands too few share are left out (`kept`).
//! - Rows of one player hang together by a group number. Groups are numbered in the order of a
//!   secret-keyed hash that changes with every batch, so the number says nothing about when a
//!   player came and links to nothing across batches.
//! - Figures over everybody, row or no row, are rounded to 0.1 and shown only where neither the rows
//!   nor any earlier publication can be subtracted to leave few (`everybody`).
//! - How much sessions differ, models of counts, what was first sent of corrected pairs and how
//!   estimates settled are figures over many players with a row, rounded.
//! - Plans are counted by order, rounded down. What was sent, held, declined, withdrawn and pooled is
//!   told in steps as wide as the minimum, over the whole study.
//!
//! Which strokes and outcomes a player measured shows in which rows there are, and is not among the
//! facts: a class of players alike in that too would be empty. Nor is what was measured. Who knows
//! either of somebody may find the rows, which the consent text says.
//!
//! Pairs pass one at a time and none is kept, since they take several times the memory of what is
//! made of them. They pass twice: who has rows ([`Census`]) is known only when everybody was looked at,
//! and then rows and figures are gathered ([`Gathering`]).
//!
//! Absent on purpose: notes, exact levels, days, counts of shots, tensions. No column is published
//! here that is not named in [`crate::findings::Row`].

mod alike;
mod cells;
mod everybody;
mod facts;
mod figures;
mod flow;
mod gathering;
mod kept;
mod plans;
mod protection;
mod rows;
mod shown;

pub use everybody::{Everybody, Everyone, Outsider, Outsiders, Shown};
pub use facts::Fact;
pub use flow::{ExactFlow, flow};
pub use gathering::{Gathered, Gathering};
pub use kept::{Census, Kept};
pub use plans::plan_counts;
pub use protection::{Different, Protection, protection};

use crate::contribution::{Contribution, Moderators};
use crate::effects::repeats::{self, RepeatedArm};
use crate::effects::spread::CrowdSpread;
use crate::effects::{PairEffects, ShareCounts, share_counts};
use crate::findings::{Key, Month};
use crate::pooling::Interval;
use crate::vocabulary::{ConsentScope, Outcome, ShotClass};

/// A pair that counts, with what disclosure has to know of its player.
#[derive(Clone, Debug, PartialEq)]
pub struct CountedPair {
    /// A number that is the same for all pairs of one player.
    pub player: usize,
    /// The player's place in the numbering of groups: a keyed hash, fresh for every batch.
    pub group_order: [u8; 32],
    /// The player's place among those of whom something is hidden: a keyed hash, the same in every
    /// batch.
    pub hiding_order: [u8; 32],
    /// What tells this version from every other.
    pub identity: Outsider,
    /// The month in which the pair was sent.
    pub month: Month,
    /// The frame as its player calls it.
    pub frame: Option<String>,
    /// What the player agreed to.
    pub scope: ConsentScope,
    /// Whether it was played to a plan.
    pub planned: bool,
    /// The effects.
    pub pair: PairEffects,
    /// What else is known of the pair.
    pub moderators: Moderators,
    /// Arms that were played more than once.
    pub repeats: Vec<RepeatedArm>,
    /// Counts behind the shares that a protocol may declare.
    pub counts: Vec<(Outcome, ShotClass, ShareCounts)>,
    /// The effects of the version first sent, with the gap and band that it had; `None` when the
    /// pair was never corrected. Everything else here is of the version that counts.
    pub first: Option<PairEffects>,
}

impl CountedPair {
    /// A counted pair of a contribution with its effects; the rest is what is known of its player.
    #[must_use]
    pub fn new(
        contribution: &Contribution,
        mut pair: PairEffects,
        crowd: &CrowdSpread,
        player: CountedPlayer,
    ) -> Self {
        // What could not be computed is told to its sender alone.
        (pair.left_out, pair.secondary_left_out) = (Vec::new(), Vec::new());
        let counts = pair.effects.iter().filter_map(|effect| {
            let (outcome, class) = (effect.outcome, effect.class);
            let counts = share_counts(contribution, outcome, class)?;
            Outcome::PRIMARY
                .contains(&outcome)
                .then_some((outcome, class, counts))
        });
        let mut counts: Vec<_> = counts.collect();
        counts.shrink_to_fit();
        Self {
            player: player.number,
            group_order: player.group_order,
            hiding_order: player.hiding_order,
            identity: player.identity,
            month: player.month,
            planned: player.planned,
            frame: contribution
                .background
                .frame
                .clone()
                .filter(|frame| !frame.trim().is_empty()),
            scope: contribution.consent_scope,
            moderators: Moderators::of(contribution),
            repeats: repeats::of_pair(contribution, crowd),
            counts,
            first: None,
            pair,
        }
    }

    /// The analyses that it has effects in, in the order of its effects.
    pub fn keys(&self) -> impl Iterator<Item = Key> {
        self.pair.all().map(|effect| Key {
            outcome: effect.outcome,
            class: effect.class,
            band: self.pair.band,
        })
    }

    /// The pair as corrected after its player had seen an answer. `first` has the effects of the
    /// version first sent, however often it was corrected since, made with the same protocol and
    /// with [`CrowdSpread::for_version`] of the crowd behind those that count: else a spread that
    /// has to be imputed would differ between the two without having been corrected. The crowd
    /// itself holds no first versions.
    #[must_use]
    pub fn corrected_from(self, first: PairEffects) -> Self {
        Self {
            first: Some(first),
            ..self
        }
    }
}

/// What disclosure has to know of a pair besides what was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CountedPlayer {
    /// See [`CountedPair::player`].
    pub number: usize,
    /// See [`CountedPair::group_order`].
    pub group_order: [u8; 32],
    /// See [`CountedPair::hiding_order`].
    pub hiding_order: [u8; 32],
    /// See [`CountedPair::identity`].
    pub identity: Outsider,
    /// See [`CountedPair::month`].
    pub month: Month,
    /// See [`CountedPair::planned`].
    pub planned: bool,
}

/// Whether the player agreed to rows.
fn has_consent(counted: &CountedPair) -> bool {
    counted.scope == ConsentScope::PoolingAndRows
}

fn rounded(interval: Interval) -> Interval {
    Interval {
        low: to_tenth(interval.low),
        high: to_tenth(interval.high),
    }
}

/// Rounded to one decimal; never minus zero.
#[must_use]
pub fn to_tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0 + 0.0
}

/// Rounded to three significant digits.
///
/// Through the decimal text, which is correctly rounded at any magnitude.
#[must_use]
pub fn to_three_digits(value: f64) -> f64 {
    format!("{value:.2e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_is_decimal_and_never_minus_zero() {
        assert_eq!(to_tenth(-0.04).to_bits(), 0.0_f64.to_bits());
        assert_eq!(to_tenth(1.25).to_bits(), 1.3_f64.to_bits());
        assert_eq!(to_three_digits(12_345.0).to_bits(), 12_300.0_f64.to_bits());
        assert_eq!(
            to_three_digits(0.001_234_9).to_bits(),
            0.001_23_f64.to_bits()
        );
    }
}
