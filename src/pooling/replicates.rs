//! The variance between replicates: how much the true mean of a measurement moves from one
//! repetition to the next.
//!
//! A group is measured several times under the same conditions. Replicate `j` has the mean
//! `m_j = theta + s_j + e_j` over `n_j` observations, where `s_j` has the variance `sigma^2` that is
//! wanted, the same in all groups, and `e_j` the known variance `v_j`. With `N = sum n_j` and
//! `mbar = sum n_j m_j / N` the sum of squares of a group has the expectation
//!
//! `E sum n_j (m_j - mbar)^2 = sigma^2 (N - sum n_j^2 / N) + sum n_j v_j (1 - n_j / N)`,
//!
//! because it equals `sum n_j m_j^2 - N mbar^2`, whose parts have the expectations
//! `N theta^2 + sum n_j (sigma^2 + v_j)` and `N theta^2 + sum n_j^2 (sigma^2 + v_j) / N`. Nothing
//! but the variances is assumed, no normality. The estimate sets the sum over all groups equal to
//! its expectation, as in the analysis of variance with unequal numbers (Searle et al. 1992,
//! Variance Components, section 3.6; from memory).
//!
//! Its standard error is the delete-one-cluster jackknife (Tukey 1958, Ann Math Stat 29:614;
//! Miller 1974, Biometrika 61:1): groups of one cluster may depend on each other.

#[cfg(test)]
mod tests;

use ndarray::ArrayView1;

use super::effects::{NumericError, check_length};
use super::reason::{Estimable, Reason, finite};
use super::sums::{Double, compensated_sum};
use std::cmp::Ordering;
use std::collections::BTreeMap;

/// Fewest clusters from which a variance is estimated: a variance from a few groups says little
/// about any other.
const FEWEST_CLUSTERS: usize = 10;

/// The checked replicates, as sums per cluster.
#[derive(Debug, Clone, PartialEq)]
pub struct Replicates {
    n_replicates: usize,
    n_groups: usize,
    /// Ordered by content, so that their order in the input does not matter.
    clusters: Vec<Sums>,
}

/// What a group or a cluster adds to both sides of the equation.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Sums {
    /// The sum of squares less its sampling part.
    excess: f64,
    /// `N - sum n^2 / N`.
    factor: f64,
}

/// The variance between replicates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReplicateVariance {
    /// The estimate, not below 0, in the square of the means' unit.
    pub value: f64,
    /// The estimate as the equation gives it; negative when the replicates are more alike than
    /// their sampling variances allow.
    pub untruncated: f64,
    /// Standard error of `untruncated` by the delete-one-cluster jackknife, in the square of the
    /// means' unit.
    pub se: f64,
}

/// One replicate, ordered by content.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Replicate {
    mean: f64,
    variance: f64,
    size: f64,
}

impl Replicate {
    /// # Errors
    /// As [`Replicates::new`]; `row` is the one to name.
    fn new(row: usize, mean: f64, variance: f64, size: usize) -> Result<Self, NumericError> {
        if !mean.is_finite() {
            return Err(NumericError::EstimateNotFinite { row });
        }
        if !variance.is_finite() {
            return Err(NumericError::VarianceNotFinite { row });
        }
        if variance <= 0.0 {
            return Err(NumericError::VarianceNotPositive { row });
        }
        if size < 1 {
            return Err(NumericError::CountIsZero { row });
        }
        #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
        let size = size as f64;
        Ok(Self {
            mean,
            variance,
            size,
        })
    }

    fn compare(&self, other: &Self) -> Ordering {
        self.mean
            .total_cmp(&other.mean)
            .then(self.variance.total_cmp(&other.variance))
            .then(self.size.total_cmp(&other.size))
    }
}

/// A group of replicates, as its sums: 24 bytes, however many they are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Group {
    sums: Sums,
    n_replicates: u32,
}

impl Group {
    /// A group of replicates, each with its mean, the variance of that and its number of
    /// observations, as columns of [`Replicates::new`] have them. `None` where there is only one,
    /// which says nothing.
    ///
    /// # Errors
    /// As [`Replicates::new`], rows counted within the group.
    pub fn new(
        replicates: impl IntoIterator<Item = (f64, f64, usize)>,
    ) -> Result<Option<Self>, NumericError> {
        let numbered = (1..).zip(replicates);
        let checked =
            numbered.map(|(row, (mean, variance, size))| Replicate::new(row, mean, variance, size));
        let mut checked = checked.collect::<Result<Vec<_>, _>>()?;
        Ok(Self::of(&mut checked))
    }

    fn of(replicates: &mut [Replicate]) -> Option<Self> {
        if replicates.len() < 2 {
            return None;
        }
        replicates.sort_unstable_by(Replicate::compare);
        Some(Self {
            sums: sums(replicates),
            n_replicates: u32::try_from(replicates.len()).ok()?,
        })
    }
}

impl Replicates {
    /// Checks replicates; the columns run in parallel. `variances` are those of the means, in the
    /// square of the means' unit, and `sizes` the numbers of observations. A group is the replicates
    /// that share both the label in `groups` and that in `clusters`; one of a single replicate says
    /// nothing and is left out.
    ///
    /// # Errors
    /// [`NumericError::LengthsDiffer`] when the columns are not parallel; else the first row whose
    /// mean is not finite, whose variance is not finite and positive, or whose size is 0.
    pub fn new(
        means: ArrayView1<'_, f64>,
        variances: ArrayView1<'_, f64>,
        sizes: ArrayView1<'_, usize>,
        groups: ArrayView1<'_, usize>,
        clusters: ArrayView1<'_, usize>,
    ) -> Result<Self, NumericError> {
        let n = means.len();
        check_length(n, variances.len(), "variances")?;
        check_length(n, sizes.len(), "sizes")?;
        check_length(n, groups.len(), "groups")?;
        check_length(n, clusters.len(), "clusters")?;
        let columns = means.iter().zip(variances).zip(sizes);
        let mut of_group: BTreeMap<(usize, usize), Vec<Replicate>> = BTreeMap::new();
        for (row, (((&mean, &variance), &size), (&cluster, &group))) in
            (1..).zip(columns.zip(clusters.iter().zip(groups)))
        {
            let replicate = Replicate::new(row, mean, variance, size)?;
            of_group
                .entry((cluster, group))
                .or_default()
                .push(replicate);
        }
        let summed = of_group
            .into_iter()
            .filter_map(|((cluster, _), mut group)| Some((cluster, Group::of(&mut group)?)));
        Ok(Self::of_groups(summed.collect()))
    }

    /// The same from groups, each with the label of its cluster.
    #[must_use]
    pub fn of_groups<L: Ord + Copy>(mut groups: Vec<(L, Group)>) -> Self {
        groups.sort_unstable_by_key(|(cluster, _)| *cluster);
        let in_cluster = groups.chunk_by(|a, b| a.0 == b.0);
        let mut clusters: Vec<Sums> = in_cluster
            .map(|of_cluster| {
                let sums = of_cluster.iter().map(|(_, group)| group.sums);
                add_up(&mut sums.collect::<Vec<_>>())
            })
            .collect();
        clusters.sort_unstable_by(Sums::compare);
        let n_replicates = groups.iter().map(|(_, group)| group.n_replicates as usize);
        Self {
            n_replicates: n_replicates.sum(),
            n_groups: groups.len(),
            clusters,
        }
    }

    /// Number of replicates in groups of at least two.
    #[must_use]
    pub const fn n_replicates(&self) -> usize {
        self.n_replicates
    }

    /// Number of groups of at least two replicates.
    #[must_use]
    pub const fn n_groups(&self) -> usize {
        self.n_groups
    }

    /// Number of clusters with such a group.
    #[must_use]
    pub const fn n_clusters(&self) -> usize {
        self.clusters.len()
    }

    /// The variance between replicates.
    ///
    /// # Errors
    /// [`Reason::FewerThanTenClusters`], or [`Reason::OutOfRange`] when sums overflow.
    pub fn variance(&self) -> Estimable<ReplicateVariance> {
        if self.clusters.len() < FEWEST_CLUSTERS {
            return Err(Reason::FewerThanTenClusters);
        }
        let total = |part: fn(&Sums) -> f64| {
            self.clusters.iter().fold(Double::ZERO, |sum, cluster| {
                sum + Double::from(part(cluster))
            })
        };
        let (excess, factor) = (total(|c| c.excess), total(|c| c.factor));
        let estimate = excess / factor;
        // Leaving out cluster c moves the estimate by -(excess_c - estimate factor_c) / (rest).
        let moves: Vec<f64> = self
            .clusters
            .iter()
            .map(|c| {
                let own = Double::from(c.excess) - estimate * Double::from(c.factor);
                (own / (factor - Double::from(c.factor))).value()
            })
            .collect();
        #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
        let n = moves.len() as f64;
        let mean = compensated_sum(moves.iter().copied()) / n;
        let squares = compensated_sum(moves.iter().map(|step| (step - mean) * (step - mean)));
        let untruncated = finite(estimate.value())?;
        Ok(ReplicateVariance {
            value: if untruncated < 0.0 { 0.0 } else { untruncated },
            untruncated,
            se: finite((squares * ((n - 1.0) / n)).sqrt())?,
        })
    }
}

impl Sums {
    fn compare(&self, other: &Self) -> Ordering {
        self.excess
            .total_cmp(&other.excess)
            .then(self.factor.total_cmp(&other.factor))
    }
}

/// Sums of one group, about its first mean, so that a common offset costs no digits.
fn sums(group: &[Replicate]) -> Sums {
    let reference = group.first().map_or(0.0, |first| first.mean);
    let distance = |replicate: &Replicate| Double::sum(replicate.mean, -reference);
    let size = compensated_sum(group.iter().map(|r| r.size));
    let weighted = group.iter().fold(Double::ZERO, |sum, r| {
        sum + Double::from(r.size) * distance(r)
    });
    let mean = weighted / Double::from(size);
    let squares = group.iter().map(|r| {
        let deviation = (distance(r) - mean).value();
        r.size * deviation * deviation
    });
    // N - n is exact for counts, which N - sum n^2 / N would not be for one huge n.
    let sampling = group
        .iter()
        .map(|r| r.size * r.variance * ((size - r.size) / size));
    Sums {
        excess: compensated_sum(squares.chain(sampling.map(|part| -part))),
        factor: compensated_sum(group.iter().map(|r| r.size * ((size - r.size) / size))),
    }
}

fn add_up(groups: &mut [Sums]) -> Sums {
    groups.sort_unstable_by(Sums::compare);
    Sums {
        excess: compensated_sum(groups.iter().map(|group| group.excess)),
        factor: compensated_sum(groups.iter().map(|group| group.factor)),
    }
}
