//! Draws of one run.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Exp1, StandardNormal};

/// A standard normal is redrawn beyond this where a share must stay between 0 and 1. The cut is
/// symmetric, so means stay exact; it takes 1.3 % off the standard deviation.
const BOUND: f64 = 3.0;

/// The source of a run's draws: a stream of its own, so that a run is the same on any thread and
/// whatever else is simulated.
pub(crate) struct Draw(ChaCha8Rng);

impl Draw {
    /// Run number `run` of cell number `cell`.
    pub(crate) fn new(seed: u64, cell: u32, run: u32) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream((u64::from(cell) << 32) | u64::from(run));
        Self(generator)
    }

    /// Uniform on [low, high).
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    /// A whole number from `low` to `high`, both included.
    pub(crate) fn whole(&mut self, low: i64, high: i64) -> i64 {
        self.0.random_range(low..=high)
    }

    /// True with this probability.
    pub(crate) fn chance(&mut self, probability: f64) -> bool {
        self.0.random::<f64>() < probability
    }

    /// A standard normal.
    pub(crate) fn normal(&mut self) -> f64 {
        self.0.sample(StandardNormal)
    }

    /// A standard normal within [`BOUND`] of 0.
    pub(crate) fn bounded_normal(&mut self) -> f64 {
        loop {
            let value = self.normal();
            if value.abs() <= BOUND {
                return value;
            }
        }
    }

    /// An exponential with mean 1.
    pub(crate) fn exponential(&mut self) -> f64 {
        self.0.sample(Exp1)
    }
}
