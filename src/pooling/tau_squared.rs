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
//! cancel. The data are passed about twenty to sixty times in all.

use super::profile::{Moments, Profile};
use super::reason::{Estimable, Reason, finite};
use super::roots::{Tolerance, ValueAndSlope, falling_root};
use super::sums::Double;

/// Relative width at which a root is handed from the search to the polish. Newton's method squares
/// the error, so 1e-8 would do; the margin covers functions that bend strongly.
const SEARCH_TOLERANCE: f64 = 1e-10;

/// Cap on polishing steps; two are usual.
const MAX_POLISHES: usize = 8;

/// Ratio of successive values of `v_min + tau_squared` at which the restricted score is looked at.
///
/// Every term of the score is a power, at most the third, of `1 / (v_i + tau_squared)`; as a
/// function of `ln(v_min + tau_squared)` each such factor moves from level to falling over about
/// an e-fold, and so does the mean. A step of a fifth of an e-fold therefore sees every hill of
/// the likelihood but one so flat that score and slope both vanish within the step, and the
/// likelihood of such a hill differs from its surroundings by next to nothing.
const GRID_RATIO: f64 = 1.2;

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
            let (value, slope) = self.profile.quick(t).q_excess(target);
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
        self.polish(root, |moments| moments.q_excess(target))
            .map(Some)
    }

    /// The global maximum of the restricted likelihood.
    ///
    /// # Errors
    /// [`Reason::OneEffect`] below two effects; [`Reason::NotConverged`].
    pub(crate) fn restricted_maximum_likelihood(&self) -> Estimable<f64> {
        self.check_k()?;
        let hills = self.hills()?;
        let [only] = hills.as_slice() else {
            let likelihood = |t: f64| self.profile.restricted_log_likelihood(t);
            let best = hills
                .iter()
                .map(|&t| (t, likelihood(t)))
                .reduce(|best, hill| {
                    // Hills come in ascending order, so the smaller variance wins a tie.
                    if best.1 < hill.1 { hill } else { best }
                });
            return best.map(|(t, _)| t).ok_or(Reason::NotConverged);
        };
        Ok(*only)
    }

    /// All local maxima of the restricted likelihood in ascending order: 0 if the score is not
    /// positive there, and every place where the score falls through 0. Where it rises through 0
    /// is a minimum and is passed over.
    fn hills(&self) -> Estimable<Vec<f64>> {
        let mut hills = Vec::new();
        let start = self.profile.smallest_variance();
        // Without any spread the score is negative everywhere, and its ratio form has a pole.
        if finite(self.upper_bound)? <= 0.0 || finite(self.at_zero.q().value())? <= 0.0 {
            return Ok(vec![0.0]);
        }
        let score_at_zero = finite(self.at_zero.score().0.value())?;
        let mut was_rising = 0.0 < score_at_zero;
        if !was_rising {
            hills.push(0.0);
        }
        let end = start + self.upper_bound;
        let (mut x, mut low) = (start, 0.0);
        while x < end {
            x *= GRID_RATIO;
            let t = if x < end { x - start } else { self.upper_bound };
            let is_rising = 0.0 < finite(self.profile.quick(t).score().0)?;
            if was_rising && !is_rising {
                hills.push(self.hill_between(low, t)?);
            }
            was_rising = is_rising;
            low = t;
        }
        Ok(hills)
    }

    fn hill_between(&self, low: f64, high: f64) -> Estimable<f64> {
        let quick = |t: f64| {
            let (value, slope) = self.profile.quick(t).score();
            ValueAndSlope { value, slope }
        };
        let root = falling_root(
            (low, high),
            0.5 * (low + high),
            Tolerance::Relative(SEARCH_TOLERANCE),
            quick,
        )?;
        self.polish(root, Moments::score)
    }

    /// Newton steps with precise sums, until they no longer move the root.
    fn polish(
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
            if step <= SEARCH_TOLERANCE * place {
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
