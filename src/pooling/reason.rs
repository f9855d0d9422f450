//! Why a figure is not defined.

use std::fmt;

/// A figure, or the reason why it is not defined for these data.
pub type Estimable<T> = Result<T, Reason>;

/// Why a figure is not defined for these data. [`Reason::code`] is stable; the sentence is not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Reason {
    /// There is no effect at all.
    NoEffects,
    /// There is one effect and the figure needs at least two.
    OneEffect,
    /// There are fewer than the three effects that `t` on `k - 2` degrees of freedom needs.
    FewerThanThreeEffects,
    /// The fixed-effect model has no spread of true effects, hence nothing to predict.
    NoPredictionUnderFixedEffect,
    /// No clusters were given.
    NoClusters,
    /// All effects are in one cluster.
    OneCluster,
    /// The Satterthwaite degrees of freedom are below 4.
    FewDegreesOfFreedom,
    /// The standard error is exactly zero, so the estimate has no `t` ratio.
    ZeroStandardError,
    /// The effects are more alike than chance allows and the Q-profile interval is empty.
    QProfileEmpty,
    /// So few effects that the any-time interval is infinite.
    AnyTimeIntervalInfinite,
    /// The prediction interval came out narrower than the interval of the mean.
    PredictionNarrowerThanMean,
    /// Fewer than the ten clusters that an asymptotic interval needs.
    FewerThanTenClusters,
    /// The model has neither an intercept nor a moderator.
    NoColumns,
    /// The model has no moderator, so there is nothing to test but the mean.
    NoModerators,
    /// The model goes through the origin, so it does not contain the model of one mean.
    NoIntercept,
    /// Fewer than ten clusters (effects, when there are no clusters) for every moderator.
    FewerThanTenPerModerator,
    /// A moderator is constant or follows from the ones before it.
    RankDeficient,
    /// One cluster carries so much of the figure that CR2 does not see all of its variance.
    RestsOnOneCluster,
    /// Every effect lies on the fitted line, so there is no residual spread.
    ExactFit,
    /// Without moderators there is no heterogeneity that they could explain.
    NoHeterogeneityToExplain,
    /// An iteration reached its cap.
    NotConverged,
    /// The numbers are too large or too small for the arithmetic.
    OutOfRange,
}

impl Reason {
    /// A short name for machines, in snake case; it never changes.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::NoEffects => "no_effects",
            Self::OneEffect => "one_effect",
            Self::FewerThanThreeEffects => "fewer_than_three_effects",
            Self::NoPredictionUnderFixedEffect => "no_prediction_under_fixed_effect",
            Self::NoClusters => "no_clusters",
            Self::OneCluster => "one_cluster",
            Self::FewDegreesOfFreedom => "few_degrees_of_freedom",
            Self::ZeroStandardError => "zero_standard_error",
            Self::QProfileEmpty => "q_profile_empty",
            Self::AnyTimeIntervalInfinite => "any_time_interval_infinite",
            Self::PredictionNarrowerThanMean => "prediction_narrower_than_mean",
            Self::FewerThanTenClusters => "fewer_than_ten_clusters",
            Self::NoColumns => "no_columns",
            Self::NoModerators => "no_moderators",
            Self::NoIntercept => "no_intercept",
            Self::FewerThanTenPerModerator => "fewer_than_ten_per_moderator",
            Self::RankDeficient => "rank_deficient",
            Self::RestsOnOneCluster => "rests_on_one_cluster",
            Self::ExactFit => "exact_fit",
            Self::NoHeterogeneityToExplain => "no_heterogeneity_to_explain",
            Self::NotConverged => "not_converged",
            Self::OutOfRange => "out_of_range",
        }
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(match self {
            Self::NoEffects => "There are no effects to pool.",
            Self::OneEffect => "One effect is not enough; this figure needs at least two.",
            Self::FewerThanThreeEffects => "This figure needs at least three effects.",
            Self::NoPredictionUnderFixedEffect => {
                "The fixed-effect model assumes one common true effect, so there is no range of true effects to predict."
            }
            Self::NoClusters => "The effects were not grouped into clusters.",
            Self::OneCluster => "All effects belong to one cluster; this figure needs at least two.",
            Self::FewDegreesOfFreedom => {
                "There are too few independent clusters: the degrees of freedom are below 4."
            }
            Self::ZeroStandardError => {
                "All effects are exactly equal, so the standard error is zero and there is no t ratio."
            }
            Self::QProfileEmpty => {
                "The effects are more alike than their variances and chance allow, so no value of the between-effects variance fits."
            }
            Self::AnyTimeIntervalInfinite => {
                "There are too few effects for an interval that may be looked at any time."
            }
            Self::PredictionNarrowerThanMean => {
                "The prediction interval came out narrower than the interval of the mean, so it is not given."
            }
            Self::FewerThanTenClusters => "This figure needs at least ten independent clusters.",
            Self::NoColumns => "The model has neither an intercept nor a moderator.",
            Self::NoModerators => "The model has no moderator.",
            Self::NoIntercept => {
                "The model goes through the origin, so it cannot be compared with the model of one mean."
            }
            Self::FewerThanTenPerModerator => {
                "A regression needs at least ten players with complete pairs for every moderator."
            }
            Self::RankDeficient => {
                "A moderator is constant or follows from the moderators before it, so its coefficient cannot be told from theirs."
            }
            Self::RestsOnOneCluster => {
                "One cluster carries so much of this figure that its variation between clusters cannot be seen."
            }
            Self::ExactFit => {
                "All effects lie exactly on the fitted line, so there is no residual spread to judge it by."
            }
            Self::NoHeterogeneityToExplain => {
                "Without moderators the effects show no heterogeneity, so there is none to explain."
            }
            Self::NotConverged => "The computation did not settle on a value.",
            Self::OutOfRange => "The numbers are too large or too small to compute with.",
        })
    }
}

/// Passes a finite number on.
///
/// # Errors
/// [`Reason::OutOfRange`] for an infinity or NaN.
pub(crate) fn finite(value: f64) -> Estimable<f64> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(Reason::OutOfRange)
    }
}
