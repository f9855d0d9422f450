//! The checked input of analyses of two outcomes at once.

use ndarray::{Array2, ArrayView1};

use super::effects::{Effects, NumericError, check_length};

/// Units with an effect on each of two outcomes, with their variances and, if given, their
/// clusters, checked and in canonical order.
///
/// The order is by the estimate of the first outcome, then its variance, the estimate of the
/// second, its variance, and the content of the cluster, so it depends neither on the order of the
/// input nor on how the clusters are numbered.
#[derive(Debug, Clone, PartialEq)]
pub struct PairedEffects {
    /// The first outcome; its canonical order, the columns of the second breaking ties, is that of
    /// the units.
    first: Effects,
    /// The second outcome in an order of its own.
    second: Effects,
    /// Estimate and variance of the second outcome, one row a unit.
    second_columns: Array2<f64>,
}

impl PairedEffects {
    /// Checks and orders units that have both outcomes; the five columns run in parallel, and
    /// every array has the first outcome first. `variances` are sampling variances in the square
    /// of their outcome's unit; `clusters` are any labels, equal for units that depend on each
    /// other.
    ///
    /// # Errors
    /// [`NumericError::LengthsDiffer`] when the columns are not parallel; else the first row, of
    /// the first outcome before the second, whose estimate is not finite or whose variance is not
    /// finite and positive.
    pub fn new(
        estimates: [ArrayView1<'_, f64>; 2],
        variances: [ArrayView1<'_, f64>; 2],
        clusters: Option<ArrayView1<'_, usize>>,
    ) -> Result<Self, NumericError> {
        let k = estimates[0].len();
        check_length(k, estimates[1].len(), "estimates of the second outcome")?;
        check_length(k, variances[1].len(), "variances of the second outcome")?;
        let mut columns = Array2::zeros((k, 2));
        columns.column_mut(0).assign(&estimates[1]);
        columns.column_mut(1).assign(&variances[1]);
        // What is wrong with the second outcome must be told before its columns travel as
        // moderators, of which they are none; the first outcome goes before it all the same.
        Effects::new(estimates[0], variances[0], clusters)?;
        let second = Effects::new(estimates[1], variances[1], clusters)?;
        let (first, second_columns) =
            Effects::with_moderators(estimates[0], variances[0], clusters, columns.view())?;
        Ok(Self {
            first,
            second,
            second_columns,
        })
    }

    /// Number of units.
    #[must_use]
    pub fn k(&self) -> usize {
        self.first.k()
    }

    /// Number of clusters; equals [`PairedEffects::k`] when no clusters were given.
    #[must_use]
    pub const fn n_clusters(&self) -> usize {
        self.first.n_clusters()
    }

    /// Each outcome by itself, in its own canonical order.
    #[must_use]
    pub const fn outcomes(&self) -> [&Effects; 2] {
        [&self.first, &self.second]
    }

    /// The estimates of both outcomes, in the canonical order of the units.
    #[must_use]
    pub fn estimates(&self) -> [ArrayView1<'_, f64>; 2] {
        [self.first.estimates(), self.second_columns.column(0)]
    }

    /// The variances of both outcomes, in the canonical order of the units.
    #[must_use]
    pub fn variances(&self) -> [ArrayView1<'_, f64>; 2] {
        [self.first.variances(), self.second_columns.column(1)]
    }

    /// The cluster of each unit in canonical order, numbered from 0 in order of first appearance;
    /// `None` when no clusters were given.
    #[must_use]
    pub fn clusters(&self) -> Option<ArrayView1<'_, usize>> {
        self.first.clusters()
    }

    /// The same units with the outcomes in the other order.
    ///
    /// # Errors
    /// None that checked columns can meet; those of [`PairedEffects::new`] in type.
    pub fn swapped(&self) -> Result<Self, NumericError> {
        let ([first, second], [first_variance, second_variance]) =
            (self.estimates(), self.variances());
        Self::new(
            [second, first],
            [second_variance, first_variance],
            self.clusters(),
        )
    }
}

/// The correlation of the sampling errors of the two outcomes within one unit, strictly between
/// -1 and 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct WithinCorrelation(f64);

impl WithinCorrelation {
    /// Uncorrelated sampling errors, as of outcomes measured on different people.
    pub const NONE: Self = Self(0.0);

    /// The values to go through when the correlation is not known.
    pub const SENSITIVITY: [Self; 3] = [Self(-0.5), Self::NONE, Self(0.5)];

    /// Checks a correlation.
    ///
    /// # Errors
    /// [`NumericError::CorrelationOutOfRange`] unless `-1 < correlation < 1`.
    pub fn new(correlation: f64) -> Result<Self, NumericError> {
        if -1.0 < correlation && correlation < 1.0 {
            // Adding zero turns -0 into 0, so that equal numbers are equal bits.
            Ok(Self(correlation + 0.0))
        } else {
            Err(NumericError::CorrelationOutOfRange { correlation })
        }
    }

    /// The correlation.
    #[must_use]
    pub const fn value(self) -> f64 {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::{PairedEffects, WithinCorrelation};
    use crate::pooling::NumericError;
    use ndarray::{Array1, ArrayView1, array};

    fn check(columns: [&[f64]; 4]) -> Result<PairedEffects, NumericError> {
        let [a, b, v_a, v_b] = columns.map(ArrayView1::from);
        PairedEffects::new([a, b], [v_a, v_b], None)
    }

    #[test]
    fn faults_of_either_outcome_are_told_by_row() {
        let (good, one): (&[f64], &[f64]) = (&[1.0, 2.0], &[1.0]);
        let differ = |column| NumericError::LengthsDiffer {
            n_estimates: 2,
            n_others: 1,
            column,
        };
        let second = |what| differ(what);
        for (columns, fault) in [
            (
                [good, one, good, good],
                second("estimates of the second outcome"),
            ),
            (
                [good, good, good, one],
                second("variances of the second outcome"),
            ),
            ([good, good, one, good], second("variances")),
            (
                [good, &[1.0, f64::NAN], good, good],
                NumericError::EstimateNotFinite { row: 2 },
            ),
            (
                [good, good, good, &[0.0, 1.0]],
                NumericError::VarianceNotPositive { row: 1 },
            ),
            (
                [good, good, &[1.0, f64::INFINITY], good],
                NumericError::VarianceNotFinite { row: 2 },
            ),
        ] {
            assert_eq!(check(columns), Err(fault));
        }
    }

    #[test]
    fn the_order_of_rows_and_the_numbers_of_clusters_leave_no_trace() {
        let columns = [
            array![1.0, 1.0, 0.5, 1.0],
            array![3.0, -0.0, 2.0, 3.0],
            array![0.2, 0.2, 0.1, 0.2],
            array![0.7, 0.3, 0.9, 0.6],
        ];
        let make = |order: [usize; 4], clusters: [usize; 4]| {
            let [a, b, v_a, v_b] =
                [0, 1, 2, 3].map(|column| columns[column].select(ndarray::Axis(0), &order));
            let clusters = Array1::from(clusters.to_vec());
            PairedEffects::new(
                [a.view(), b.view()],
                [v_a.view(), v_b.view()],
                Some(clusters.view()),
            )
            .unwrap()
        };
        let paired = make([0, 1, 2, 3], [4, 4, 8, 9]);
        assert_eq!(paired, make([3, 2, 1, 0], [1, 2, 7, 7]));
        assert_eq!(paired.n_clusters(), 3);
        assert_eq!(paired.estimates()[1], array![2.0, 0.0, 3.0, 3.0]);
        assert_eq!(paired.variances()[1], array![0.9, 0.3, 0.6, 0.7]);
        assert_eq!(paired.swapped().unwrap().swapped().unwrap(), paired);
    }

    #[test]
    fn correlations_of_one_or_beyond_are_refused() {
        for refused in [-1.0, 1.0, 1.5, f64::NAN, f64::INFINITY] {
            assert!(WithinCorrelation::new(refused).is_err());
        }
        for correlation in WithinCorrelation::SENSITIVITY {
            let again = WithinCorrelation::new(correlation.value());
            assert_eq!(again, Ok(correlation));
        }
    }
}
