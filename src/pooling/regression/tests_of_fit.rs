//! Tests of all moderators at once.

use super::fit::Fit;
use crate::pooling::quantiles::{ChiSquared, FisherF};
use crate::pooling::reason::{Estimable, Reason, finite};

/// A value of F, its degrees of freedom, and its upper tail probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FTest {
    /// The statistic.
    pub value: f64,
    /// Numerator degrees of freedom, the number of moderators.
    pub df1: u32,
    /// Denominator degrees of freedom, `k - p`.
    pub df2: f64,
    /// Upper tail probability; it underflows to 0.
    pub p: f64,
}

/// A value of chi-squared, its degrees of freedom, and its upper tail probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChiSquaredTest {
    /// The statistic.
    pub value: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// Upper tail probability; it underflows to 0.
    pub p: f64,
}

/// The tests of all moderators.
pub(super) struct ModeratorTests {
    pub(super) f_test: Estimable<FTest>,
    pub(super) f_test_safe: Estimable<FTest>,
    pub(super) wald_test: Estimable<ChiSquaredTest>,
}

/// Tests that all coefficients but the intercept are 0; `df` is `k - p`.
pub(super) fn of_moderators(fit: &Fit, residual_scale: f64, df: f64) -> ModeratorTests {
    let n_moderators = u32::try_from(fit.projection.slopes.len()).map_err(|_| Reason::OutOfRange);
    let moderators = n_moderators.and_then(|n| {
        if n == 0 {
            Err(Reason::NoModerators)
        } else {
            Ok(n)
        }
    });
    let explained = finite(fit.projection.explained() / fit.base);
    let f_test = |scale: f64| {
        let df1 = moderators?;
        let value = finite(explained? / (f64::from(df1) * scale))?;
        Ok(FTest {
            value,
            df1,
            df2: df,
            p: FisherF::new(df1, df)?.upper_tail(value)?,
        })
    };
    let safe_scale = if residual_scale < 1.0 {
        1.0
    } else {
        residual_scale
    };
    let wald_test = || {
        let (df, value) = (f64::from(moderators?), explained?);
        Ok(ChiSquaredTest {
            value,
            df,
            p: ChiSquared::new(df)?.upper_tail(value)?,
        })
    };
    ModeratorTests {
        f_test: if fit.is_exact {
            moderators.and(Err(Reason::ExactFit))
        } else {
            f_test(residual_scale)
        },
        f_test_safe: f_test(safe_scale),
        wald_test: wald_test(),
    }
}
