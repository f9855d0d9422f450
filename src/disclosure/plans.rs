//! What became of plans, rounded so that no single one shows.

use crate::findings::{PlanCounts, PlansOfOrder};
use crate::plan::{Flow, Kind};
use crate::protocol::AnalysisRules;
use crate::vocabulary::{Arm, Sequence};

/// What may be told of the plans of a study, given what became of those of each order; `None` while
/// fewer than the protocol's minimum were opened. [`PlanCounts`] says why counts are rounded.
#[must_use]
pub fn plan_counts(flows: &[(Sequence, Flow)], rules: &AnalysisRules) -> Option<PlanCounts> {
    let minimum = rules.minimum_players;
    let of = |keep: &dyn Fn(Sequence) -> bool| -> Flow {
        let kept = flows.iter().filter(|(sequence, _)| keep(*sequence));
        kept.fold(Flow::default(), |sum, (_, flow)| sum + *flow)
    };
    let every = of(&|_| true);
    let is_balanced = |sequence: Sequence| Kind::FourSessions.sequences().contains(&sequence);
    let first = |arm: Arm| {
        move |sequence: Sequence| !is_balanced(sequence) && sequence.arms().first() == Some(&arm)
    };
    (minimum <= every.opened).then(|| PlanCounts {
        looser_first: at_least(of(&first(Arm::Looser)), minimum),
        tighter_first: at_least(of(&first(Arm::Tighter)), minimum),
        balanced: at_least(of(&is_balanced), minimum),
        every_order: at_least(every, minimum),
    })
}

fn at_least(flow: Flow, minimum: usize) -> PlansOfOrder {
    let rounded = |n: usize| n / minimum.max(1) * minimum;
    PlansOfOrder {
        drawn: rounded(flow.drawn),
        opened: rounded(flow.opened),
        sent: rounded(flow.sent),
        unsent: rounded(flow.unsent()),
    }
}

#[cfg(test)]
mod tests;
