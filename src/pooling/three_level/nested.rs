//! The sums of the three-level model as functions of its two variances.
//!
//! At a given within-cluster variance `a`, effect `i` of cluster `j` has the weight
//! `w_i = 1 / (v_i + a)`, and the cluster the total `S = sum w`, the mean `m = sum w y / S` and the
//! sum of squares `S2 = sum w^2`. With the between-cluster variance `b` the covariance matrix
//! `V = diag(1 / w) + b 1 1'` differs from a diagonal one by rank one, so
//!
//! * `V^-1 = W - (b omega / S) W 1 1' W` with `omega = 1 / (1 / S + b) = 1' V^-1 1`
//!   (Sherman & Morrison 1950),
//! * `ln det V = sum ln (1 / w) + ln (1 + b S)`,
//! * `P y` has the entries `w ((y - m) + (m - mu) omega / S)`, in which nothing cancels, because
//!   `1 - b omega = omega / S`.
//!
//! So the cluster means with variances `1 / S` are a two-level problem in `b`.

use crate::pooling::effects::Effects;
use crate::pooling::profile::Profile;
use crate::pooling::reason::{Estimable, Reason, finite};
use crate::pooling::roots::ValueAndSlope;
use crate::pooling::sums::{Double, compensated_sum};
use crate::pooling::tau_squared::TauSquared;
use ndarray::Array1;

/// Sampling variance of an effect and its exact distance from the reference.
type Member = (f64, Double);

/// Effects by cluster, about the estimate with the smallest variance.
#[derive(Debug)]
pub(super) struct Nested<'a> {
    profile: Profile<'a>,
    reference: f64,
    clusters: Vec<Vec<Member>>,
}

/// A cluster at one within-cluster variance.
#[derive(Debug)]
struct Reduced {
    /// `S`.
    weight: Double,
    /// `m`, from the reference.
    mean: Double,
    /// `S2`.
    square: Double,
    /// `S - S2 / S`, twice the sum of the products of two weights over `S`.
    spread: Double,
    /// `sum w^3`.
    cube: f64,
    /// `sum w (y - m)^2`.
    within: f64,
}

/// The model at one pair of variances.
#[derive(Debug)]
pub(super) struct Point<'a> {
    nested: &'a Nested<'a>,
    /// Variance of effects within a cluster.
    pub(super) within: f64,
    /// Variance between clusters.
    pub(super) between: f64,
    clusters: Vec<Reduced>,
    /// `omega` of every cluster.
    omegas: Vec<Double>,
    /// `sum omega`.
    total: Double,
    /// The pooled mean, from the reference.
    offset: Double,
}

impl<'a> Nested<'a> {
    /// Groups effects.
    ///
    /// # Errors
    /// [`Reason::NoEffects`], [`Reason::OneEffect`], [`Reason::NoClusters`],
    /// [`Reason::OneCluster`] or [`Reason::NoRepeatedCluster`].
    pub(super) fn new(effects: &'a Effects) -> Estimable<Self> {
        let profile = Profile::new(effects)?;
        if effects.k() < 2 {
            return Err(Reason::OneEffect);
        }
        let labels = effects.clusters().ok_or(Reason::NoClusters)?;
        if effects.n_clusters() < 2 {
            return Err(Reason::OneCluster);
        }
        if !effects.has_repeats() {
            return Err(Reason::NoRepeatedCluster);
        }
        let reference = profile.heaviest_estimate();
        let mut clusters: Vec<Vec<Member>> = vec![Vec::new(); effects.n_clusters()];
        let rows = effects.estimates().into_iter().zip(effects.variances());
        for (&label, (&estimate, &variance)) in labels.iter().zip(rows) {
            clusters
                .get_mut(label)
                .into_iter()
                .for_each(|cluster| cluster.push((variance, Double::sum(estimate, -reference))));
        }
        Ok(Self {
            profile,
            reference,
            clusters,
        })
    }

    /// The effects without their clusters.
    pub(super) const fn profile(&self) -> &Profile<'a> {
        &self.profile
    }

    /// A within-cluster variance above which the likelihood falls, whatever the other one is.
    ///
    /// `P` is at least the projection that takes out every cluster's own mean, whose trace is at
    /// least `(k - n_clusters) / (v_max + a)`.
    #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
    pub(super) fn upper_bound(&self) -> f64 {
        let df = self.profile.effects().k() - self.clusters.len();
        self.profile.upper_bound_by(df as f64)
    }

    /// Whether any two effects differ.
    pub(super) fn has_spread(&self) -> bool {
        let mut members = self.clusters.iter().flatten();
        members.any(|(_, distance)| 0.0 < distance.value().abs())
    }

    /// The highest point at one within-cluster variance: the global maximum over the other.
    ///
    /// # Errors
    /// [`Reason::NotConverged`], or [`Reason::OutOfRange`] when sums overflow.
    pub(super) fn highest(&'a self, within: f64) -> Estimable<Point<'a>> {
        let clusters = self.reduce(within)?;
        let means: Array1<f64> = clusters.iter().map(|c| c.mean.value()).collect();
        let variances: Array1<f64> = clusters
            .iter()
            .map(|c| (Double::ONE / c.weight).value())
            .collect();
        let means = Effects::new(means.view(), variances.view(), None);
        let means = means.map_err(|_| Reason::OutOfRange)?;
        let profile = Profile::new(&means)?;
        let between =
            TauSquared::new(&profile, profile.precise(0.0)).restricted_maximum_likelihood()?;
        Ok(self.point(within, between, clusters))
    }

    /// The point at two variances.
    ///
    /// # Errors
    /// [`Reason::OutOfRange`] when sums overflow.
    pub(super) fn at(&'a self, within: f64, between: f64) -> Estimable<Point<'a>> {
        Ok(self.point(within, between, self.reduce(within)?))
    }

    fn point(&'a self, within: f64, between: f64, clusters: Vec<Reduced>) -> Point<'a> {
        let omegas: Vec<Double> = clusters
            .iter()
            .map(|c| c.weight / (Double::ONE + c.weight * Double::from(between)))
            .collect();
        let total = omegas
            .iter()
            .fold(Double::ZERO, |total, &omega| total + omega);
        let weighted = omegas
            .iter()
            .zip(&clusters)
            .fold(Double::ZERO, |sum, (&omega, c)| sum + omega * c.mean);
        Point {
            nested: self,
            within,
            between,
            clusters,
            omegas,
            total,
            offset: weighted / total,
        }
    }

    fn reduce(&self, within: f64) -> Estimable<Vec<Reduced>> {
        self.clusters
            .iter()
            .map(|members| reduce(members, within))
            .collect()
    }
}

fn weight(variance: f64, within: f64) -> Double {
    Double::ONE / Double::sum(variance, within)
}

fn reduce(members: &[Member], within: f64) -> Estimable<Reduced> {
    let [mut total, mut weighted, mut square, mut cube, mut products] = [Double::ZERO; 5];
    for &(variance, distance) in members {
        let w = weight(variance, within);
        products = products + w * total;
        total = total + w;
        weighted = weighted + w * distance;
        square = square + w * w;
        cube = cube + w * w * w;
    }
    // The mean of one effect is that effect to the last bit.
    let mean = match members {
        [(_, distance)] => *distance,
        _ => weighted / total,
    };
    let squares = members.iter().map(|&(variance, distance)| {
        let deviation = (distance - mean).value();
        weight(variance, within).value() * deviation * deviation
    });
    Ok(Reduced {
        within: finite(compensated_sum(squares))?,
        cube: finite(cube.value())?,
        weight: total,
        mean,
        square,
        spread: (products + products) / total,
    })
}

impl Point<'_> {
    /// The pooled mean.
    pub(super) fn mean(&self) -> f64 {
        (Double::from(self.nested.reference) + self.offset).value()
    }

    /// The variance of the pooled mean, `1 / sum omega`.
    pub(super) fn mean_variance(&self) -> f64 {
        (Double::ONE / self.total).value()
    }

    /// Twice the restricted log-likelihood without its constant (Harville 1977):
    /// `-ln det V - ln sum omega - r'V^-1 r`.
    pub(super) fn log_likelihood(&self) -> f64 {
        let variances = self.nested.profile.total_variances(self.within);
        let determinant = compensated_sum(variances.map(f64::ln))
            + compensated_sum(self.inflations().map(f64::ln));
        -determinant - self.total.value().ln() - self.quadratic()
    }

    /// By how much [`Point::log_likelihood`] is higher here than at `other`, from ratios, so that it
    /// has no unit.
    pub(super) fn log_likelihood_above(&self, other: &Self) -> f64 {
        let variances = |point: &Self| point.nested.profile.total_variances(point.within);
        let ratios = variances(other).zip(variances(self));
        let diagonal = compensated_sum(ratios.map(|(others, own)| (others / own).ln()));
        let inflations = self.inflations().zip(other.inflations());
        let ranks = compensated_sum(inflations.map(|(own, others)| (others / own).ln()));
        let means = (other.total / self.total).value().ln();
        diagonal + ranks + means + (other.quadratic() - self.quadratic())
    }

    /// `1 + b S` of every cluster.
    fn inflations(&self) -> impl Iterator<Item = f64> {
        let between = self.between;
        self.clusters
            .iter()
            .map(move |c| 1.0 + between * c.weight.value())
    }

    /// `r'V^-1 r`.
    fn quadratic(&self) -> f64 {
        let within = compensated_sum(self.clusters.iter().map(|c| c.within));
        let parts = self.clusters.iter().zip(&self.omegas);
        let between = parts.map(|(c, &omega)| {
            let deviation = (c.mean - self.offset).value();
            omega.value() * deviation * deviation
        });
        within + compensated_sum(between)
    }

    /// `1 - tr P / y'PPy` along the ridge on which the between-cluster variance is the best one,
    /// and its derivative in the within-cluster variance.
    ///
    /// `tr P` is the sum over clusters of `(S - S2 / S) + (S2 / S^2) omega (1 - omega / sum omega)`.
    /// On the ridge the other variance moves by `-H_ab / H_bb`, with `H` the second derivatives of
    /// the restricted likelihood, and stays where it is at 0.
    pub(super) fn score(&self) -> ValueAndSlope {
        let [mut trace, mut square] = [Double::ZERO; 2];
        let mut parts = Vec::with_capacity(self.clusters.len());
        let rows = self.clusters.iter().zip(&self.omegas);
        for ((c, &omega), members) in rows.zip(&self.nested.clusters) {
            let share = omega / c.weight;
            let lift = (c.mean - self.offset) * share;
            let [mut once, mut twice] = [Double::ZERO; 2];
            for &(variance, distance) in members {
                let w = weight(variance, self.within);
                let u = w * (distance - c.mean + lift);
                square = square + u * u;
                once = once + w * u;
                twice = twice + w * u * u;
            }
            let others = (self.total - omega) / self.total;
            trace = trace + c.spread + c.square / c.weight * share * others;
            parts.push(Part {
                omega: omega.value(),
                share: share.value(),
                square: c.square.value(),
                cube: c.cube,
                total: (omega * (c.mean - self.offset)).value(),
                once: once.value(),
                twice: twice.value(),
            });
        }
        let curvature = Curvature::new(&parts, self.total.value(), self.between);
        let drift = if 0.0 < self.between && curvature.between < 0.0 {
            -curvature.crossed / curvature.between
        } else {
            0.0
        };
        let trace_slope = -curvature.trace - curvature.crossed_trace * drift;
        let square_slope = -2.0 * (curvature.square + curvature.crossed_square * drift);
        let ratio = (trace / square).value();
        ValueAndSlope {
            value: 1.0 - ratio,
            slope: (ratio * square_slope - trace_slope) / square.value(),
        }
    }
}

/// What one cluster adds to the second derivatives, with `u = P y`.
#[derive(Debug, Clone, Copy)]
struct Part {
    omega: f64,
    /// `omega / S`.
    share: f64,
    /// `S2`.
    square: f64,
    /// `sum w^3`.
    cube: f64,
    /// `sum u`.
    total: f64,
    /// `sum w u`.
    once: f64,
    /// `sum w u^2`.
    twice: f64,
}

/// Traces and squares with two or three `P`, where `Z` has a column for every cluster.
#[derive(Debug, Clone, Copy)]
struct Curvature {
    /// `tr P P`.
    trace: f64,
    /// `tr Z'P P Z`.
    crossed_trace: f64,
    /// `u'P u`.
    square: f64,
    /// `u'P Z Z'u`.
    crossed_square: f64,
    /// `H_ab` of twice the likelihood, `tr Z'PPZ - 2 u'P Z Z'u`.
    crossed: f64,
    /// `H_bb`, `tr Z'P Z Z'P Z - 2 u'Z Z'P Z Z'u`.
    between: f64,
}

impl Curvature {
    fn new(parts: &[Part], total: f64, between: f64) -> Self {
        let sum = |term: fn(&Part) -> f64| compensated_sum(parts.iter().map(term));
        // 1'V^-2 1 of a cluster is S2 share^2; V^-1 = W - beta w w' with beta = b share.
        let own = |part: &Part| part.square * part.share * part.share;
        let beta = |part: &Part| between * part.share;
        let squares = compensated_sum(parts.iter().map(own));
        let cubes = compensated_sum(parts.iter().map(|part| {
            let rank_one = beta(part) * part.square * part.square;
            part.share * part.share * (part.cube - rank_one)
        }));
        let inverse_squares = compensated_sum(parts.iter().map(|part| {
            let rank_one = beta(part) * part.square;
            part.square - 2.0 * beta(part) * part.cube + rank_one * rank_one
        }));
        let omega_squares = sum(|part| part.omega * part.omega) / total;
        let omega_cubes = sum(|part| part.omega * part.omega * part.omega) / total;
        let crossed_trace = squares
            - 2.0 * compensated_sum(parts.iter().map(|part| own(part) * part.omega)) / total
            + squares / total * omega_squares;
        let mean_once = sum(|part| part.share * part.once) / total;
        let mean_total = sum(|part| part.omega * part.total) / total;
        let square = compensated_sum(
            parts
                .iter()
                .map(|part| part.twice - beta(part) * part.once * part.once),
        ) - mean_once * mean_once * total;
        let crossed_square = compensated_sum(
            parts
                .iter()
                .map(|part| part.share * (part.total - mean_total) * part.once),
        );
        let between_square = compensated_sum(parts.iter().map(|part| {
            let deviation = part.total - mean_total;
            part.omega * deviation * deviation
        }));
        let between_trace =
            sum(|part| part.omega * part.omega) - 2.0 * omega_cubes + omega_squares * omega_squares;
        Self {
            trace: inverse_squares - 2.0 * cubes / total + (squares / total) * (squares / total),
            crossed_trace,
            square,
            crossed_square,
            crossed: crossed_trace - 2.0 * crossed_square,
            between: between_trace - 2.0 * between_square,
        }
    }
}
