//! Whether imprecise effects differ from precise ones.
//!
//! * Egger, Davey Smith, Schneider & Minder 1997 (BMJ 315:629): the regression of `y / se` on
//!   `1 / se` with `se = sqrt(v)`, and the t test on `k - 2` degrees of freedom of its intercept.
//!   The same numbers come from `y` on `se` with weights `1 / v` and a free residual scale, where
//!   that intercept is the coefficient of `se`; so [`regress`] gives it.
//! * The same with random effects: `tau_squared` by restricted maximum likelihood, Knapp & Hartung
//!   2003 for the test of the coefficient of `se`.
//!
//! A difference is no proof that results are missing: imprecise effects may differ in truth, and
//! so may chance have it (Sterne et al. 2011, BMJ 343:d4002). Below ten effects the tests cannot
//! tell (ibid.), and because effects of one cluster share what makes them large or small, it is
//! clusters that are counted.

#[cfg(test)]
mod tests;

use ndarray::Axis;

use super::effects::Effects;
use super::level::Level;
use super::reason::{Estimable, Reason};
use super::regression::{Coefficient, Design, Estimator, regress};

/// Name of the moderator.
const STANDARD_ERROR: &str = "standard error";

/// What [`small_study_effects`] finds out.
#[derive(Debug, Clone, PartialEq)]
pub struct SmallStudies {
    /// Number of effects.
    pub k: usize,
    /// Number of clusters; equals `k` when no clusters were given.
    pub n_clusters: usize,
    /// Confidence level of every interval.
    pub level: Level,
    /// The regression of Egger et al. 1997; its test is [`Coefficient::knapp_hartung`].
    pub egger: Estimable<Asymmetry>,
    /// The random-effects regression, with the same test.
    pub random_effects: Estimable<Asymmetry>,
}

/// A regression of effects on their standard errors.
#[derive(Debug, Clone, PartialEq)]
pub struct Asymmetry {
    /// Residual between-effects variance, in the square of the effects' unit; 0 in the regression
    /// of Egger et al.
    pub tau_squared: f64,
    /// Change of the effect per unit of its standard error, without unit: the intercept of the
    /// regression of `y / se` on `1 / se`. Where clusters hold several effects, its
    /// [`Coefficient::cluster_robust`] is the test to read.
    pub slope: Coefficient,
    /// The effect at standard error 0, in the unit of the effects: the slope of the regression of
    /// `y / se` on `1 / se`.
    pub at_zero: Coefficient,
}

/// Regresses effects on their standard errors.
///
/// Both regressions are [`Reason::FewerThanTenClusters`] below ten clusters (effects, when there
/// are no clusters), and [`Reason::EqualVariances`] when all standard errors are equal, or differ
/// by less than a share of 1e-10.
#[must_use]
pub fn small_study_effects(effects: &Effects, level: Level) -> SmallStudies {
    let fit = |estimator| asymmetry(effects, estimator, level);
    SmallStudies {
        k: effects.k(),
        n_clusters: effects.n_clusters(),
        level,
        egger: fit(Estimator::Fixed),
        random_effects: fit(Estimator::RestrictedMaximumLikelihood),
    }
}

fn asymmetry(effects: &Effects, estimator: Estimator, level: Level) -> Estimable<Asymmetry> {
    let errors = effects.variances().mapv(f64::sqrt).insert_axis(Axis(1));
    let design = Design::new(
        effects.estimates(),
        effects.variances(),
        effects.clusters(),
        errors.view(),
        &[STANDARD_ERROR.to_owned()],
        true,
    );
    // The numbers were checked when the effects were made.
    let design = design.map_err(|_| Reason::OutOfRange)?;
    let model = regress(&design, estimator, level).model;
    let model = model.map_err(|reason| match reason {
        Reason::FewerThanTenPerModerator => Reason::FewerThanTenClusters,
        Reason::RankDeficient => Reason::EqualVariances,
        other => other,
    })?;
    let tau_squared = model.tau_squared;
    let mut coefficients = model.coefficients.into_iter();
    match (coefficients.next(), coefficients.next()) {
        (Some(at_zero), Some(slope)) => Ok(Asymmetry {
            tau_squared,
            slope,
            at_zero,
        }),
        _ => Err(Reason::OutOfRange),
    }
}
