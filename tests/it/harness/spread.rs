//! Numbers for tests that try many things: the same every time.

/// Numbers that spread over everything, the same every time (Knuth's multiplier for 64 bits, TAOCP
/// volume 2, section 3.3.4, table 1; from memory).
pub(crate) struct Spread(pub(crate) u64);

impl Spread {
    /// The next one, below `n`.
    pub(crate) fn below(&mut self, n: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        usize::try_from(self.0 >> 33).unwrap() % n
    }
}
