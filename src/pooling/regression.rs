//! Random-effects meta-regression: how effects change with moderators.
//!
//! Effect `y_i` has sampling variance `v_i`, weight `w_i = 1 / (v_i + tau_squared)` and the row
//! `x_i'` of the design `X` (`k` x `p`), the intercept among its columns unless the model goes
//! through the origin. With `M = (X'WX)^-1`:
//!
//! * coefficients `b = M X'Wy` and residuals `r = y - Xb`;
//! * `tau_squared` by one of the estimators of [`Estimator`];
//! * `s^2 = sum w r^2 / (k - p)` and t tests with `s^2 M` on `k - p` degrees of freedom (Knapp &
//!   Hartung 2003, Stat Med 22:2693), beside the normal ones with `M` alone;
//! * cluster-robust CR2 tests when effects come in clusters.
//!
//! Nothing depends on the units of effects or moderators: columns are scaled inside, and no
//! tolerance is absolute. Interactions, categories and three levels are absent.

mod design;
mod fit;
mod predict;
mod projection;
mod robust;
mod rows;
mod tau_squared;
#[cfg(test)]
mod tests;
mod tests_of_fit;

use nalgebra::DMatrix;
use ndarray::Array2;

use super::level::Level;
use super::model::{TInterval, Wald};
use super::quantiles::{ChiSquared, Normal};
use super::reason::{Estimable, Reason, finite};
use fit::Fit;
use predict::Solution;
use projection::Projection;
use rows::{Rows, Unfit};

pub use design::Design;
pub use predict::Prediction;
pub use tests_of_fit::{ChiSquaredTest, FTest};

/// Name of the intercept among the coefficients.
pub const INTERCEPT: &str = "intercept";

/// How the residual between-effects variance is estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Estimator {
    /// It is taken to be 0.
    Fixed,
    /// Moments (DerSimonian & Laird 1986; Raudenbush 2009).
    DersimonianLaird,
    /// `sum w r^2 = k - p` (Paule & Mandel 1982).
    PauleMandel,
    /// Restricted maximum likelihood.
    RestrictedMaximumLikelihood,
}

/// What [`regress`] finds out.
#[derive(Debug, Clone, PartialEq)]
pub struct Regression {
    /// Number of effects.
    pub k: usize,
    /// Number of clusters; equals `k` when no clusters were given.
    pub n_clusters: usize,
    /// Confidence level of every interval.
    pub level: Level,
    /// How `tau_squared` was estimated.
    pub estimator: Estimator,
    /// Names of the coefficients, [`INTERCEPT`] first unless the model goes through the origin.
    pub names: Vec<String>,
    /// Place in `names` of the first moderator that is constant or follows from those before it;
    /// the model is then [`Reason::RankDeficient`].
    pub dependent: Option<usize>,
    /// The fitted model.
    pub model: Estimable<RegressionModel>,
}

/// A fitted regression.
#[derive(Debug, Clone, PartialEq)]
pub struct RegressionModel {
    /// Residual between-effects variance, in the square of the effects' unit.
    pub tau_squared: f64,
    /// `k - p`, at least 1.
    pub df: f64,
    /// `s^2` of Knapp & Hartung 2003; exactly 0 when every effect lies on the line.
    pub residual_scale: f64,
    /// The coefficients in the order of [`Regression::names`].
    pub coefficients: Vec<Coefficient>,
    /// `M`, the model's own covariance of the coefficients.
    pub covariance: Array2<f64>,
    /// Test that all moderators have coefficient 0: `F = b' (s^2 M)^-1 b / m` over the `m`
    /// coefficients other than the intercept, on `(m, k - p)` degrees of freedom.
    pub f_test: Estimable<FTest>,
    /// The same with `max(1, s^2)` in place of `s^2`.
    pub f_test_safe: Estimable<FTest>,
    /// The same test by chi-squared: `b' M^-1 b` on `m` degrees of freedom.
    pub wald_test: Estimable<ChiSquaredTest>,
    /// Residual heterogeneity: `sum r^2 / v` about the fixed-effect fit, chi-squared on `k - p`
    /// degrees of freedom when `tau_squared` is 0.
    pub residual_heterogeneity: ChiSquaredTest,
    /// Share of the heterogeneity that the moderators explain, `1 - tau_squared / tau_squared_0`
    /// and not below 0, with `tau_squared_0` of the model of one mean by the same estimator
    /// (Raudenbush 2009).
    pub r_squared: Estimable<f64>,
    /// Condition number of the weighted design, its moderators about their weighted means when there is
    /// an intercept, and its columns scaled to unit length; at least 1.
    pub condition: f64,
    level: Level,
    solution: Solution,
}

/// A coefficient: change of the effect per unit of its moderator, or the effect where all
/// moderators are 0.
#[derive(Debug, Clone, PartialEq)]
pub struct Coefficient {
    /// The estimate.
    pub estimate: f64,
    /// The model's own standard error, the root of the diagonal of `M`.
    pub se: f64,
    /// Normal interval and test with it.
    pub wald: Wald,
    /// With `s^2 M`, t on `k - p` degrees of freedom (Knapp & Hartung 2003); p is
    /// [`Reason::ExactFit`] when `s^2` is 0.
    pub knapp_hartung: TInterval,
    /// The same with `max(1, s^2)` in place of `s^2`.
    pub knapp_hartung_safe: TInterval,
    /// CR2 with Satterthwaite degrees of freedom; see `robust`.
    pub cluster_robust: Estimable<TInterval>,
}

/// Fits a regression, with intervals at `level`.
///
/// The model is [`Reason::FewerThanTenPerModerator`] below ten clusters, or effects when there are
/// no clusters, for every moderator; [`Reason::RankDeficient`] when a moderator is constant or
/// follows from those before it; [`Reason::OneEffect`], [`Reason::NoEffects`] and
/// [`Reason::NoColumns`] when there is too little of anything.
///
/// Each value of `tau_squared` that is tried costs `k p^2`; some fifty to two hundred are.
#[must_use]
pub fn regress(design: &Design, estimator: Estimator, level: Level) -> Regression {
    let intercept = design.has_intercept().then(|| INTERCEPT.to_owned());
    let names = intercept.into_iter().chain(design.names().iter().cloned());
    let found = Rows::new(design).and_then(|rows| Ok(model(design, &rows, estimator, level)?));
    let dependent = found.as_ref().err().and_then(|unfit| unfit.dependent);
    Regression {
        k: design.effects().k(),
        n_clusters: design.effects().n_clusters(),
        level,
        estimator,
        names: names.collect(),
        dependent: dependent.map(|column| column + usize::from(design.has_intercept())),
        model: found.map_err(|Unfit { reason, .. }| reason),
    }
}

fn model(
    design: &Design,
    rows: &Rows,
    estimator: Estimator,
    level: Level,
) -> Estimable<RegressionModel> {
    let at_zero = Fit::new(rows, 0.0)?;
    let tau_squared = tau_squared::estimate(rows, &at_zero, estimator)?;
    let df = rows.df();
    let q_residual = finite(at_zero.q())?;
    let residual_heterogeneity = ChiSquaredTest {
        value: q_residual,
        df,
        p: ChiSquared::new(df)?.upper_tail(q_residual)?,
    };
    let fit = if 0.0 < tau_squared {
        Fit::new(rows, tau_squared)?
    } else {
        at_zero
    };
    let residual_scale = finite(fit.q())? / df;
    let tests = tests_of_fit::of_moderators(&fit, residual_scale, df);
    Ok(RegressionModel {
        tau_squared,
        df,
        residual_scale,
        coefficients: coefficients(rows, &fit, residual_scale, level)?,
        covariance: covariance(&fit)?,
        f_test: tests.f_test,
        f_test_safe: tests.f_test_safe,
        wald_test: tests.wald_test,
        residual_heterogeneity,
        r_squared: r_squared(design, tau_squared, estimator),
        condition: finite(fit.projection.condition())?,
        level,
        solution: Solution::of(&fit),
    })
}

/// The coefficients as combinations, one a column, of the mean (with an intercept, first) and of
/// the coefficients about the means of the moderators: the intercept is the mean less the slopes'
/// share of it.
fn combinations(projection: &Projection) -> DMatrix<f64> {
    let n_slopes = projection.slopes.len();
    let Some(_) = projection.total_weight else {
        return DMatrix::identity(n_slopes, n_slopes);
    };
    let mut combinations = DMatrix::identity(n_slopes + 1, n_slopes + 1);
    combinations
        .view_mut((1, 0), (n_slopes, 1))
        .copy_from(&-&projection.column_centres);
    combinations
}

/// `F'c` for every combination `c`, so that their covariance is the product of these with each
/// other, times the base of the weights.
fn halves(fit: &Fit) -> DMatrix<f64> {
    let factor = fit.projection.whole_factor();
    factor.tr_mul(&combinations(&fit.projection)) * fit.base.sqrt()
}

fn covariance(fit: &Fit) -> Estimable<Array2<f64>> {
    let halves = halves(fit);
    let product = halves.tr_mul(&halves);
    let array = Array2::from_shape_fn(product.shape(), |(row, column)| {
        product.get((row, column)).copied().unwrap_or(f64::NAN)
    });
    if array.iter().all(|entry| entry.is_finite()) {
        Ok(array)
    } else {
        Err(Reason::OutOfRange)
    }
}

fn coefficients(
    rows: &Rows,
    fit: &Fit,
    residual_scale: f64,
    level: Level,
) -> Estimable<Vec<Coefficient>> {
    let combinations = combinations(&fit.projection);
    let robust = robust::cluster_robust(rows, fit, &combinations);
    let safe_scale = if residual_scale < 1.0 {
        1.0
    } else {
        residual_scale
    };
    let halves = halves(fit);
    let estimates = combinations.tr_mul(&fit.projection.solved());
    let mut coefficients = Vec::with_capacity(estimates.len());
    for (idx, (estimate, half)) in estimates.iter().zip(halves.column_iter()).enumerate() {
        let estimate = finite(*estimate)?;
        let se = finite(half.norm())?;
        coefficients.push(Coefficient {
            estimate,
            se,
            wald: Normal::two_sided(estimate, se, level)?,
            knapp_hartung: t_interval(estimate, residual_scale.sqrt() * se, rows.df(), level)?,
            knapp_hartung_safe: t_interval(estimate, safe_scale.sqrt() * se, rows.df(), level)?,
            cluster_robust: robust.as_ref().map_err(|&reason| reason).and_then(|list| {
                let found = list.get(idx).copied().unwrap_or(Err(Reason::OutOfRange))?;
                t_interval(estimate, found.se, found.df, level)
            }),
        });
    }
    Ok(coefficients)
}

/// A t interval whose p value, when the standard error is 0, is missing because the fit is exact.
fn t_interval(estimate: f64, se: f64, df: f64, level: Level) -> Estimable<TInterval> {
    let mut interval = TInterval::new(estimate, se, df, level)?;
    if interval.p == Err(Reason::ZeroStandardError) {
        interval.p = Err(Reason::ExactFit);
    }
    Ok(interval)
}

fn r_squared(design: &Design, tau_squared: f64, estimator: Estimator) -> Estimable<f64> {
    if design.names().is_empty() {
        return Err(Reason::NoModerators);
    }
    if !design.has_intercept() {
        return Err(Reason::NoIntercept);
    }
    let rows = Rows::new(&design.mean_only()).map_err(|unfit| unfit.reason)?;
    let base = tau_squared::estimate(&rows, &Fit::new(&rows, 0.0)?, estimator)?;
    if base <= 0.0 {
        return Err(Reason::NoHeterogeneityToExplain);
    }
    let share = finite(1.0 - tau_squared / base)?;
    Ok(if share < 0.0 { 0.0 } else { share })
}
