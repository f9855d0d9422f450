//! Random draws that depend on the data alone.
//!
//! The generator is counter-based (`ChaCha` with 8 rounds; Bernstein 2008): draw number `n` of an
//! input is the same whatever was drawn before it, so a bootstrap gives identical bits in any
//! order and on any number of threads. The seed is a hash of the numbers that go in.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// The source of every draw made from one input.
#[derive(Debug, Clone)]
pub(crate) struct Draws {
    generator: ChaCha8Rng,
}

impl Draws {
    /// Draws that belong to these numbers, which the caller gives in canonical order.
    pub(crate) fn of(numbers: impl IntoIterator<Item = f64>) -> Self {
        let seed = numbers
            .into_iter()
            .fold(0, |hash: u64, number| mix(hash ^ number.to_bits()));
        Self {
            generator: ChaCha8Rng::seed_from_u64(seed),
        }
    }

    /// The stream of random numbers of one draw.
    pub(crate) fn draw(&self, number: u64) -> Draw {
        let mut generator = self.generator.clone();
        generator.set_stream(number);
        Draw { generator }
    }
}

/// The random numbers of one draw, in order.
#[derive(Debug, Clone)]
pub(crate) struct Draw {
    generator: ChaCha8Rng,
}

impl Draw {
    /// A number strictly between 0 and 1: the middle of one of 2^52 equal steps.
    #[expect(clippy::cast_precision_loss, reason = "52 bits are exact")]
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.generator.next_u64() >> 12) as f64 + 0.5) * 2.0_f64.powi(-52)
    }

    /// A whole number below `n`, which is at least 1.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a product of a count and a number between 0 and 1"
    )]
    pub(crate) fn below(&mut self, n: usize) -> usize {
        (self.uniform() * n as f64) as usize
    }
}

/// A mixing of 64 bits in which every bit of the input reaches every bit of the output (the
/// finaliser of `SplitMix64`; Steele, Lea & Flood 2014).
const fn mix(bits: u64) -> u64 {
    let bits = bits.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    bits ^ (bits >> 31)
}

#[cfg(test)]
mod tests {
    use super::Draws;

    #[test]
    fn a_draw_depends_on_the_data_and_its_number_alone() {
        let draws = Draws::of([1.0, 2.0]);
        let first = |draws: &Draws, number| draws.draw(number).uniform().to_bits();
        assert_eq!(first(&draws, 7), first(&Draws::of([1.0, 2.0]), 7));
        assert_ne!(first(&draws, 7), first(&draws, 8));
        assert_ne!(first(&draws, 7), first(&Draws::of([2.0, 1.0]), 7));
    }

    #[test]
    fn draws_fill_their_range_evenly() {
        let draws = Draws::of([0.0]);
        let mut counts = [0_usize; 4];
        let mut total = 0.0;
        for number in 0..4_000 {
            let mut draw = draws.draw(number);
            counts[draw.below(4)] += 1;
            let uniform = draw.uniform();
            assert!(0.0 < uniform && uniform < 1.0);
            total += uniform;
        }
        // Four binomial standard deviations are 110, those of the mean 0.018.
        assert!(
            counts.iter().all(|&n| n.abs_diff(1_000) < 110),
            "{counts:?}"
        );
        assert!((total / 4_000.0 - 0.5).abs() < 0.018);
    }
}
