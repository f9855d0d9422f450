//! The global maximum of a restricted likelihood over `tau_squared` in `[0, inf)`.
//!
//! The restricted likelihood (Patterson & Thompson 1971; Harville 1977) can have several maxima.
//! The score is looked at on a grid, every place where it falls through 0 is found, and the
//! highest of those places and 0 wins.

use super::reason::{Estimable, Reason, finite};
use super::roots::{Tolerance, ValueAndSlope, falling_root};

/// Relative width at which a root is handed from the search to the polish. Newton's method squares
/// the error, so 1e-8 would do; the margin covers functions that bend strongly.
pub(crate) const SEARCH_TOLERANCE: f64 = 1e-10;

/// Ratio of successive values of `v_min + tau_squared` at which the restricted score is looked at.
///
/// Every term of the score is a power, at most the third, of `1 / (v_i + tau_squared)`; as a
/// function of `ln(v_min + tau_squared)` each such factor moves from level to falling over about
/// an e-fold, and so does the mean. A step of a fifth of an e-fold therefore sees every hill of
/// the likelihood but one so flat that score and slope both vanish within the step, and the
/// likelihood of such a hill differs from its surroundings by next to nothing.
const GRID_RATIO: f64 = 1.2;

/// A restricted likelihood as a function of `tau_squared`.
pub(crate) trait RestrictedLikelihood {
    /// The smallest sampling variance.
    fn smallest_variance(&self) -> f64;

    /// A `tau_squared` above which the score is negative; infinite when squares overflow.
    fn upper_bound(&self) -> f64;

    /// Whether the residuals have any spread. Without it the score is negative everywhere, and its
    /// ratio form has a pole.
    fn has_spread(&self) -> Estimable<bool>;

    /// `1 - tr P / y'PPy` at 0.
    fn score_at_zero(&self) -> Estimable<f64>;

    /// `1 - tr P / y'PPy`, which has the sign of the score, and its derivative; NaN where it
    /// cannot be computed.
    fn score(&self, tau_squared: f64) -> ValueAndSlope;

    /// Twice the restricted log-likelihood up to a constant.
    fn log_likelihood(&self, tau_squared: f64) -> f64;

    /// Brings a root that is right to [`SEARCH_TOLERANCE`] to the last place or two.
    fn polish(&self, root: f64) -> Estimable<f64>;
}

/// The global maximum.
///
/// # Errors
/// [`Reason::NotConverged`], or [`Reason::OutOfRange`] when sums overflow.
pub(crate) fn global_maximum(likelihood: &impl RestrictedLikelihood) -> Estimable<f64> {
    let hills = hills(likelihood)?;
    let [only] = hills.as_slice() else {
        let best = hills
            .iter()
            .map(|&t| (t, likelihood.log_likelihood(t)))
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
fn hills(likelihood: &impl RestrictedLikelihood) -> Estimable<Vec<f64>> {
    let mut hills = Vec::new();
    let start = likelihood.smallest_variance();
    let upper_bound = likelihood.upper_bound();
    if finite(upper_bound)? <= 0.0 || !likelihood.has_spread()? {
        return Ok(vec![0.0]);
    }
    let score_at_zero = finite(likelihood.score_at_zero()?)?;
    let mut was_rising = 0.0 < score_at_zero;
    if !was_rising {
        hills.push(0.0);
    }
    let end = start + upper_bound;
    let (mut x, mut low) = (start, 0.0);
    while x < end {
        x *= GRID_RATIO;
        let t = if x < end { x - start } else { upper_bound };
        let is_rising = 0.0 < finite(likelihood.score(t).value)?;
        if was_rising && !is_rising {
            hills.push(hill_between(likelihood, low, t)?);
        }
        was_rising = is_rising;
        low = t;
    }
    Ok(hills)
}

fn hill_between(likelihood: &impl RestrictedLikelihood, low: f64, high: f64) -> Estimable<f64> {
    let root = falling_root(
        (low, high),
        0.5 * (low + high),
        Tolerance::Relative(SEARCH_TOLERANCE),
        |t| likelihood.score(t),
    )?;
    likelihood.polish(root)
}
