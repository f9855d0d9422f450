//! What became of everybody who began: the counts of a participant flow diagram, in the manner that
//! CONSORT 2010 (Schulz, Altman & Moher 2010) asks trials to report theirs.
//!
//! Counts are ranges, because exact ones would let a reader of two publications tell what a single
//! player did between them.

use crate::vocabulary::Ground;

/// A number that is told as a range.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Count {
    /// The least it may be.
    pub at_least: usize,
    /// The most it may be.
    pub at_most: usize,
}

/// From an opened plan to a public figure. All counts are of contributions, but the first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ParticipantFlow {
    /// Plans opened. Who plays without a plan is not seen before sending.
    pub started: Count,
    /// Contributions sent.
    pub sent: Count,
    /// Of these, waiting until the host has looked at them.
    pub held: Count,
    /// Declined by the host, by ground; grounds that never occurred are absent.
    pub declined: Vec<(Ground, Count)>,
    /// Withdrawn by their senders.
    pub withdrawn: Count,
    /// Counted in public figures.
    pub pooled: Count,
}

impl Count {
    /// The step of a given width that a number stands on; none is told as none.
    #[must_use]
    pub fn step(n: usize, width: usize) -> Self {
        let width = width.max(1);
        let low = n / width * width;
        Self {
            at_least: if 0 < n { low.max(1) } else { 0 },
            at_most: if 0 < n { low + width - 1 } else { 0 },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_told_as_the_step_it_stands_on() {
        let told = |n| {
            let count = Count::step(n, 5);
            (count.at_least, count.at_most)
        };
        assert_eq!(told(0), (0, 0));
        assert_eq!(told(1), (1, 4));
        assert_eq!(told(4), (1, 4));
        assert_eq!(told(5), (5, 9));
        assert_eq!(told(312), (310, 314));
    }
}
