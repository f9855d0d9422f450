//! What a fitted regression says at given values of its moderators.

use nalgebra::{DMatrix, DVector};

use super::fit::Fit;
use super::{RegressionModel, t_interval};
use crate::pooling::model::{Interval, TInterval};
use crate::pooling::quantiles::StudentT;
use crate::pooling::reason::{Estimable, Reason, finite};

/// The mean effect at one value of every moderator.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// `x'b`, in the unit of the effects.
    pub estimate: f64,
    /// The model's own standard error, the root of `x'Mx`.
    pub se: f64,
    /// Interval of the mean with `s^2 M`, t on `k - p` degrees of freedom (Knapp & Hartung 2003).
    pub knapp_hartung: TInterval,
    /// The same with `max(1, s^2)` in place of `s^2`.
    pub knapp_hartung_safe: TInterval,
    /// Range for the true effect of another draw at the same moderators: `x'b +- t sqrt(tau_squared +
    /// x'Mx)` on `k - p - 1` degrees of freedom, from one on. Higgins, Thompson & Spiegelhalter 2009
    /// (J R Stat Soc A 172:137) have `k - 2` for one mean, that is one fewer than its test has;
    /// with `p` coefficients one fewer is `k - p - 1`. Approximate, as theirs is; raw, and never to be
    /// shown when narrower than the interval of the mean ([`Interval::is_narrower_than`]).
    pub prediction: Estimable<Interval>,
}

impl RegressionModel {
    /// The mean effect where the moderators have these values, in the order of the design's
    /// columns without the intercept.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] when a value is not finite, the number of values is not that of the
    /// moderators, or a result overflows.
    pub fn predict(&self, moderators: &[f64]) -> Estimable<Prediction> {
        let solution = &self.solution;
        if moderators.len() != solution.column_centres.len() {
            return Err(Reason::OutOfRange);
        }
        let from_means = DVector::from_column_slice(moderators) - &solution.column_centres;
        let place = if solution.has_intercept {
            from_means.insert_row(0, 1.0)
        } else {
            from_means
        };
        let estimate = finite(place.dot(&solution.solved))?;
        let half = solution.factor.tr_mul(&place);
        let se = finite(half.norm() * solution.base.sqrt())?;
        let safe_scale = if self.residual_scale < 1.0 {
            1.0
        } else {
            self.residual_scale
        };
        let mean = |scale: f64| t_interval(estimate, scale.sqrt() * se, self.df, self.level);
        let prediction_df = self.df - 1.0;
        let prediction = if prediction_df < 1.0 {
            Err(Reason::FewerThanThreeEffects)
        } else {
            let quantile = StudentT::new(prediction_df)?.upper_quantile(self.level.tail())?;
            Interval::around(estimate, quantile * (self.tau_squared + se * se).sqrt())
        };
        Ok(Prediction {
            estimate,
            se,
            knapp_hartung: mean(self.residual_scale)?,
            knapp_hartung_safe: mean(safe_scale)?,
            prediction,
        })
    }
}

/// What predictions need of a fit: nothing that is as long as the effects, since findings keep it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Solution {
    /// The variance that a relative weight of 1 stands for.
    base: f64,
    has_intercept: bool,
    /// Weighted means of the moderators; 0 without an intercept.
    column_centres: DVector<f64>,
    /// The mean, with an intercept, and the coefficients of the moderators about their means.
    solved: DVector<f64>,
    /// `F` with `M = F F'` for these.
    factor: DMatrix<f64>,
}

impl Solution {
    pub(super) fn of(fit: &Fit) -> Self {
        let projection = &fit.projection;
        Self {
            base: fit.base,
            has_intercept: projection.total_weight.is_some(),
            column_centres: projection.column_centres.clone(),
            solved: projection.solved(),
            factor: projection.whole_factor(),
        }
    }
}
