//! Draws from one seeded stream.
//!
//! Every player has a stream of their own (`ChaCha8`, the player's number as its stream), so that
//! nobody's sessions depend on who else is in the crowd.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// A standard normal is redrawn beyond this, so that no share leaves 0 to 100 %. The cut is
/// symmetric: means stay exact, and a standard deviation shrinks by 1.3 %.
pub(super) const BOUND: f64 = 3.0;

/// A source of draws.
pub(super) struct Draw(ChaCha8Rng);

impl Draw {
    /// The stream with this number.
    pub(super) fn new(seed: u64, stream: u64) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(stream);
        Self(generator)
    }

    /// Uniform on [0, 1).
    pub(super) fn unit(&mut self) -> f64 {
        self.0.random()
    }

    /// True with this probability.
    pub(super) fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// Uniform on [low, high).
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A whole number from `low` to `high`, both included; `low` when `high` is lower.
    pub(super) fn whole(&mut self, low: usize, high: usize) -> usize {
        if high <= low {
            return low;
        }
        self.0.random_range(low..=high)
    }

    /// A standard normal.
    pub(super) fn normal(&mut self) -> f64 {
        self.0.sample(StandardNormal)
    }

    /// A standard normal within [`BOUND`] of 0.
    pub(super) fn bounded_normal(&mut self) -> f64 {
        loop {
            let value = self.normal();
            if value.abs() <= BOUND {
                return value;
            }
        }
    }

    /// One of the words.
    pub(super) fn word(&mut self, first: &'static str, others: &[&'static str]) -> &'static str {
        match self.whole(0, others.len()) {
            0 => first,
            place => others.get(place - 1).copied().unwrap_or(first),
        }
    }
}
