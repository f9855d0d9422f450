//! The probability of one pair of counts when its log odds ratio is drawn from `N(mu,
//! tau_squared)`, and its derivatives.
//!
//! With `g(theta)` the likelihood of the pair, the marginal `G = integral N(theta; mu, t) g(theta)`
//! obeys the heat equation, `dG / dt = (1 / 2) d^2 G / d mu^2`, so all derivatives follow from
//! `m_n = (d^n G / d mu^n) / G`, the mean over the posterior of `theta`
//!
//! * of `g^(n) / g`, which loses digits when `t` is far above the variance of the data, or
//! * of `He_n(z) / tau^n`, `z = (theta - mu) / tau`, with Hermite's polynomials, which loses digits
//!   when it is far below (integration by parts turns one into the other).
//!
//! Each pair takes the one that loses less.
//!
//! The integrand is analytic up to a distance of pi from the real axis, as the zeros of the
//! hypergeometric's polynomial in `exp(theta)` are real and negative, and its logarithm is concave.
//! For such functions the trapezoid rule, centred and scaled by the posterior, converges
//! geometrically, as adaptive Gauss-Hermite quadrature does for smooth ones (Trefethen & Weideman
//! 2014, SIAM Rev 56:385; from memory); and sums over even and odd places tell its error.

use std::f64::consts::TAU;

use crate::pooling::reason::{Estimable, Reason, finite};
use crate::pooling::roots::{Tolerance, ValueAndSlope, falling_root};

use super::hypergeometric::{Cumulants, Hypergeometric};

/// Largest step, a share of the distance pi of the nearest singularity, and the step in standard
/// deviations of the posterior.
const LARGEST_STEP: f64 = 0.6;
const STEP_IN_DEVIATIONS: f64 = 0.55;

/// Even and odd places agree to this share. Either has twice the step of both together, whose own
/// error is then about the square.
const AGREEMENT: f64 = 1e-6;

/// Cap on halvings of the step; none is usual.
const MAX_HALVINGS: usize = 8;

/// Weights below this share of that at the centre are left out.
const NEGLIGIBLE: f64 = 1e-18;

/// Cap on places on either side. The prior alone ends the sum within nine deviations.
const MAX_PLACES: u32 = 100_000;

/// Precision of the centre, in standard deviations. It decides where the places lie, not what the
/// integral is.
const CENTRE_TOLERANCE: f64 = 0.1;

/// `ln G` and the ratios `m_1` to `m_4`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Marginal {
    pub(super) log_probability: f64,
    pub(super) ratios: [f64; 4],
}

/// # Errors
/// [`Reason::NotConverged`], or [`Reason::OutOfRange`] when the numbers leave the range.
pub(super) fn marginal(table: &Hypergeometric, mu: f64, tau_squared: f64) -> Estimable<Marginal> {
    let at_mu = table.at(mu);
    if tau_squared <= 0.0 {
        return Ok(Marginal {
            log_probability: finite(at_mu.log_probability)?,
            ratios: of_likelihood(&at_mu),
        });
    }
    let posterior = Posterior::new(table, mu, tau_squared, &at_mu)?;
    let mut step = posterior.step;
    for _ in 0..MAX_HALVINGS {
        let [even, odd] = posterior.sums(step)?;
        let total = even.weight + odd.weight;
        if (even.weight - odd.weight).abs() <= AGREEMENT * total {
            let log_density = (total * step).ln() - 0.5 * (TAU * tau_squared).ln();
            let mut ratios = even.ratios;
            for (ratio, other) in ratios.iter_mut().zip(odd.ratios) {
                *ratio = finite((*ratio + other) / total)?;
            }
            return Ok(Marginal {
                log_probability: finite(posterior.log_height + log_density)?,
                ratios,
            });
        }
        step *= 0.5;
    }
    Err(Reason::NotConverged)
}

/// `g^(n) / g` for `n` from 1 to 4.
fn of_likelihood(at: &Cumulants) -> [f64; 4] {
    let Cumulants {
        score: d,
        variance: k_2,
        third: k_3,
        fourth: k_4,
        ..
    } = *at;
    let d_2 = d * d;
    [
        d,
        d_2 - k_2,
        d * (d_2 - 3.0 * k_2) - k_3,
        d_2 * (d_2 - 6.0 * k_2) - 4.0 * d * k_3 + 3.0 * k_2 * k_2 - k_4,
    ]
}

/// The posterior of one log odds ratio.
#[derive(Debug)]
struct Posterior<'a> {
    table: &'a Hypergeometric,
    mu: f64,
    tau_squared: f64,
    centre: f64,
    /// Logarithm of the integrand at the centre.
    log_height: f64,
    step: f64,
    /// Whether the data say more of `theta` than the prior.
    is_precise: bool,
}

#[derive(Debug, Clone, Copy)]
struct Sums {
    weight: f64,
    ratios: [f64; 4],
}

impl<'a> Posterior<'a> {
    fn new(
        table: &'a Hypergeometric,
        mu: f64,
        tau_squared: f64,
        at_mu: &Cumulants,
    ) -> Estimable<Self> {
        let precision = 1.0 / tau_squared;
        let deviation = |at: &Cumulants| 1.0 / (precision + at.variance).sqrt();
        // The score falls in theta, so the mode lies between mu and where the prior alone would
        // balance the score at mu.
        let reach = mu + tau_squared * at_mu.score;
        let (low, high) = if mu < reach { (mu, reach) } else { (reach, mu) };
        let width = deviation(at_mu);
        // A little more on either side, so that the mode is not at an end.
        let bracket = (low - width, high + width);
        let tolerance = Tolerance::Absolute(CENTRE_TOLERANCE * width);
        let start = mu + at_mu.score * width * width;
        let centre = falling_root(bracket, start, tolerance, |theta| {
            let at = table.at(theta);
            ValueAndSlope {
                value: at.score - (theta - mu) * precision,
                slope: -at.variance - precision,
            }
        })?;
        let at = table.at(centre);
        let scaled = STEP_IN_DEVIATIONS * deviation(&at);
        let distance = centre - mu;
        Ok(Self {
            table,
            mu,
            tau_squared,
            centre,
            log_height: finite(at.log_probability - 0.5 * distance * distance * precision)?,
            step: if scaled < LARGEST_STEP {
                scaled
            } else {
                LARGEST_STEP
            },
            is_precise: 1.0 < tau_squared * at.variance,
        })
    }

    /// Sums over even and odd places.
    fn sums(&self, step: f64) -> Estimable<[Sums; 2]> {
        let nothing = Sums {
            weight: 0.0,
            ratios: [0.0; 4],
        };
        let [mut even, mut odd] = [nothing; 2];
        self.add(self.centre, &mut even);
        for direction in [step, -step] {
            for place in 1.. {
                if MAX_PLACES < place {
                    return Err(Reason::NotConverged);
                }
                let theta = self.centre + f64::from(place) * direction;
                let sums = if place % 2 == 0 { &mut even } else { &mut odd };
                if self.add(theta, sums) < NEGLIGIBLE {
                    break;
                }
            }
        }
        Ok([even, odd])
    }

    /// Adds one place and gives its weight.
    fn add(&self, theta: f64, sums: &mut Sums) -> f64 {
        let distance = theta - self.mu;
        let (log_probability, ratios) = if self.is_precise {
            (self.table.log_probability(theta), self.of_prior(distance))
        } else {
            let at = self.table.at(theta);
            (at.log_probability, of_likelihood(&at))
        };
        let log_prior = -0.5 * distance * distance / self.tau_squared;
        let weight = (log_probability + log_prior - self.log_height).exp();
        sums.weight += weight;
        for (sum, ratio) in sums.ratios.iter_mut().zip(ratios) {
            *sum += weight * ratio;
        }
        weight
    }

    /// `He_n(z) / tau^n` for `n` from 1 to 4.
    fn of_prior(&self, distance: f64) -> [f64; 4] {
        let t = self.tau_squared;
        let first = distance / t;
        let square = first * first;
        [
            first,
            square - 1.0 / t,
            first * (square - 3.0 / t),
            square * (square - 6.0 / t) + 3.0 / (t * t),
        ]
    }
}
