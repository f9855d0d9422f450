//! An interval for a mean that may be looked at after every new effect.
//!
//! The `t`-mixture confidence sequence: Lai 1976 (Ann Stat 4:265); the asymptotic version and the
//! choice of the mixture variance by Waudby-Smith, Arbour, Sinha, Kennedy & Ramdas 2024 (Ann Stat
//! 52:2613). In use as `mean +- c_t SE` with the standard error after `t` effects; on a
//! random-effects standard error it is approximate.

use super::level::Level;
use super::reason::{Estimable, Reason, finite};

/// Number of effects at which the sequence is tightest, `t*`. The project's choice: about the size
/// at which a crowd experiment begins to answer; a wide optimum, so not critical.
pub const TIGHTEST_AT: f64 = 50.0;

/// The mixture variance `rho^2 = (-2 ln a + ln(-2 ln a) + 1) / t*` with `a` one minus the level:
/// about 0.17564 at 95 % (Waudby-Smith et al. 2024, from their approximate minimiser of the width
/// at `t*`).
#[must_use]
pub fn mixture_variance(level: Level) -> f64 {
    let doubled = -2.0 * error_rate(level).ln();
    (doubled + doubled.ln() + 1.0) / TIGHTEST_AT
}

/// The multiplier `c_t` of the standard error after `n` effects:
/// `sqrt((t - 1)(A - 1) / (1 - A / (1 + t rho^2)))` with `A = ((1 + t rho^2) / a^2)^(1 / t)` and
/// `a` the chance, over all looks together, that the interval ever misses: one minus the level.
///
/// # Errors
/// [`Reason::NoEffects`] for `n = 0`; [`Reason::AnyTimeIntervalInfinite`] while
/// `1 + t rho^2 <= A`, that is for the first few `n`.
#[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
pub fn any_time_multiplier(n: usize, level: Level) -> Estimable<f64> {
    if n == 0 {
        return Err(Reason::NoEffects);
    }
    let t = n as f64;
    // Logarithms keep A - 1 exact for large t, where A is close to 1.
    let log_growth = (t * mixture_variance(level)).ln_1p();
    let log_a = (log_growth - 2.0 * error_rate(level).ln()) / t;
    if log_growth <= log_a {
        return Err(Reason::AnyTimeIntervalInfinite);
    }
    let squared = (t - 1.0) * log_a.exp_m1() / -(log_a - log_growth).exp_m1();
    finite(squared.sqrt())
}

/// One minus the level.
const fn error_rate(level: Level) -> f64 {
    2.0 * level.tail()
}

#[cfg(test)]
mod tests {
    use super::{any_time_multiplier, mixture_variance};
    use crate::pooling::tests::assert_close;
    use crate::pooling::{Level, Reason};

    /// The formula evaluated by mpmath 1.3 at 30 digits; the first five also agree with the
    /// rounded values the methods give (5.827, 3.571, 3.166, 3.131, 3.270).
    #[test]
    fn multipliers_match_thirty_digits() {
        assert_close(
            mixture_variance(Level::NINETY_FIVE),
            0.175_636_008_560_657_52,
            1e-15,
            0.0,
        );
        let table = [
            (10, 5.826_721_750_332_173),
            (20, 3.571_353_931_422_027_8),
            (50, 3.166_215_427_423_838_9),
            (100, 3.131_482_797_984_145),
            (500, 3.269_609_856_810_767),
            (8, 22.516_370_209_757_396),
            (1_000_000, 4.250_633_748_682_158),
        ];
        for (n, expected) in table {
            assert_close(
                any_time_multiplier(n, Level::NINETY_FIVE).unwrap(),
                expected,
                1e-13,
                0.0,
            );
        }
    }

    #[test]
    fn the_first_looks_are_infinite() {
        assert_eq!(
            any_time_multiplier(0, Level::NINETY_FIVE),
            Err(Reason::NoEffects)
        );
        for n in 1..8 {
            assert_eq!(
                any_time_multiplier(n, Level::NINETY_FIVE),
                Err(Reason::AnyTimeIntervalInfinite)
            );
        }
    }
}
