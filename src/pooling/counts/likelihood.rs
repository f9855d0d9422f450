//! The marginal likelihood of all pairs of counts as a function of `mu` and `tau_squared`.

use crate::pooling::reason::{Estimable, Reason, finite};
use crate::pooling::roots::{Tolerance, ValueAndSlope, falling_root};
use crate::pooling::sums::{Double, Real};

use super::hypergeometric::Hypergeometric;
use super::marginal::{Marginal, marginal};

/// Means beyond this are not looked at. A million trials an arm bound a log odds ratio that is not
/// infinite to 28, and a mean lies among them, within some deviations of at most
/// [`super::over_tau::LARGEST_TAU`].
pub(super) const LARGEST_MU: f64 = 320.0;

/// Last step of the search for the mean. Log odds ratios have no unit, and Newton's method squares
/// the step.
const LAST_STEP: Tolerance = Tolerance::Absolute(1e-9);

/// The likelihood of `mu` and `tau_squared`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Likelihood<'a> {
    tables: &'a [Hypergeometric],
}

/// The log-likelihood and its first and second derivatives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Derivatives {
    pub(super) log_likelihood: f64,
    pub(super) mu: f64,
    pub(super) tau: f64,
    pub(super) mu_mu: f64,
    pub(super) mu_tau: f64,
    pub(super) tau_tau: f64,
}

impl<'a> Likelihood<'a> {
    pub(super) const fn new(tables: &'a [Hypergeometric]) -> Self {
        Self { tables }
    }

    pub(super) const fn tables(&self) -> &'a [Hypergeometric] {
        self.tables
    }

    /// The mean of corrected log odds ratios.
    #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
    pub(super) fn first_guess(&self) -> f64 {
        let total: f64 = self.tables.iter().map(Hypergeometric::first_guess).sum();
        total / self.tables.len() as f64
    }

    /// With `m_n` the ratios of [`marginal`], the derivatives of `ln G` are `m_1`, `m_2 / 2`, `m_2 -
    /// m_1^2`, `(m_3 - m_1 m_2) / 2` and `(m_4 - m_2^2) / 4`.
    ///
    /// # Errors
    /// Those of [`marginal`].
    pub(super) fn at(&self, mu: f64, tau_squared: f64) -> Estimable<Derivatives> {
        let mut sums = [Double::ZERO; 6];
        for table in self.tables {
            let Marginal {
                log_probability,
                ratios: [m_1, m_2, m_3, m_4],
            } = marginal(table, mu, tau_squared)?;
            let terms = [
                log_probability,
                m_1,
                0.5 * m_2,
                m_2 - m_1 * m_1,
                0.5 * (m_3 - m_1 * m_2),
                0.25 * (m_4 - m_2 * m_2),
            ];
            for (sum, term) in sums.iter_mut().zip(terms) {
                *sum = f64::accumulate(*sum, term);
            }
        }
        let [log_likelihood, mu, tau, mu_mu, mu_tau, tau_tau] = sums.map(Double::value);
        Ok(Derivatives {
            log_likelihood,
            mu,
            tau,
            mu_mu,
            mu_tau,
            tau_tau,
        })
    }

    /// The best `mu` under one `tau_squared`, and the likelihood there. A normal mean of
    /// log-concave likelihoods is log-concave in its location (Prekopa 1973), so there is one.
    ///
    /// # Errors
    /// Those of [`marginal`] and of [`falling_root`].
    pub(super) fn best_mu(&self, tau_squared: f64, start: f64) -> Estimable<(f64, Derivatives)> {
        let mut failure = None;
        let bracket = (-LARGEST_MU, LARGEST_MU);
        let mu = falling_root(bracket, start, LAST_STEP, |mu| {
            match self.at(mu, tau_squared) {
                Ok(derivatives) => ValueAndSlope {
                    value: derivatives.mu,
                    slope: derivatives.mu_mu,
                },
                Err(reason) => {
                    failure = Some(reason);
                    ValueAndSlope {
                        value: f64::NAN,
                        slope: f64::NAN,
                    }
                }
            }
        });
        let mu = failure.map_or(mu, Err)?;
        Ok((mu, self.at(mu, tau_squared)?))
    }
}

impl Derivatives {
    /// From here to the best `mu` by Newton's method, and how far that is in standard errors.
    pub(super) fn step_in_mu(&self) -> (f64, f64) {
        (-self.mu / self.mu_mu, self.mu.abs() / (-self.mu_mu).sqrt())
    }

    /// How the best `mu` moves with `tau_squared`.
    pub(super) fn drift_of_mu(&self) -> f64 {
        -self.mu_tau / self.mu_mu
    }

    /// The derivative of the profile likelihood by `tau_squared`, up to the square of the distance
    /// from the best `mu`.
    pub(super) fn profile_score(&self) -> f64 {
        self.tau - self.mu_tau * self.mu / self.mu_mu
    }

    /// The derivative of that.
    pub(super) fn profile_slope(&self) -> f64 {
        self.tau_tau - self.mu_tau * self.mu_tau / self.mu_mu
    }

    /// Standard error of `mu`.
    ///
    /// # Errors
    /// [`Reason::NotConverged`] where the information is not that of a maximum.
    pub(super) fn se(&self, tau_squared: f64) -> Estimable<f64> {
        let information = if 0.0 < tau_squared {
            -(self.mu_mu - self.mu_tau * self.mu_tau / self.tau_tau)
        } else {
            -self.mu_mu
        };
        root_of_inverse(information)
    }

    /// Standard error of `tau_squared`.
    ///
    /// # Errors
    /// [`Reason::AtBoundary`] at 0; [`Reason::NotConverged`] where the information is not that of a
    /// maximum.
    pub(super) fn tau_squared_se(&self, tau_squared: f64) -> Estimable<f64> {
        if 0.0 < tau_squared {
            root_of_inverse(-self.profile_slope())
        } else {
            Err(Reason::AtBoundary)
        }
    }
}

fn root_of_inverse(information: f64) -> Estimable<f64> {
    if 0.0 < information {
        finite(information.sqrt().recip())
    } else {
        Err(Reason::NotConverged)
    }
}
