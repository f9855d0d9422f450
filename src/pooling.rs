//! Pooling of independent or clustered effects: fixed-effect and random-effects means, their
//! uncertainty, and heterogeneity.
//!
//! The module takes views of numbers and returns estimates. It knows nothing of where the numbers
//! come from, and holds no clock, no input or output, no randomness and no logging.
//!
//! Throughout, effect `y_i` has sampling variance `v_i`, weight `w_i = 1 / (v_i + tau_squared)`
//! and residual `r_i = y_i - mu`. Formulae and their sources stand beside the functions.
//!
//! * Every sum runs over one canonical order, so any permutation of the input gives identical bits.
//! * A figure that is not defined is an `Err(`[`Reason`]`)`, never NaN and never 0.
//! * No tolerance is absolute: multiplying all effects by a power of two changes no digit.

mod adjustment;
pub mod bivariate;
pub mod clusters;
pub mod confidence_distribution;
pub mod counts;
pub mod cumulative;
mod draws;
mod effects;
pub mod gains;
pub mod heterogeneity;
mod hills;
pub mod influence;
mod lanes;
mod level;
pub mod model;
pub mod multiplicity;
mod paired_effects;
pub mod planning;
pub mod prediction;
mod profile;
pub mod quantiles;
mod random_mean;
mod reason;
pub mod regression;
pub mod replicates;
pub mod roots;
pub mod sequence;
pub mod small_studies;
pub mod subgroups;
pub mod sums;
pub mod tau_squared;
#[cfg(test)]
mod tests;
pub mod three_level;
pub mod tipping;
mod variance_classes;

pub use effects::{Effects, NumericError};
pub use heterogeneity::Heterogeneity;
pub use level::Level;
pub use model::{Interval, Model, TInterval, Wald};
pub use paired_effects::{PairedEffects, WithinCorrelation};
pub use random_mean::RandomMean;
pub use reason::{Estimable, Reason};

use profile::Profile;
use tau_squared::TauSquared;

/// Everything [`pool`] finds out about one set of effects.
#[derive(Debug, Clone, PartialEq)]
pub struct Pooled {
    /// Number of effects.
    pub k: usize,
    /// Number of clusters; equals `k` when no clusters were given.
    pub n_clusters: usize,
    /// Confidence level of every interval.
    pub level: Level,
    /// The fixed-effect (inverse-variance) model; defined from one effect on.
    pub fixed: Estimable<Model>,
    /// Random effects with the estimator of DerSimonian & Laird (1986); from two effects on.
    pub dersimonian_laird: Estimable<Model>,
    /// Random effects with the estimator of Paule & Mandel (1982); from two effects on.
    pub paule_mandel: Estimable<Model>,
    /// Random effects with the restricted maximum likelihood estimator; from two effects on.
    pub reml: Estimable<Model>,
    /// Cochran's Q and what follows from it; from two effects on.
    pub heterogeneity: Estimable<Heterogeneity>,
}

/// Pools `effects` by all four models, with intervals at `level`.
///
/// Linear in the number of effects; see [`tau_squared`] for how often the data are passed.
#[must_use]
pub fn pool(effects: &Effects, level: Level) -> Pooled {
    let k = effects.k();
    let n_clusters = effects.n_clusters();
    let profile = match Profile::new(effects) {
        Ok(profile) => profile,
        Err(reason) => {
            return Pooled {
                k,
                n_clusters,
                level,
                fixed: Err(reason),
                dersimonian_laird: Err(reason),
                paule_mandel: Err(reason),
                reml: Err(reason),
                heterogeneity: Err(reason),
            };
        }
    };
    let at_zero = profile.precise(0.0);
    let fixed = model::fixed_effect(&profile, &at_zero, level);
    let estimators = TauSquared::new(&profile, at_zero);
    let random = |tau_squared: Estimable<f64>| {
        tau_squared.and_then(|value| model::random_effects(&profile, &at_zero, value, level))
    };
    let reml_tau_squared = estimators.restricted_maximum_likelihood();
    Pooled {
        k,
        n_clusters,
        level,
        fixed,
        dersimonian_laird: random(estimators.dersimonian_laird()),
        paule_mandel: random(estimators.paule_mandel()),
        reml: random(reml_tau_squared),
        heterogeneity: heterogeneity::describe(&estimators, reml_tau_squared, level),
    }
}
