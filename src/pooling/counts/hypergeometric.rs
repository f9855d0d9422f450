//! Fisher's noncentral hypergeometric distribution (Fisher 1935).
//!
//! Given `m` events among `n_1 + n_2` trials, the first arm has `j` of them with probability
//! proportional to `C(n_1, j) C(n_2, m - j) exp(theta j)`. Up to a factor that does not depend on
//! `j`, the two binomial coefficients are four Poisson densities, of `j` and `n_1 - j` about
//! `n_1 m / n` and `n_1 (n - m) / n` and of the second arm's counts likewise, so their logarithms
//! lose no digits however large the counts (after Loader 2000, who does so for the binomial).
//!
//! Sums start at the most likely `j` and go both ways until the terms, whose logarithm is concave
//! in `j`, are negligible: some nine standard deviations.

use crate::pooling::quantiles::log_poisson_density;

use super::CountPair;

/// Terms below this share of the largest are left out. Beyond them the terms fall at least as fast
/// as a geometric series does.
const NEGLIGIBLE: f64 = 1e-18;

/// Longest list of logarithms of weights that is kept. Where a sum is longer than that it takes
/// longer than the logarithm does.
const MOST_KEPT: usize = 4_096;

/// One pair of counts, given its margins.
#[derive(Debug, Clone)]
pub(super) struct Hypergeometric {
    /// Events of the first arm.
    observed: f64,
    /// Least and largest number of events that the first arm can have.
    range: (f64, f64),
    /// `n_1`, `n_2` and `m`.
    margins: [f64; 3],
    /// Logarithm of the weight of the observed count.
    log_weight: f64,
    /// Logarithms of the weights of all counts from the least on, or none of them.
    kept: Vec<f64>,
}

/// The likelihood of `theta` for one pair, `K` being the cumulant generating function.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cumulants {
    /// Logarithm of the probability of the observed count.
    pub(super) log_probability: f64,
    /// Its derivative by `theta`, the observed count minus its mean `K'`.
    pub(super) score: f64,
    /// `K''`, the variance.
    pub(super) variance: f64,
    /// `K'''`.
    pub(super) third: f64,
    /// `K''''`.
    pub(super) fourth: f64,
}

impl Hypergeometric {
    #[expect(clippy::cast_precision_loss, reason = "counts are far below 2^53")]
    pub(super) fn new(pair: &CountPair) -> Self {
        let events = pair.first.events + pair.second.events;
        let low = events.saturating_sub(pair.second.trials);
        let high = if events < pair.first.trials {
            events
        } else {
            pair.first.trials
        };
        let mut table = Self {
            observed: pair.first.events as f64,
            range: (low as f64, high as f64),
            margins: [pair.first.trials, pair.second.trials, events].map(|n| n as f64),
            log_weight: 0.0,
            kept: Vec::new(),
        };
        table.log_weight = table.log_weight_of(table.observed);
        if (high - low) < MOST_KEPT as u64 {
            table.kept = (low..=high)
                .map(|j| table.log_weight_of(j as f64))
                .collect();
        }
        table
    }

    /// Whether the first arm has as few events as it can.
    pub(super) fn is_lowest(&self) -> bool {
        self.observed <= self.range.0
    }

    /// Whether the first arm has as many events as it can.
    pub(super) fn is_highest(&self) -> bool {
        self.range.1 <= self.observed
    }

    /// The log odds ratio with 1/2 added to every cell.
    pub(super) fn first_guess(&self) -> f64 {
        let [n_1, n_2, m] = self.margins;
        let (x_1, x_2) = (self.observed, m - self.observed);
        let odds = |x: f64, n: f64| (x + 0.5) / (n - x + 0.5);
        (odds(x_1, n_1) / odds(x_2, n_2)).ln()
    }

    /// Logarithm of the probability of the observed count at `theta`.
    pub(super) fn log_probability(&self, theta: f64) -> f64 {
        let mode = self.mode(theta);
        let mut total = 1.0;
        self.walk(mode, theta, |_, weight| total += weight);
        self.log_share(mode, theta, total)
    }

    /// The likelihood at `theta`.
    pub(super) fn at(&self, theta: f64) -> Cumulants {
        let mode = self.mode(theta);
        // Sums of (j - mode)^n times the weight over that of the mode, n from 0 to 4.
        let mut sums = [1.0, 0.0, 0.0, 0.0, 0.0];
        self.walk(mode, theta, |distance, weight| {
            let mut term = weight;
            for sum in &mut sums {
                *sum += term;
                term *= distance;
            }
        });
        let [total, moments @ ..] = sums;
        let [mean, second, third, fourth] = moments.map(|sum| sum / total);
        let variance = second - mean * mean;
        let third_central = third - mean * (3.0 * second - 2.0 * mean * mean);
        let fourth_central =
            fourth - mean * (4.0 * third - mean * (6.0 * second - 3.0 * mean * mean));
        Cumulants {
            log_probability: self.log_share(mode, theta, total),
            score: self.observed - mode - mean,
            variance,
            third: third_central,
            fourth: fourth_central - 3.0 * variance * variance,
        }
    }

    /// Calls `add` with the distance from `mode` and the weight over that of the mode, for every
    /// count but the mode that is not negligible.
    fn walk(&self, mode: f64, theta: f64, mut add: impl FnMut(f64, f64)) {
        let [n_1, n_2, m] = self.margins;
        let (low, high) = self.range;
        let odds_ratio = theta.exp();
        let (mut j, mut weight) = (mode, 1.0);
        while j < high && NEGLIGIBLE < weight {
            weight *= (n_1 - j) * (m - j) / ((j + 1.0) * (n_2 - m + j + 1.0)) * odds_ratio;
            j += 1.0;
            add(j - mode, weight);
        }
        (j, weight) = (mode, 1.0);
        while low < j && NEGLIGIBLE < weight {
            weight *= j * (n_2 - m + j) / ((n_1 - j + 1.0) * (m - j + 1.0)) / odds_ratio;
            j -= 1.0;
            add(j - mode, weight);
        }
    }

    /// Logarithm of the observed count's share of all weights, `total` over that of the mode.
    fn log_share(&self, mode: f64, theta: f64, total: f64) -> f64 {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a count in its range"
        )]
        let idx = (mode - self.range.0) as usize;
        let log_weight = match self.kept.get(idx) {
            Some(&log_weight) => log_weight,
            None => self.log_weight_of(mode),
        };
        self.log_weight - log_weight + theta * (self.observed - mode) - total.ln()
    }

    fn log_weight_of(&self, j: f64) -> f64 {
        let [n_1, n_2, m] = self.margins;
        let n = n_1 + n_2;
        let (share, rest) = (m / n, (n - m) / n);
        log_poisson_density(j, n_1 * share)
            + log_poisson_density(n_1 - j, n_1 * rest)
            + log_poisson_density(m - j, n_2 * share)
            + log_poisson_density(n_2 - m + j, n_2 * rest)
    }

    /// The most likely count, or one beside it: `(n_1 - j + 1) (m - j + 1) exp(theta) = j (n_2 - m +
    /// j)` is a quadratic equation in `j`.
    fn mode(&self, theta: f64) -> f64 {
        let [n_1, n_2, m] = self.margins;
        let (low, high) = self.range;
        // Divided by the larger of 1 and exp(theta), so that nothing overflows.
        let (first, second) = if theta < 0.0 {
            (theta.exp(), 1.0)
        } else {
            (1.0, (-theta).exp())
        };
        let a = first - second;
        let b = (n_1 + m + 2.0) * first + (n_2 - m) * second;
        let c = (n_1 + 1.0) * (m + 1.0) * first;
        let root = b * b - 4.0 * a * c;
        let root = if root < 0.0 { 0.0 } else { root.sqrt() };
        let j = if b < 0.0 {
            (b - root) / (2.0 * a)
        } else if 0.0 < b + root {
            2.0 * c / (b + root)
        } else {
            // exp(theta) has underflown.
            low
        };
        // Rounding may leave the range by one.
        let j = j.floor();
        if low <= j && j <= high {
            j
        } else if j < low {
            low
        } else {
            high
        }
    }
}
