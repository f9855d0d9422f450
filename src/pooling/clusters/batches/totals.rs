//! Sums over clusters, eight side by side.

use pulp::Simd;

use crate::pooling::clusters::Sums;
use crate::pooling::lanes::{LANES, Lane, Total, gather, n_registers};
use crate::pooling::sums::Double;

/// What [`Sums`] is made from, eight side by side.
#[derive(Debug)]
pub(super) struct LaneSums<S: Simd> {
    simd: S,
    scores: [Total<S>; LANES],
    trace: [Total<S>; LANES],
    diagonal: [Total<S>; LANES],
    so_far: [Total<S>; LANES],
    pairs: [Total<S>; LANES],
}

impl<S: Simd> LaneSums<S> {
    #[inline(always)]
    pub(super) fn new(simd: S) -> Self {
        let zero = [Total::zero(simd); LANES];
        Self {
            simd,
            scores: zero,
            trace: zero,
            diagonal: zero,
            so_far: zero,
            pairs: zero,
        }
    }

    #[inline(always)]
    pub(super) fn add(
        &mut self,
        register: usize,
        [score, diagonal, total]: [Lane<S>; 3],
        total_weight: f64,
    ) {
        let squared = total * total / Lane::splat(self.simd, total_weight);
        let sums = self
            .scores
            .get_mut(register)
            .zip(self.trace.get_mut(register));
        let sums = sums.zip(self.diagonal.get_mut(register));
        let pairs = self
            .pairs
            .get_mut(register)
            .zip(self.so_far.get_mut(register));
        if let Some((((scores, trace), squares), (pairs, so_far))) = sums.zip(pairs) {
            scores.add(score * score);
            trace.add(diagonal);
            squares.add(diagonal * diagonal);
            pairs.add(squared * so_far.value());
            so_far.add(squared);
        }
    }

    #[inline(always)]
    pub(super) fn add_columns(&mut self, columns: &[[f64; LANES]; 3], total_weight: f64) {
        for register in 0..n_registers::<S>() {
            let values = columns
                .each_ref()
                .map(|column| Lane::part(self.simd, column, register));
            self.add(register, values, total_weight);
        }
    }

    /// The eight of each together; of pairs also those of two of the eight.
    #[inline(always)]
    pub(super) fn gathered(&self) -> Sums {
        let mut pairs = gather(self.pairs);
        let mut so_far = Double::ZERO;
        for total in self.so_far.iter().take(n_registers::<S>()) {
            let mut places = [0.0; LANES];
            total.value().put(&mut places);
            for place in places.into_iter().take(S::F64_LANES) {
                let place = Double::from(place);
                pairs = pairs + so_far * place;
                so_far = so_far + place;
            }
        }
        Sums {
            scores: gather(self.scores).value(),
            trace: gather(self.trace).value(),
            diagonal: gather(self.diagonal).value(),
            pairs: pairs.value(),
        }
    }
}
