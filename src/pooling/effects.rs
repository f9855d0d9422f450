//! The checked input of every analysis.

use std::cmp::Ordering;

use ndarray::{Array1, Array2, ArrayView1, ArrayView2, Axis};
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
#[derive(Debug, Clone, PartialEq)]
pub struct Effects {
    estimates: Array1<f64>,
    variances: Array1<f64>,
    /// Cluster of each effect, numbered from 0 in order of first appearance.
    clusters: Option<Array1<usize>>,
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
        let columns =
            estimates
                .iter()
                .zip(variances)
                .zip(moderators.rows())
                .map(|((&y, &v), moderators)| Row {
                    estimate: y + 0.0,
                    variance: v,
                    moderators,
                    cluster: 0,
                    rank: 0,
                });
        let mut rows: Vec<Row<'_>> = match clusters {
            None => columns.collect(),
            Some(labels) => rank_clusters(
                columns
                    .zip(labels)
                    .map(|(row, &cluster)| Row { cluster, ..row })
                    .collect(),
            ),
        };
        rows.sort_unstable_by(|a, b| a.compare_content(b).then(a.rank.cmp(&b.rank)));
        let (clusters, n_clusters) = match clusters {
            None => (None, estimates.len()),
            Some(_) => {
                let (numbers, n_clusters) = number_by_appearance(&rows);
                (Some(numbers), n_clusters)
            }
        };
        let effects = Self {
            estimates: rows.iter().map(|row| row.estimate).collect(),
            variances: rows.iter().map(|row| row.variance).collect(),
            clusters,
            n_clusters,
        };
        let mut ordered = Array2::zeros(moderators.raw_dim());
        for (mut place, row) in ordered.rows_mut().into_iter().zip(&rows) {
            place.assign(&row.moderators);
        }
        (effects, ordered)
    }

    /// The effects at the places `kept` of the canonical order, in their own canonical order, with
    /// their clusters or, unless `has_clusters`, without.
    pub(crate) fn select(&self, kept: &[usize], has_clusters: bool) -> Self {
        let clusters = self.clusters.as_ref().filter(|_| has_clusters);
        let clusters = clusters.map(|labels| labels.select(Axis(0), kept));
        let (effects, _) = Self::arrange(
            self.estimates.select(Axis(0), kept).view(),
            self.variances.select(Axis(0), kept).view(),
            clusters.as_ref().map(|labels| labels.view()),
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
            estimates: self.estimates.select(Axis(0), &kept),
            variances: self.variances.select(Axis(0), &kept),
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
        self.estimates.view()
    }

    /// The variances, in canonical order.
    #[must_use]
    pub fn variances(&self) -> ArrayView1<'_, f64> {
        self.variances.view()
    }

    /// The cluster of each effect in canonical order, numbered from 0 in order of first
    /// appearance; `None` when no clusters were given.
    #[must_use]
    pub fn clusters(&self) -> Option<ArrayView1<'_, usize>> {
        self.clusters.as_ref().map(|clusters| clusters.view())
    }
}

#[derive(Debug, Clone, Copy)]
struct Row<'a> {
    estimate: f64,
    variance: f64,
    moderators: ArrayView1<'a, f64>,
    /// The caller's label.
    cluster: usize,
    /// Place of the cluster among all clusters by content; clusters of equal content share one.
    rank: usize,
}

impl Row<'_> {
    fn compare_content(&self, other: &Row<'_>) -> Ordering {
        self.estimate
            .total_cmp(&other.estimate)
            .then(self.variance.total_cmp(&other.variance))
            .then_with(|| {
                let mut orders = self
                    .moderators
                    .iter()
                    .zip(other.moderators)
                    .map(|(a, b)| a.total_cmp(b));
                orders
                    .find(|order| order.is_ne())
                    .unwrap_or(Ordering::Equal)
            })
    }
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

/// Gives every row the rank of its cluster when clusters are compared as sorted lists.
fn rank_clusters(mut rows: Vec<Row<'_>>) -> Vec<Row<'_>> {
    rows.sort_unstable_by(|a, b| a.cluster.cmp(&b.cluster).then_with(|| a.compare_content(b)));
    let mut groups: Vec<&mut [Row<'_>]> =
        rows.chunk_by_mut(|a, b| a.cluster == b.cluster).collect();
    groups.sort_unstable_by(|a, b| compare_groups(a, b));
    let mut rank = 0;
    for idx in 0..groups.len() {
        if let Some([previous, current]) = idx
            .checked_sub(1)
            .and_then(|before| groups.get(before..=idx))
            && compare_groups(previous, current) == Ordering::Less
        {
            rank += 1;
        }
        for row in groups
            .get_mut(idx)
            .into_iter()
            .flat_map(|group| group.iter_mut())
        {
            row.rank = rank;
        }
    }
    rows
}

fn compare_groups(a: &[Row<'_>], b: &[Row<'_>]) -> Ordering {
    let first_difference = a
        .iter()
        .zip(b)
        .map(|(x, y)| x.compare_content(y))
        .find(|order| order.is_ne());
    first_difference.unwrap_or_else(|| a.len().cmp(&b.len()))
}

/// Numbers the clusters from 0 in the order in which `rows` first names them.
fn number_by_appearance(rows: &[Row<'_>]) -> (Array1<usize>, usize) {
    let mut numbers = std::collections::HashMap::new();
    let column = rows
        .iter()
        .map(|row| {
            let next = numbers.len();
            *numbers.entry(row.cluster).or_insert(next)
        })
        .collect();
    (column, numbers.len())
}
