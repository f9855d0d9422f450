//! The checked input of every analysis.

mod order;

use ndarray::{Array2, ArrayView1, ArrayView2, Axis};
use std::borrow::Cow;
use thiserror::Error;

/// Why numbers were refused. Rows are counted from 1 in the order the caller gave them.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum NumericError {
    /// The columns have different lengths.
    #[error("there are {n_estimates} estimates but {n_others} {column}")]
    LengthsDiffer {
        /// Number of estimates.
        n_estimates: usize,
        /// Number of entries of the other column.
        n_others: usize,
        /// The other column, such as `"variances"` or `"clusters"`.
        column: &'static str,
    },
    /// A moderator is infinite or not a number.
    #[error("row {row}: moderator {column} is not a finite number")]
    ModeratorNotFinite {
        /// Row, from 1.
        row: usize,
        /// Column, from 1.
        column: usize,
    },
    /// There are not as many names as columns of moderators.
    #[error("there are {n_columns} columns of moderators but {n_names} names")]
    NamesDiffer {
        /// Number of columns.
        n_columns: usize,
        /// Number of names.
        n_names: usize,
    },
    /// An estimate is infinite or not a number.
    #[error("row {row}: the estimate is not a finite number")]
    EstimateNotFinite {
        /// Row, from 1.
        row: usize,
    },
    /// A variance is infinite or not a number.
    #[error("row {row}: the variance is not a finite number")]
    VarianceNotFinite {
        /// Row, from 1.
        row: usize,
    },
    /// A variance is zero or negative. It is refused and never clamped.
    #[error("row {row}: the variance is not positive")]
    VarianceNotPositive {
        /// Row, from 1.
        row: usize,
    },
    /// A within-unit correlation that is not strictly between -1 and 1.
    #[error("the within-unit correlation {correlation} is not strictly between -1 and 1")]
    CorrelationOutOfRange {
        /// The correlation as given.
        correlation: f64,
    },
    /// A count is zero.
    #[error("row {row}: the count is zero")]
    CountIsZero {
        /// Row, from 1.
        row: usize,
    },
    /// A confidence level outside `0.5 <= level < 1`.
    #[error("the confidence level {level} is not in the range from 0.5 up to but not including 1")]
    LevelOutOfRange {
        /// The level as given.
        level: f64,
    },
    /// An arm of a pair of counts has no trials.
    #[error("row {row}: an arm has no trials")]
    NoTrials {
        /// Row, from 1.
        row: usize,
    },
    /// An arm of a pair of counts has more than a million trials.
    #[error("row {row}: an arm has more than a million trials")]
    TooManyTrials {
        /// Row, from 1.
        row: usize,
    },
    /// An arm of a pair of counts has more events than trials.
    #[error("row {row}: an arm has more events than trials")]
    EventsExceedTrials {
        /// Row, from 1.
        row: usize,
    },
}

/// Effects with their variances and, if given, their clusters, checked and in canonical order.
///
/// The order is by estimate, then variance, then the content of the cluster, so it depends neither
/// on the order of the input nor on how the clusters are numbered. Effects that tie in all three
/// are interchangeable.
///
/// An effect takes 16 bytes and, with clusters, 8 more; while effects are put in order, 32 more and,
/// with clusters, up to 24 besides. What [`super::pool`] makes of them takes 32 bytes an effect for
/// the weights and, while it works, 16 for a copy by cluster.
#[derive(Debug, Clone, PartialEq)]
pub struct Effects {
    estimates: Vec<f64>,
    variances: Vec<f64>,
    /// Cluster of each effect, numbered from 0 in order of first appearance.
    clusters: Option<Vec<usize>>,
    n_clusters: usize,
}

impl Effects {
    /// Checks and orders effects; the three columns run in parallel. `variances` are sampling
    /// variances in the square of the estimates' unit; `clusters` are any labels, equal for
    /// effects that depend on each other.
    ///
    /// # Errors
    /// [`NumericError::LengthsDiffer`] when the columns are not parallel; else the first row
    /// whose estimate is not finite or whose variance is not finite and positive.
    pub fn new(
        estimates: ArrayView1<'_, f64>,
        variances: ArrayView1<'_, f64>,
        clusters: Option<ArrayView1<'_, usize>>,
    ) -> Result<Self, NumericError> {
        let nothing = Array2::zeros((estimates.len(), 0));
        Self::with_moderators(estimates, variances, clusters, nothing.view())
            .map(|(effects, _)| effects)
    }

    /// As [`Effects::new`] with columns of `moderators` (one row an effect) that travel with the
    /// effects: they come after the variance in the canonical order and belong to the content of a
    /// cluster. They are given back in that order.
    ///
    /// # Errors
    /// As [`Effects::new`], and [`NumericError::ModeratorNotFinite`].
    pub(crate) fn with_moderators(
        estimates: ArrayView1<'_, f64>,
        variances: ArrayView1<'_, f64>,
        clusters: Option<ArrayView1<'_, usize>>,
        moderators: ArrayView2<'_, f64>,
    ) -> Result<(Self, Array2<f64>), NumericError> {
        let n_estimates = estimates.len();
        check_length(n_estimates, variances.len(), "variances")?;
        if let Some(clusters) = clusters {
            check_length(n_estimates, clusters.len(), "clusters")?;
        }
        check_length(n_estimates, moderators.nrows(), "rows of moderators")?;
        for (row, (&estimate, &variance)) in (1..).zip(estimates.iter().zip(variances)) {
            if !estimate.is_finite() {
                return Err(NumericError::EstimateNotFinite { row });
            }
            if !variance.is_finite() {
                return Err(NumericError::VarianceNotFinite { row });
            }
            if variance <= 0.0 {
                return Err(NumericError::VarianceNotPositive { row });
            }
        }
        for ((row, column), value) in moderators.indexed_iter() {
            if !value.is_finite() {
                return Err(NumericError::ModeratorNotFinite {
                    row: row + 1,
                    column: column + 1,
                });
            }
        }
        Ok(Self::arrange(estimates, variances, clusters, moderators))
    }

    /// Puts columns that were checked in canonical order.
    fn arrange(
        estimates: ArrayView1<'_, f64>,
        variances: ArrayView1<'_, f64>,
        clusters: Option<ArrayView1<'_, usize>>,
        moderators: ArrayView2<'_, f64>,
    ) -> (Self, Array2<f64>) {
        // Adding zero turns -0 into 0, so that equal numbers are equal bits.
        let moderators = moderators.mapv(|x| x + 0.0);
        let clusters = clusters.as_ref().map(contiguous);
        let ordered = order::order(
            &contiguous(&estimates),
            &contiguous(&variances),
            clusters.as_deref(),
            moderators.view(),
        );
        let columns = moderators.select(Axis(0), &ordered.places);
        let (clusters, n_clusters) = match ordered.clusters {
            None => (None, ordered.estimates.len()),
            Some((numbers, n_clusters)) => (Some(numbers), n_clusters),
        };
        let effects = Self {
            estimates: ordered.estimates,
            variances: ordered.variances,
            clusters,
            n_clusters,
        };
        (effects, columns)
    }

    /// The effects at the places `kept` of the canonical order, in their own canonical order, with
    /// their clusters or, unless `has_clusters`, without.
    pub(crate) fn select(&self, kept: &[usize], has_clusters: bool) -> Self {
        let clusters = self.clusters.as_ref().filter(|_| has_clusters);
        let clusters = clusters.map(|labels| picked(labels, kept));
        let (effects, _) = Self::arrange(
            ArrayView1::from(&picked(&self.estimates, kept)),
            ArrayView1::from(&picked(&self.variances, kept)),
            clusters.as_deref().map(ArrayView1::from),
            Array2::zeros((kept.len(), 0)).view(),
        );
        effects
    }

    /// One effect of each cluster, the most precise one; the smaller estimate decides between
    /// equally precise ones. The choice looks at the precision, so it favours no direction.
    #[must_use]
    pub fn most_precise_per_cluster(&self) -> Self {
        let Some(clusters) = &self.clusters else {
            return self.clone();
        };
        let mut best: Vec<Option<usize>> = vec![None; self.n_clusters];
        for (place, (&cluster, &variance)) in clusters.iter().zip(&self.variances).enumerate() {
            let Some(slot) = best.get_mut(cluster) else {
                continue;
            };
            let earlier = slot.and_then(|place| self.variances.get(place));
            if earlier.is_none_or(|&earlier| variance < earlier) {
                *slot = Some(place);
            }
        }
        let mut kept: Vec<usize> = best.into_iter().flatten().collect();
        kept.sort_unstable();
        Self {
            estimates: picked(&self.estimates, &kept),
            variances: picked(&self.variances, &kept),
            clusters: None,
            n_clusters: kept.len(),
        }
    }

    /// Number of effects.
    #[must_use]
    pub fn k(&self) -> usize {
        self.estimates.len()
    }

    /// Number of clusters; equals [`Effects::k`] when no clusters were given.
    #[must_use]
    pub const fn n_clusters(&self) -> usize {
        self.n_clusters
    }

    /// Whether any cluster holds two or more effects.
    #[must_use]
    pub fn has_repeats(&self) -> bool {
        self.n_clusters < self.k()
    }

    /// The estimates, in canonical order, hence ascending.
    #[must_use]
    pub fn estimates(&self) -> ArrayView1<'_, f64> {
        ArrayView1::from(&self.estimates)
    }

    /// The variances, in canonical order.
    #[must_use]
    pub fn variances(&self) -> ArrayView1<'_, f64> {
        ArrayView1::from(&self.variances)
    }

    /// The cluster of each effect in canonical order, numbered from 0 in order of first
    /// appearance; `None` when no clusters were given.
    #[must_use]
    pub fn clusters(&self) -> Option<ArrayView1<'_, usize>> {
        self.clusters.as_deref().map(ArrayView1::from)
    }

    /// Estimates and variances in canonical order.
    pub(crate) fn slices(&self) -> (&[f64], &[f64]) {
        (&self.estimates, &self.variances)
    }
}

/// A column without gaps, copied only where there are some.
fn contiguous<'a, T: Copy>(column: &'a ArrayView1<'_, T>) -> Cow<'a, [T]> {
    column
        .as_slice()
        .map_or_else(|| column.to_vec().into(), Cow::Borrowed)
}

fn picked<T: Copy>(column: &[T], kept: &[usize]) -> Vec<T> {
    let places = kept.iter();
    places
        .filter_map(|&place| column.get(place).copied())
        .collect()
}

pub(crate) const fn check_length(
    n_estimates: usize,
    n_others: usize,
    column: &'static str,
) -> Result<(), NumericError> {
    if n_estimates == n_others {
        Ok(())
    } else {
        Err(NumericError::LengthsDiffer {
            n_estimates,
            n_others,
            column,
        })
    }
}
