//! Estimators of the between-effects variance `tau_squared`.
//!
//! * DerSimonian & Laird 1986 (Control Clin Trials 7:177), eq. 8:
//!   `max(0, (Q - (k - 1)) / (s1 - s2 / s1))` with fixed-effect weights.
//! * Paule & Mandel 1982 (J Res NBS 87:377): the root of `Q(tau_squared) = k - 1`.
//! * Restricted maximum likelihood (Patterson & Thompson 1971; Harville 1977): the global maximum
//!   over `[0, inf)`, where `y'PPy = tr P` unless it is 0.
//!
//! Roots are first found in `f64` and then polished by Newton steps whose values come from
//! [`Double`] sums, so they are good to the last place or two even where `Q` and `k - 1` nearly
//! cancel. The data are passed about twenty to sixty times in all. Of many effects, the search passes
//! none of them, and what polishes is compensated `f64` (see `profile`): a dozen passes in
//! all, for roots that are good to a few units in the last place of `v + tau_squared`.

use super::hills::{self, RestrictedLikelihood, SEARCH_TOLERANCE};
use super::profile::{Moments, Profile};
use super::reason::{Estimable, Reason, finite};
use super::roots::{Tolerance, ValueAndSlope, falling_root};
use super::sums::Double;

/// Cap on polishing steps; two are usual.
const MAX_POLISHES: usize = 8;

/// The estimators for one set of effects.
#[derive(Debug)]
pub(crate) struct TauSquared<'a> {
    profile: &'a Profile<'a>,
    at_zero: Moments<Double>,
    upper_bound: f64,
}

impl<'a> TauSquared<'a> {
    pub(crate) fn new(profile: &'a Profile<'a>, at_zero: Moments<Double>) -> Self {
        Self {
            profile,
            at_zero,
            upper_bound: profile.upper_bound(),
        }
    }

    pub(crate) const fn profile(&self) -> &'a Profile<'a> {
        self.profile
    }

    pub(crate) const fn at_zero(&self) -> &Moments<Double> {
        &self.at_zero
    }

    /// # Errors
    /// [`Reason::OneEffect`] below two effects.
    pub(crate) fn dersimonian_laird(&self) -> Estimable<f64> {
        self.check_k()?;
        let excess = self.at_zero.q() - Double::from(self.at_zero.df);
        let estimate = finite((excess / self.at_zero.trace()).value())?;
        Ok(if estimate < 0.0 { 0.0 } else { estimate })
    }

    /// # Errors
    /// [`Reason::OneEffect`] below two effects; [`Reason::NotConverged`].
    pub(crate) fn paule_mandel(&self) -> Estimable<f64> {
        self.check_k()?;
        Ok(self.solve_q(self.at_zero.df)?.unwrap_or(0.0))
    }

    /// The `tau_squared` at which Q falls to `target`, a positive number, or `None` when Q is
    /// below `target` even at 0.
    ///
    /// # Errors
    /// [`Reason::NotConverged`], or [`Reason::OutOfRange`] when sums overflow.
    pub(crate) fn solve_q(&self, target: f64) -> Estimable<Option<f64>> {
        let excess = finite((self.at_zero.q() - Double::from(target)).value())?;
        if excess < 0.0 {
            return Ok(None);
        }
        let high = self.bound_for_q(target)?;
        let quick = |t: f64| {
            let (value, slope) = self.profile.rough(t).q_excess(target);
            ValueAndSlope { value, slope }
        };
        // The first Newton step from 0 uses the precise sums that are at hand.
        let (value, slope) = self.at_zero.q_excess(target);
        let start = -(value / slope).value();
        let root = falling_root(
            (0.0, high),
            start,
            Tolerance::Relative(SEARCH_TOLERANCE),
            quick,
        )?;
        self.polish_by(root, |moments| moments.q_excess(target))
            .map(Some)
    }

    /// The global maximum of the restricted likelihood.
    ///
    /// # Errors
    /// [`Reason::OneEffect`] below two effects; [`Reason::NotConverged`].
    pub(crate) fn restricted_maximum_likelihood(&self) -> Estimable<f64> {
        self.check_k()?;
        hills::global_maximum(self)
    }

    /// Newton steps with precise sums, until they no longer move the root.
    fn polish_by(
        &self,
        root: f64,
        function: impl Fn(&Moments<Double>) -> (Double, Double),
    ) -> Estimable<f64> {
        let mut place = root;
        for _ in 0..MAX_POLISHES {
            let (value, slope) = function(&self.profile.precise(place));
            let next = finite((Double::from(place) - value / slope).value())?;
            let next = if next < 0.0 { 0.0 } else { next };
            let step = (next - place).abs();
            place = next;
            if step <= self.profile.last_step() * place {
                // The error after a step is about the square of the step, far below rounding.
                return Ok(place);
            }
        }
        Err(Reason::NotConverged)
    }

    /// Where Q is surely below `target`: with equal weights `Q(t) <= ss / (v_min + t)`.
    fn bound_for_q(&self, target: f64) -> Estimable<f64> {
        finite(self.profile.sum_of_squares() / target * (1.0 + 1e-9))
    }

    fn check_k(&self) -> Estimable<()> {
        if self.at_zero.df < 1.0 {
            Err(Reason::OneEffect)
        } else {
            Ok(())
        }
    }
}

impl RestrictedLikelihood for TauSquared<'_> {
    fn smallest_variance(&self) -> f64 {
        self.profile.smallest_variance()
    }

    fn upper_bound(&self) -> f64 {
        self.upper_bound
    }

    fn has_spread(&self) -> Estimable<bool> {
        finite(self.at_zero.q().value()).map(|q| 0.0 < q)
    }

    fn score_at_zero(&self) -> Estimable<f64> {
        finite(self.at_zero.score().0.value())
    }

    fn score(&self, tau_squared: f64) -> ValueAndSlope {
        let (value, slope) = self.profile.rough(tau_squared).score();
        ValueAndSlope { value, slope }
    }

    fn log_likelihood(&self, tau_squared: f64) -> f64 {
        self.profile.restricted_log_likelihood(tau_squared)
    }

    fn polish(&self, root: f64) -> Estimable<f64> {
        self.polish_by(root, Moments::score)
    }
}
