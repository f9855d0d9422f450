//! Random-effects pooling of two outcomes at once.
//!
//! Unit `i` has the estimates `y_i` of its effects on two outcomes, `a` and `b`, with the
//! covariance `S_i` of their sampling errors: variances `v_ia` and `v_ib`, and a within-unit
//! correlation that is given. The true pairs of effects have the mean `mu` and the between-units
//! covariance `T`, so `y_i` has the covariance `V_i = S_i + T` (van Houwelingen, Arends & Stijnen
//! 2002, Stat Med 21:589, section 4). With weights `W_i = V_i^-1`:
//!
//! * mean `mu = M sum W_i y_i` with its covariance `M = (sum W_i)^-1`;
//! * `T` by restricted or full maximum likelihood, the global maximum over all covariances. The
//!   variances alone may not be 0 and the correlation still 1 or -1: where one variance vanishes
//!   the likelihood as a rule keeps a little of it, perfectly correlated with the other outcome.
//!   Such boundary solutions say that the data cannot measure the correlation, so it is then
//!   undefined, with the reason;
//! * two ellipses, both on the distance of Hotelling's T-squared with `k` pairs (see
//!   [`BivariateModel::confidence_ellipse`]).
//!
//! Clusters are counted, and fewer than ten are refused, but the covariance of the mean is the
//! model's own and takes units as independent. Units with one outcome only are absent.

mod coordinates;
mod ellipse;
mod factor;
mod likelihood;
mod scan;
mod search;
mod symmetric;
#[cfg(test)]
mod tests;
mod units;

use super::level::Level;
use super::paired_effects::{PairedEffects, WithinCorrelation};
use super::reason::{Estimable, Reason, finite};
use super::sums::Double;
use factor::{Factor, Rank};
use symmetric::Symmetric;
use units::Units;

pub use ellipse::{Axes, Ellipse};

/// Fewest clusters (units, when no clusters were given). A correlation between units from fewer is
/// mostly chance; the bound is ours and the same as that of every figure about the spread of true
/// effects.
const FEWEST_CLUSTERS: usize = 10;

/// Which likelihood the between-units covariance maximises.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Likelihood {
    /// The restricted one (Patterson & Thompson 1971), which allows for the mean being estimated.
    Restricted,
    /// The full one, whose variances are too small on average.
    Full,
}

/// A symmetric 2 x 2 matrix, the outcomes in their order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Covariance {
    /// Variance of the first outcome, in the square of its unit.
    pub a: f64,
    /// Covariance, in the product of the units.
    pub ab: f64,
    /// Variance of the second outcome, in the square of its unit.
    pub b: f64,
}

/// What [`pool_pairs`] finds out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bivariate {
    /// Number of units.
    pub k: usize,
    /// Number of clusters; equals `k` when no clusters were given.
    pub n_clusters: usize,
    /// Confidence level of both ellipses.
    pub level: Level,
    /// The likelihood that was maximised.
    pub likelihood: Likelihood,
    /// The within-unit correlation that was taken for granted.
    pub within_correlation: WithinCorrelation,
    /// The fitted model; from ten clusters on.
    pub model: Estimable<BivariateModel>,
}

/// A fitted bivariate model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BivariateModel {
    /// The means, in the units of the outcomes.
    pub mean: [f64; 2],
    /// `M`, the model's own covariance of the means.
    pub covariance: Covariance,
    /// `T`, the between-units covariance. On the boundary its determinant is 0.
    pub between: Covariance,
    /// The correlation of the true effects, strictly between -1 and 1;
    /// [`Reason::BetweenVarianceZero`] or [`Reason::BetweenCorrelationAtLimit`] on the boundary.
    pub correlation: Estimable<f64>,
    /// The logarithm of the likelihood that was maximised: the density of the data, or under
    /// restriction `-(k - 1) ln(2 pi) - (sum ln |V_i| + ln |sum W_i| + sum r_i' W_i r_i) / 2`, which
    /// has no term of the design (Harville 1977 adds `ln k`). It depends on the outcomes' units.
    pub log_likelihood: f64,
    /// Ellipse for the mean at the level, jointly for both outcomes: shape `M`, squared radius
    /// `2 (k - 1) / (k - 2)` times the quantile of F on 2 and `k - 2` degrees of freedom.
    ///
    /// Where the sampling variances are small beside `T`, `M` is the sample covariance over `k`,
    /// and this is Hotelling's (1931) exact region. The chi-squared quantile on 2 degrees of
    /// freedom, its limit for many units, would take `T` as known; it is smaller by 40 % of the
    /// squared radius at ten units.
    pub confidence_ellipse: Estimable<Ellipse>,
    /// Ellipse for the true pair of effects of another unit: shape `T + M`, the same radius, which
    /// is exact in the same case (Chew 1966, JASA 61:605) and approximate otherwise, as the range
    /// of one outcome is. It is nowhere inside the ellipse for the mean.
    pub prediction_ellipse: Estimable<Ellipse>,
}

/// Fits the model for one within-unit correlation, with ellipses at `level`.
///
/// The model is [`Reason::NoEffects`] without units and [`Reason::FewerThanTenClusters`] below ten
/// clusters, or units when there are no clusters. Time is linear in the number of units: some
/// hundreds to four thousand values of `T` are scanned and some tens worked out with derivatives.
#[must_use]
pub fn pool_pairs(
    paired: &PairedEffects,
    within_correlation: WithinCorrelation,
    likelihood: Likelihood,
    level: Level,
) -> Bivariate {
    Bivariate {
        k: paired.k(),
        n_clusters: paired.n_clusters(),
        level,
        likelihood,
        within_correlation,
        model: fit(paired, within_correlation, likelihood, level),
    }
}

/// As [`pool_pairs`] for every within-unit correlation of a list, such as
/// [`WithinCorrelation::SENSITIVITY`], in its order.
#[must_use]
pub fn pool_pairs_over(
    paired: &PairedEffects,
    within_correlations: &[WithinCorrelation],
    likelihood: Likelihood,
    level: Level,
) -> Vec<Bivariate> {
    within_correlations
        .iter()
        .map(|&correlation| pool_pairs(paired, correlation, likelihood, level))
        .collect()
}

fn fit(
    paired: &PairedEffects,
    within_correlation: WithinCorrelation,
    likelihood: Likelihood,
    level: Level,
) -> Estimable<BivariateModel> {
    if paired.k() == 0 {
        return Err(Reason::NoEffects);
    }
    if paired.n_clusters() < FEWEST_CLUSTERS {
        return Err(Reason::FewerThanTenClusters);
    }
    let units = Units::new(paired, within_correlation, likelihood)?;
    let factor = search::global_maximum(&units, paired)?;
    describe(&units, &factor, level)
}

fn describe(units: &Units, factor: &Factor, level: Level) -> Estimable<BivariateModel> {
    let found = units.mean(factor);
    let [scale_a, scale_b] = &units.scales;
    let [unit_a, unit_b] = [scale_a, scale_b].map(|scale| 2.0_f64.powi(scale.exponent));
    let returned = |matrix: Symmetric<Double>| -> Estimable<Covariance> {
        Ok(Covariance {
            a: finite(matrix.aa.value() * unit_a * unit_a)?,
            ab: finite(matrix.ab.value() * unit_a * unit_b)?,
            b: finite(matrix.bb.value() * unit_b * unit_b)?,
        })
    };
    let placed = |centre: f64, offset: Double, unit: f64| {
        finite((Double::from(centre) + offset * Double::from(unit)).value())
    };
    let mean = [
        placed(scale_a.centre, found.offset[0], unit_a)?,
        placed(scale_b.centre, found.offset[1], unit_b)?,
    ];
    let (between, between_determinant) = factor.covariance::<Double>();
    let together = between.plus(found.covariance);
    let crossed = between.aa * found.covariance.bb + between.bb * found.covariance.aa - {
        let half = between.ab * found.covariance.ab;
        half + half
    };
    let together_determinant = between_determinant + found.covariance_determinant + crossed;
    let radius = ellipse::hotelling_radius(units.n_units(), level);
    let ellipse = |shape: Symmetric<Double>, determinant: Double| {
        let area = determinant.value() * unit_a * unit_a * unit_b * unit_b;
        Ellipse::new(mean, returned(shape)?, area, radius)
    };
    Ok(BivariateModel {
        mean,
        covariance: returned(found.covariance)?,
        between: returned(between)?,
        correlation: correlation(factor),
        log_likelihood: finite(units.log_likelihood(found.value))?,
        confidence_ellipse: ellipse(found.covariance, found.covariance_determinant),
        prediction_ellipse: ellipse(together, together_determinant),
    })
}

fn correlation(factor: &Factor) -> Estimable<f64> {
    let [[u_a, u_b], [_, m_b]] = factor.columns;
    let both_vary = 0.0 < u_a.abs() && 0.0 < u_b.abs();
    match factor.rank {
        Rank::Zero => Err(Reason::BetweenVarianceZero),
        Rank::One if !both_vary => Err(Reason::BetweenVarianceZero),
        Rank::One => Err(Reason::BetweenCorrelationAtLimit),
        Rank::Two => {
            let rho = finite(u_b / u_b.hypot(m_b))?;
            if rho.abs() < 1.0 {
                Ok(rho)
            } else {
                Err(Reason::BetweenCorrelationAtLimit)
            }
        }
    }
}
