//! Subgroups with one `tau_squared` in common.
//!
//! The model is a regression on one indicator for every subgroup, so its `P` is made of one block
//! for each, and every sum over it is a sum over the blocks: the score of the restricted likelihood
//! is `sum_g (y'PPy)_g - sum_g tr P_g`, the likelihood the product of those of the subgroups.

use super::{BlockMean, Common, CommonMean, between, block_means};
use crate::pooling::effects::Effects;
use crate::pooling::hills::{self, RestrictedLikelihood};
use crate::pooling::level::Level;
use crate::pooling::model::TInterval;
use crate::pooling::profile::{Moments, Profile, score_bound};
use crate::pooling::quantiles::FisherF;
use crate::pooling::reason::{Estimable, Reason, finite};
use crate::pooling::regression::FTest;
use crate::pooling::roots::ValueAndSlope;
use crate::pooling::sums::{Double, compensated_sum};

/// Fits the model to two or more subgroups; `is_independent` is the reason, if any, why the tests
/// between them are not defined.
///
/// # Errors
/// [`Reason::OneEffect`] when every subgroup has one effect; [`Reason::NotConverged`];
/// [`Reason::OutOfRange`].
pub(super) fn fit(
    parts: &[Effects],
    is_independent: Estimable<()>,
    level: Level,
) -> Estimable<Common> {
    let blocks = Blocks::new(parts)?;
    let df = blocks.df();
    if df < 1.0 {
        return Err(Reason::OneEffect);
    }
    let tau_squared = hills::global_maximum(&blocks)?;
    let means = block_means(parts, std::iter::repeat(tau_squared))?;
    let residual_scale = finite(compensated_sum(means.iter().map(|block| block.q)) / df)?;
    let safe_scale = if residual_scale < 1.0 {
        1.0
    } else {
        residual_scale
    };
    let mean = |block: &BlockMean| {
        let estimate = finite(block.mean.value())?;
        let se = finite((Double::ONE / block.weight).value().sqrt())?;
        Ok(CommonMean {
            estimate,
            se,
            knapp_hartung_safe: TInterval::new(estimate, safe_scale.sqrt() * se, df, level)?,
        })
    };
    let test = is_independent.and_then(|()| between(&means));
    Ok(Common {
        tau_squared,
        df,
        residual_scale,
        means: means.iter().map(mean).collect::<Estimable<_>>()?,
        between: test,
        between_safe: test.and_then(|test| {
            let df1 = u32::try_from(means.len() - 1).map_err(|_| Reason::OutOfRange)?;
            let value = finite(test.value / (test.df * safe_scale))?;
            Ok(FTest {
                value,
                df1,
                df2: df,
                p: FisherF::new(df1, df)?.upper_tail(value)?,
            })
        }),
    })
}

/// The subgroups as blocks of one likelihood.
#[derive(Debug)]
struct Blocks<'a> {
    profiles: Vec<Profile<'a>>,
    smallest_variance: f64,
}

impl<'a> Blocks<'a> {
    fn new(parts: &'a [Effects]) -> Estimable<Self> {
        let profiles: Vec<Profile<'a>> =
            parts.iter().map(Profile::new).collect::<Estimable<_>>()?;
        let smallest = profiles.iter().map(Profile::smallest_variance);
        Ok(Self {
            smallest_variance: smallest.fold(f64::INFINITY, |a, b| if b < a { b } else { a }),
            profiles,
        })
    }

    /// Number of effects less number of subgroups.
    fn df(&self) -> f64 {
        compensated_sum(self.profiles.iter().map(Profile::df))
    }

    /// `y'PPy`, `y'PPPy`, `tr P` and `tr PP` over all blocks, in units of the heaviest effect.
    fn sums(&self, tau_squared: f64) -> [Double; 4] {
        let base = Double::sum(self.smallest_variance, tau_squared);
        let mut sums = [Double::ZERO; 4];
        for profile in &self.profiles {
            let moments: Moments<Double> = profile.precise(tau_squared);
            for (sum, part) in sums.iter_mut().zip(moments.parts(base)) {
                *sum = *sum + part;
            }
        }
        sums
    }
}

impl RestrictedLikelihood for Blocks<'_> {
    fn smallest_variance(&self) -> f64 {
        self.smallest_variance
    }

    fn upper_bound(&self) -> f64 {
        // As for one block: y'PPy is at most the sum of squares over (v_min + t)^2, tr P at least
        // df / (v_max + t), and both hold of sums over blocks.
        let squares = self.profiles.iter().map(Profile::sum_of_squares);
        let mean_square = compensated_sum(squares) / self.df();
        let largest = self.profiles.iter().map(Profile::largest_variance);
        let largest = largest.fold(0.0, |a, b| if a < b { b } else { a });
        score_bound(mean_square, self.smallest_variance, largest)
    }

    fn has_spread(&self) -> Estimable<bool> {
        let [projected, ..] = self.sums(0.0);
        finite(projected.value()).map(|spread| 0.0 < spread)
    }

    fn score_at_zero(&self) -> Estimable<f64> {
        finite(self.score(0.0).value)
    }

    fn score(&self, tau_squared: f64) -> ValueAndSlope {
        let [projected, twice, trace, trace_of_square] = self.sums(tau_squared);
        let base = Double::sum(self.smallest_variance, tau_squared);
        let ratio = base * trace / projected;
        let slope =
            trace_of_square / projected - (trace / projected) * ((twice + twice) / projected);
        ValueAndSlope {
            value: (Double::ONE - ratio).value(),
            slope: slope.value(),
        }
    }

    fn log_likelihood(&self, tau_squared: f64) -> f64 {
        let blocks = self.profiles.iter();
        compensated_sum(blocks.map(|block| block.restricted_log_likelihood(tau_squared)))
    }

    fn polish(&self, root: f64) -> Estimable<f64> {
        // The search used precise sums, and its last Newton step left the square of its length.
        Ok(root)
    }
}
