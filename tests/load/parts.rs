//! A load that does not wait for answers, and what became of it.
//!
//! Arrivals come from a schedule that is drawn beforehand (an open model: Schroeder, Wierman &
//! Harchol-Balter 2006, "Open versus closed: a cautionary tale", NSDI). The time of an answer is
//! counted from when its request was due and not from when it was sent, so that whoever queues
//! behind a slow answer counts as slow as well.

#![expect(
    clippy::expect_used,
    reason = "a generator that cannot go on has nothing to report"
)]

pub(crate) mod crew;
mod ledger;
pub(crate) mod line;
pub(crate) mod report;
pub(crate) mod schedule;

pub(crate) use crew::{Target, play};
pub(crate) use schedule::Plan;
