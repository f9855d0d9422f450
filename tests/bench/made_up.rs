//! Effects that nobody measured: normal, with variances over four octaves, a between-effects variance
//! of 1.5, and players of whom some have several.

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};

/// Between-effects variance.
const TAU_SQUARED: f64 = 1.5;

/// Of a hundred players, how many have at most so many effects.
const SIZES: [(u32, usize); 5] = [(70, 1), (90, 2), (97, 3), (99, 5), (100, 8)];

/// Parallel columns in no order.
#[derive(Debug, Default)]
pub(crate) struct Columns {
    pub(crate) estimates: Vec<f64>,
    pub(crate) variances: Vec<f64>,
    pub(crate) players: Vec<usize>,
}

impl Columns {
    pub(crate) fn new(k: usize, seed: u64) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let mut columns = Self::default();
        for _ in 0..k {
            let spread = random.random_range(0.5..2.0_f64);
            let variance = 2.0 * spread * spread;
            let normal: f64 = StandardNormal.sample(&mut random);
            columns.variances.push(variance);
            columns
                .estimates
                .push(1.0 + normal * (variance + TAU_SQUARED).sqrt());
        }
        let mut player = 0;
        while columns.players.len() < k {
            let draw = random.random_range(0..100_u32);
            let size = SIZES.iter().find(|&&(below, _)| draw < below);
            let size = size.map_or(1, |&(_, size)| size);
            columns.players.extend(std::iter::repeat_n(player, size));
            player += 1;
        }
        columns.players.truncate(k);
        for place in (1..k).rev() {
            columns.players.swap(place, random.random_range(0..=place));
        }
        columns
    }
}
