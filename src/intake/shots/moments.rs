//! Mean, standard deviation and lag-1 autocorrelation of a series, exact but for one rounding each.
//!
//! With `x_t` whole numbers of hundredths, `d_t = n x_t - sum x` is `n` times the deviation from the
//! mean, a whole number again. So
//! `s^2 = sum d_t^2 / (n^2 (n - 1))` and
//! `r = sum d_t d_(t+1) / sum d_t^2`, which is
//! `sum (x_t - m)(x_(t+1) - m) / sum (x_t - m)^2` (Box & Jenkins 1970, Time Series Analysis, chapter
//! 2: the estimate of the autocorrelation at lag 1; from memory), are quotients of whole numbers.
//! With at most 10,000 numbers of at most 30,000 hundredths no sum exceeds 1e21, far inside 128 bits.

/// Fewest values for an autocorrelation: of fewer its standard error, about `1/sqrt(n)` (Bartlett
/// 1946; from memory), is above a third and it says nothing (our bound).
pub const FEWEST_FOR_LAG1: usize = 8;

/// Largest autocorrelation that is written; the schema of a contribution takes no larger one.
const LARGEST_LAG1: i128 = 99;

/// What a series comes to, all in hundredths.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moments {
    /// Number of values, at least 1.
    pub n: usize,
    /// Mean.
    pub mean: i64,
    /// Standard deviation with divisor `n - 1`; `None` of a single value.
    pub sd: Option<i64>,
    /// Largest value.
    pub largest: i64,
    /// Lag-1 autocorrelation, -100 to 99; `None` of fewer than [`FEWEST_FOR_LAG1`] values, or when
    /// all are the same.
    pub lag1: Option<i64>,
}

/// The moments of values in their order, each 0 to 30,000; `None` of no value.
#[must_use]
pub fn moments(values: &[i64]) -> Option<Moments> {
    let largest = values.iter().copied().max()?;
    let n = i128::try_from(values.len()).ok()?;
    let sum: i128 = values.iter().copied().map(i128::from).sum();
    let deviations: Vec<i128> = values
        .iter()
        .map(|value| n * i128::from(*value) - sum)
        .collect();
    let squares: i128 = deviations
        .iter()
        .map(|deviation| deviation * deviation)
        .sum();
    let products: i128 = deviations
        .iter()
        .zip(deviations.iter().skip(1))
        .map(|(one, next)| one * next)
        .sum();
    let has_lag1 = FEWEST_FOR_LAG1 <= values.len() && 0 < squares;
    Some(Moments {
        n: values.len(),
        mean: narrow(quotient(sum, n))?,
        sd: (1 < n)
            .then(|| narrow(root_of_quotient(squares, n * n * (n - 1))))
            .flatten(),
        largest,
        lag1: has_lag1
            .then(|| narrow(quotient(100 * products, squares).min(LARGEST_LAG1)))
            .flatten(),
    })
}

fn narrow(value: i128) -> Option<i64> {
    i64::try_from(value).ok()
}

/// The whole number nearest to a quotient with a positive divisor, a half to the even one.
const fn quotient(dividend: i128, divisor: i128) -> i128 {
    let floor = dividend.div_euclid(divisor);
    let twice_rest = 2 * dividend.rem_euclid(divisor);
    let goes_up = divisor < twice_rest || (divisor == twice_rest && floor % 2 != 0);
    if goes_up { floor + 1 } else { floor }
}

/// The whole number nearest to the root of a quotient of a whole number from 0 on and a positive
/// one, a half to the even one.
const fn root_of_quotient(dividend: i128, divisor: i128) -> i128 {
    // The root of the floor has the same floor as the root itself.
    let floor = (dividend / divisor).isqrt();
    // The root lies above floor + 1/2 exactly when the quotient lies above its square.
    let half = (2 * floor + 1) * (2 * floor + 1) * divisor;
    let goes_up = half < 4 * dividend || (half == 4 * dividend && floor % 2 != 0);
    if goes_up { floor + 1 } else { floor }
}

#[cfg(test)]
mod tests;
