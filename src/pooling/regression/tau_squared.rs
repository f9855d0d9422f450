//! Estimators of the residual between-effects variance of a regression. With `P` the matrix
//! `W - W X M X' W` they are those of `pooling::tau_squared` with `k - p` in place of `k - 1`:
//!
//! * DerSimonian & Laird as Raudenbush 2009 (in Cooper, Hedges & Valentine, Handbook of Research
//!   Synthesis, 2nd ed., p. 295) has it: `max(0, (Q - (k - p)) / tr P)` with weights `1 / v`.
//! * Paule & Mandel 1982: the root of `Q(tau_squared) = k - p`.
//! * Restricted maximum likelihood: the global maximum over `[0, inf)`.

use super::fit::Fit;
use super::rows::Rows;
use super::{Estimable, Estimator};
use crate::pooling::hills::{self, RestrictedLikelihood, SEARCH_TOLERANCE};
use crate::pooling::reason::finite;
use crate::pooling::roots::{Tolerance, ValueAndSlope, falling_root};

/// The value by `estimator`. `at_zero` is the fit at 0.
///
/// # Errors
/// [`crate::pooling::Reason::NotConverged`], or [`crate::pooling::Reason::OutOfRange`] when sums overflow.
pub(super) fn estimate(rows: &Rows, at_zero: &Fit, estimator: Estimator) -> Estimable<f64> {
    let df = rows.df();
    match estimator {
        Estimator::Fixed => Ok(0.0),
        Estimator::DersimonianLaird => {
            let value = finite((at_zero.q() - df) / at_zero.trace())?;
            Ok(if value < 0.0 { 0.0 } else { value })
        }
        Estimator::PauleMandel => {
            if finite(at_zero.q())? <= df {
                return Ok(0.0);
            }
            // With equal weights Q(t) <= ss / (v_min + t); a little is added for rounding.
            let high = finite(rows.sum_of_squares()? / df * (1.0 + 1e-9))?;
            let ValueAndSlope { value, slope } = at_zero.q_excess(df);
            falling_root(
                (0.0, high),
                -value / slope,
                Tolerance::Relative(SEARCH_TOLERANCE),
                |t| at(rows, t, |fit| fit.q_excess(df)),
            )
        }
        Estimator::RestrictedMaximumLikelihood => hills::global_maximum(&Likelihood {
            rows,
            at_zero,
            upper_bound: upper_bound(rows)?,
        }),
    }
}

/// A function of the fit at `tau_squared`, NaN where there is no fit.
fn at(rows: &Rows, tau_squared: f64, function: impl Fn(&Fit) -> ValueAndSlope) -> ValueAndSlope {
    Fit::new(rows, tau_squared).map_or(
        ValueAndSlope {
            value: f64::NAN,
            slope: f64::NAN,
        },
        |fit| function(&fit),
    )
}

/// A bound above which the score of the restricted likelihood is negative.
///
/// `y'PPy <= ss / (v_min + t)^2` for `ss` the unweighted residual sum of squares, because `P`
/// annihilates fitted values and is at most `W`; and `tr P >= (k - p) / (v_max + t)`, because
/// `P = K (K'VK)^-1 K'` for an orthonormal basis `K` of what is orthogonal to the design. So with
/// `x = v_min + t` the score is negative once `x^2 > (ss / (k - p)) (x + v_max - v_min)`.
fn upper_bound(rows: &Rows) -> Estimable<f64> {
    let mean_square = rows.sum_of_squares()? / rows.df();
    let range = rows.largest_variance() - rows.smallest_variance();
    let x = 0.5 * (mean_square + (mean_square * mean_square + 4.0 * mean_square * range).sqrt());
    // A little is added for the rounding of the bound itself.
    Ok(x * (1.0 + 1e-9) - rows.smallest_variance())
}

struct Likelihood<'a> {
    rows: &'a Rows,
    at_zero: &'a Fit,
    upper_bound: f64,
}

impl RestrictedLikelihood for Likelihood<'_> {
    fn smallest_variance(&self) -> f64 {
        self.rows.smallest_variance()
    }

    fn upper_bound(&self) -> f64 {
        self.upper_bound
    }

    fn has_spread(&self) -> Estimable<bool> {
        finite(self.at_zero.q()).map(|q| 0.0 < q)
    }

    fn score_at_zero(&self) -> Estimable<f64> {
        finite(self.at_zero.score().value)
    }

    fn score(&self, tau_squared: f64) -> ValueAndSlope {
        at(self.rows, tau_squared, Fit::score)
    }

    fn log_likelihood(&self, tau_squared: f64) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
        let n_coefficients = self.rows.k() as f64 - self.rows.df();
        Fit::new(self.rows, tau_squared).map_or(f64::NAN, |fit| fit.log_likelihood(n_coefficients))
    }

    fn polish(&self, root: f64) -> Estimable<f64> {
        // The search used the best sums there are, and its last Newton step left the square of its
        // own length.
        Ok(root)
    }
}
