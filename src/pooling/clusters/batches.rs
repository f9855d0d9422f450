//! CR2 of many clusters, eight of one size side by side.
//!
//! Clusters with a larger share of all weight than one in 128, and the few large ones, are worked out
//! one by one as in [`super`]; the others as in [`square_root`].

mod square_root;
mod totals;

use pulp::{Arch, Simd, WithSimd};

use square_root::{Room, steps, work_out};
use totals::LaneSums;

use super::{Cluster, ClusterRobust, Contribution, contribute, finish};
use crate::pooling::effects::Effects;
use crate::pooling::lanes::{LANES, Lane, n_registers};
use crate::pooling::reason::Estimable;
use crate::pooling::sums::Double;

/// Most effects of a cluster that is worked out with others. As many pairs as one player may send.
const LARGEST: usize = 24;

/// Largest share of all weight of such a cluster.
const LARGEST_SHARE: f64 = 1.0 / 128.0;

/// Clusters of the same size.
#[derive(Debug, Clone, Copy)]
struct Batch {
    /// Effects of each.
    size: usize,
    /// Clusters, eight at most.
    n_clusters: usize,
}

/// The effects of eight clusters, one of each.
type Member = [[f64; LANES]; 2];

/// Effects by cluster and clusters by size. A copy of the effects, 16 bytes each.
#[derive(Debug)]
pub(crate) struct Batches {
    batches: Vec<Batch>,
    /// Variances and estimates of every batch, one batch behind the other.
    members: Vec<Member>,
    /// Those of clusters that are too large.
    large: Vec<Vec<(f64, f64)>>,
}

/// Where a mean and its residuals come from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mean {
    pub(super) tau_squared: f64,
    pub(super) total_weight: f64,
    /// An estimate, and the mean from there.
    pub(super) heaviest: f64,
    pub(super) offset: Double,
}

impl Batches {
    /// Groups effects. `None` without clusters.
    pub(crate) fn new(effects: &Effects) -> Option<Self> {
        let labels = effects.clusters()?;
        let mut sizes = vec![0_usize; effects.n_clusters()];
        for &label in labels {
            if let Some(size) = sizes.get_mut(label) {
                *size += 1;
            }
        }
        let mut of_size = [0_usize; LARGEST + 1];
        let mut n_large = 0;
        for &size in &sizes {
            match of_size.get_mut(size) {
                Some(count) => *count += 1,
                None => n_large += 1,
            }
        }
        let mut grouped = Self {
            batches: Vec::new(),
            members: Vec::new(),
            large: Vec::with_capacity(n_large),
        };
        // The first member of the first cluster of every size.
        let mut starts = [0; LARGEST + 1];
        let mut n_members = 0;
        for (size, (start, &count)) in starts.iter_mut().zip(&of_size).enumerate().skip(1) {
            *start = n_members;
            for done in (0..count).step_by(LANES) {
                let n_clusters = (count - done).min(LANES);
                grouped.batches.push(Batch { size, n_clusters });
                n_members += size;
            }
        }
        // What holds no cluster keeps variance 1, and is not counted.
        grouped.members = vec![[[1.0; LANES], [0.0; LANES]]; n_members];
        let mut seen = [0; LARGEST + 1];
        let slots: Vec<Slot> = sizes
            .iter()
            .map(|&size| {
                let (start, seen) = (starts.get(size), seen.get_mut(size));
                let Some((start, seen)) = start.zip(seen) else {
                    grouped.large.push(Vec::with_capacity(size));
                    return Slot::Large(grouped.large.len() - 1);
                };
                let slot = Slot::Member(start + *seen / LANES * size, *seen % LANES);
                *seen += 1;
                slot
            })
            .collect();
        grouped.fill(effects, slots);
        Some(grouped)
    }

    /// Puts every effect where its cluster has its next slot.
    fn fill(&mut self, effects: &Effects, mut slots: Vec<Slot>) {
        let (estimates, variances) = effects.slices();
        let labels = effects.clusters();
        let rows = estimates.iter().zip(variances);
        for ((&estimate, &variance), &label) in rows.zip(labels.iter().flatten()) {
            match slots.get_mut(label) {
                Some(Slot::Large(place)) => {
                    if let Some(cluster) = self.large.get_mut(*place) {
                        cluster.push((variance, estimate));
                    }
                }
                Some(Slot::Member(member, place)) => {
                    if let Some([variances, estimates]) = self.members.get_mut(*member) {
                        if let Some(slot) = variances.get_mut(*place) {
                            *slot = variance;
                        }
                        if let Some(slot) = estimates.get_mut(*place) {
                            *slot = estimate;
                        }
                    }
                    *member += 1;
                }
                None => {}
            }
        }
    }

    /// Standard error and degrees of freedom of a mean.
    ///
    /// # Errors
    /// As [`super::cluster_robust`].
    pub(super) fn robust(&self, mean: Mean) -> Estimable<ClusterRobust> {
        let sums = Arch::new().dispatch(AddUp {
            batches: self,
            mean,
        });
        finish(sums, mean.total_weight)
    }
}

/// Where the next effect of a cluster goes.
#[derive(Debug, Clone, Copy)]
enum Slot {
    /// A member, and the place of its cluster among the eight.
    Member(usize, usize),
    /// A large cluster.
    Large(usize),
}

#[derive(Debug)]
struct AddUp<'a> {
    batches: &'a Batches,
    mean: Mean,
}

impl WithSimd for AddUp<'_> {
    type Output = super::Sums;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Self::Output {
        let mean = self.mean;
        let mut sums = LaneSums::new(simd);
        let mut room = Room::default();
        let mut members = self.batches.members.as_slice();
        for batch in &self.batches.batches {
            let (of_batch, rest) = members.split_at(batch.size.min(members.len()));
            members = rest;
            let shares = shares(simd, of_batch, mean);
            let largest = shares.iter().fold(0.0, |a, &b| if a < b { b } else { a });
            if batch.size == 1 || largest <= LARGEST_SHARE {
                let steps = steps(largest);
                for register in 0..n_registers::<S>() {
                    let alone = work_out(simd, of_batch, register, steps, mean, &mut room);
                    let is_live = live(simd, batch.n_clusters, register);
                    sums.add(
                        register,
                        alone.map(|value| value * is_live),
                        mean.total_weight,
                    );
                }
            } else {
                let mut columns = [[0.0; LANES]; 3];
                for (place, contribution) in
                    one_by_one(of_batch, batch.n_clusters, mean).enumerate()
                {
                    let values = [
                        contribution.score,
                        contribution.diagonal,
                        contribution.total,
                    ];
                    for (column, value) in columns.iter_mut().zip(values) {
                        if let Some(slot) = column.get_mut(place) {
                            *slot = value;
                        }
                    }
                }
                sums.add_columns(&columns, mean.total_weight);
            }
        }
        for cluster in &self.batches.large {
            let alone = contribute(&rows(cluster.iter().copied(), mean), mean.total_weight);
            let columns = [alone.score, alone.diagonal, alone.total].map(|value| {
                let mut column = [0.0; LANES];
                column[0] = value;
                column
            });
            sums.add_columns(&columns, mean.total_weight);
        }
        sums.gathered()
    }
}

/// Total variance and residual of every effect of a cluster.
fn rows(cluster: impl Iterator<Item = (f64, f64)>, mean: Mean) -> Cluster {
    let row = |(variance, estimate)| {
        let residual = (Double::sum(estimate, -mean.heaviest) - mean.offset).value();
        (variance + mean.tau_squared, residual)
    };
    cluster.map(row).collect()
}

fn one_by_one(
    members: &[Member],
    n_clusters: usize,
    mean: Mean,
) -> impl Iterator<Item = Contribution> {
    (0..n_clusters).map(move |place| {
        let cluster = members.iter().filter_map(|[variances, estimates]| {
            Some((*variances.get(place)?, *estimates.get(place)?))
        });
        contribute(&rows(cluster, mean), mean.total_weight)
    })
}

/// The share of each of eight clusters of all weight.
#[inline(always)]
fn shares<S: Simd>(simd: S, members: &[Member], mean: Mean) -> [f64; LANES] {
    let tau_squared = Lane::splat(simd, mean.tau_squared);
    let total_weight = Lane::splat(simd, mean.total_weight);
    let one = Lane::splat(simd, 1.0);
    let mut shares = [0.0; LANES];
    for (register, places) in shares.chunks_exact_mut(S::F64_LANES).enumerate() {
        let mut weight = Lane::splat(simd, 0.0);
        for [variances, _] in members {
            weight = weight + one / (Lane::part(simd, variances, register) + tau_squared);
        }
        (weight / total_weight).put(places);
    }
    shares
}

/// 1 for clusters and 0 for places that hold none.
#[inline(always)]
fn live<S: Simd>(simd: S, n_clusters: usize, register: usize) -> Lane<S> {
    let mut places = [0.0; LANES];
    for place in places.iter_mut().take(n_clusters) {
        *place = 1.0;
    }
    Lane::part(simd, &places, register)
}

#[cfg(test)]
mod tests;
