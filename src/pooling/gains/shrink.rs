//! One true effect: between what was measured and the mean of all.

use super::{Spread, factor};
use crate::pooling::effects::NumericError;
use crate::pooling::level::Level;
use crate::pooling::model::Interval;
use crate::pooling::quantiles::Normal;
use crate::pooling::reason::{Estimable, Reason, finite};

/// A measured effect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measurement {
    estimate: f64,
    variance: f64,
    factor: f64,
}

/// What a true effect probably is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shrunken {
    /// `mean + B (y - mean)`, in the unit of the effects.
    pub estimate: f64,
    /// `B`, between 0 and 1: how much of the distance from the mean is believed.
    pub weight: f64,
    /// Root of the estimated mean squared error, in the unit of the effects.
    pub se: f64,
    /// Interval for the true effect, in the unit of the effects.
    pub interval: Interval,
}

impl Measurement {
    /// Checks an effect with its sampling variance and the numbers of replicates on its two sides.
    ///
    /// # Errors
    /// As [`super::TrueEffects::without_replicate_part`], with row 1.
    pub fn new(estimate: f64, variance: f64, counts: [usize; 2]) -> Result<Self, NumericError> {
        let row = 1;
        if !estimate.is_finite() {
            return Err(NumericError::EstimateNotFinite { row });
        }
        if !variance.is_finite() {
            return Err(NumericError::VarianceNotFinite { row });
        }
        if variance <= 0.0 {
            return Err(NumericError::VarianceNotPositive { row });
        }
        Ok(Self {
            estimate,
            variance,
            factor: factor(counts).ok_or(NumericError::CountIsZero { row })?,
        })
    }
}

impl Spread<'_> {
    /// The best guess at the true effect, without the replicate part, behind one measured effect.
    ///
    /// With `D = v + sigma^2 f` the variance of the measured effect about the true one and
    /// `T = tau^2 + D`, the guess is `mean + B (y - mean)`, `B = tau^2 / T`. Its mean squared error
    /// is estimated by `B D + (1 - B)^2 Var(mean) + 2 T Var(B)`: what is left when all is known, what
    /// the mean adds (Kackar & Harville 1984, J Am Stat Assoc 79:853), and twice what the variances
    /// add, once for themselves and once because `B D` is too small on average by as much (Prasad &
    /// Rao 1990, J Am Stat Assoc 85:163; Datta & Lahiri 2000, Stat Sin 10:613, for REML; all from
    /// memory). By the delta method
    ///
    /// `Var(B) = (D / T^2)^2 Var_REML(tau^2) + ((g D + f tau^2) / T^2)^2 Var(sigma^2)`,
    ///
    /// with `g` the weighted mean of `f` in the crowd, since `sigma^2` enters `tau^2` through the
    /// crowd and `D` through the effect. The interval is `estimate -+ c se` with the normal quantile
    /// `c`.
    ///
    /// Coverage of the 95 % interval over all clusters of the crowds that [`Spread::share_above`]
    /// describes: 96 to 99 % from 10 clusters, 95 to 98 % from 20 and 93 to 96 % from 50; with the
    /// first two terms alone 90 to 94 %, and 76 to 94 % when the replicate part is taken for lasting.
    /// It is an average over clusters: for one that stands out because it was measured far off, less.
    ///
    /// # Errors
    /// [`Reason::NoReplicateVariance`] for true effects as measured: their differences are not all
    /// the cluster's own, so no best guess is given; [`Reason::OutOfRange`] when the numbers are too
    /// large.
    pub fn shrink(&self, measurement: &Measurement, level: Level) -> Estimable<Shrunken> {
        let replication = self.source.replication.as_ref();
        let replicate = replication.ok_or(Reason::NoReplicateVariance)?.variance;
        let own = finite(measurement.variance + replicate.value * measurement.factor)?;
        let total = self.tau_squared + own;
        let weight = finite(self.tau_squared / total)?;
        // own / total, without the loss of digits of 1 - weight.
        let rest = own / total;
        let estimate = finite(self.mean + weight * (measurement.estimate - self.mean))?;
        let by_tau_squared = rest;
        let by_replicates = self.mean_factor * rest + measurement.factor * weight;
        // T Var(B), where both derivatives of B have been multiplied by T.
        let of_weight = (by_tau_squared * by_tau_squared * self.reml_variance
            + by_replicates * by_replicates * replicate.se * replicate.se)
            / total;
        let of_mean = rest * self.mean_se;
        let se = finite((weight * own + of_mean * of_mean + 2.0 * of_weight).sqrt())?;
        let half_width = Normal::upper_quantile(level.tail())? * se;
        Ok(Shrunken {
            estimate,
            weight,
            se,
            interval: Interval::around(estimate, half_width)?,
        })
    }
}
