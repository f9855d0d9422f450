//! Why a figure is not defined.

use std::fmt;

/// A figure, or the reason why it is not defined for these data.
pub type Estimable<T> = Result<T, Reason>;

/// Declares every reason once, with its code and its sentence.
macro_rules! reasons {
    ($(#[$doc:meta])* $name:ident { $($(#[$variant_doc:meta])* $variant:ident = $code:literal: $sentence:literal,)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum $name {
            $($(#[$variant_doc])* $variant,)+
        }

        impl $name {
            /// Every reason.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// A short name for machines, in snake case; it never changes.
            #[must_use]
            pub const fn code(&self) -> &'static str {
                match self {
                    $(Self::$variant => $code,)+
                }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
                formatter.write_str(match self {
                    $(Self::$variant => $sentence,)+
                })
            }
        }
    };
}

reasons! {
    /// Why a figure is not defined for these data. [`Reason::code`] is stable; the sentence is not.
    Reason {
        /// There is no effect at all.
        NoEffects = "no_effects": "There are no effects to pool.",
        /// There is one effect and the figure needs at least two.
        OneEffect = "one_effect": "One effect is not enough; this figure needs at least two.",
        /// There are fewer than the three effects that `t` on `k - 2` degrees of freedom needs.
        FewerThanThreeEffects = "fewer_than_three_effects": "This figure needs at least three effects.",
        /// The fixed-effect model has no spread of true effects, hence nothing to predict.
        NoPredictionUnderFixedEffect = "no_prediction_under_fixed_effect": "The fixed-effect model assumes one common true effect, so there is no range of true effects to predict.",
        /// No clusters were given.
        NoClusters = "no_clusters": "The effects were not grouped into clusters.",
        /// All effects are in one cluster.
        OneCluster = "one_cluster": "All effects belong to one cluster; this figure needs at least two.",
        /// The Satterthwaite degrees of freedom are below 4.
        FewDegreesOfFreedom = "few_degrees_of_freedom": "There are too few independent clusters: the degrees of freedom are below 4.",
        /// The standard error is exactly zero, so the estimate has no `t` ratio.
        ZeroStandardError = "zero_standard_error": "All effects are exactly equal, so the standard error is zero and there is no t ratio.",
        /// The effects are more alike than chance allows and the Q-profile interval is empty.
        QProfileEmpty = "q_profile_empty": "The effects are more alike than their variances and chance allow, so no value of the between-effects variance fits.",
        /// So few effects that the any-time interval is infinite.
        AnyTimeIntervalInfinite = "any_time_interval_infinite": "There are too few effects for an interval that may be looked at any time.",
        /// The prediction interval came out narrower than the interval of the mean.
        PredictionNarrowerThanMean = "prediction_narrower_than_mean": "The prediction interval came out narrower than the interval of the mean, so it is not given.",
        /// Fewer than the ten clusters that an asymptotic interval needs.
        FewerThanTenClusters = "fewer_than_ten_clusters": "This figure needs at least ten independent clusters.",
        /// The model has neither an intercept nor a moderator.
        NoColumns = "no_columns": "The model has neither an intercept nor a moderator.",
        /// The model has no moderator, so there is nothing to test but the mean.
        NoModerators = "no_moderators": "The model has no moderator.",
        /// The model goes through the origin, so it does not contain the model of one mean.
        NoIntercept = "no_intercept": "The model goes through the origin, so it cannot be compared with the model of one mean.",
        /// Fewer than ten clusters (effects, when there are no clusters) for every moderator.
        FewerThanTenPerModerator = "fewer_than_ten_per_moderator": "A regression needs at least ten complete effects, or clusters of them, for every moderator.",
        /// A moderator is constant or follows from the ones before it.
        RankDeficient = "rank_deficient": "A moderator is constant or follows from the moderators before it, so its coefficient cannot be told from theirs.",
        /// One cluster carries so much of the figure that CR2 does not see all of its variance.
        RestsOnOneCluster = "rests_on_one_cluster": "One cluster carries so much of this figure that its variation between clusters cannot be seen.",
        /// Every effect lies on the fitted line, so there is no residual spread.
        ExactFit = "exact_fit": "All effects lie exactly on the fitted line, so there is no residual spread to judge it by.",
        /// Without moderators there is no heterogeneity that they could explain.
        NoHeterogeneityToExplain = "no_heterogeneity_to_explain": "Without moderators the effects show no heterogeneity, so there is none to explain.",
        /// An iteration reached its cap.
        NotConverged = "not_converged": "The computation did not settle on a value.",
        /// The numbers are too large or too small for the arithmetic.
        OutOfRange = "out_of_range": "The numbers are too large or too small to compute with.",
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
