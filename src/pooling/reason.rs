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
        FewDegreesOfFreedom = "few_degrees_of_freedom": "The degrees of freedom are below 4: there are too few independent clusters, or few of them carry nearly all the weight.",
        /// The standard error is exactly zero, so the estimate has no `t` ratio.
        ZeroStandardError = "zero_standard_error": "All effects are exactly equal, so the standard error is zero and there is no t ratio.",
        /// The effects are more alike than chance allows and the Q-profile interval is empty.
        QProfileEmpty = "q_profile_empty": "The effects are more alike than their variances and chance allow, so no value of the between-effects variance fits.",
        /// So few effects that the any-time interval is infinite.
        AnyTimeIntervalInfinite = "any_time_interval_infinite": "There are too few effects for an interval that may be looked at any time.",
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
        /// A between-units variance is estimated as 0, so it has no correlation with the other.
        BetweenVarianceZero = "between_variance_zero": "For one of the two outcomes, or for both, no differences between units were found beyond chance, so there is no correlation between them.",
        /// The correlation between the outcomes' true effects is estimated at its limit, -1 or 1.
        BetweenCorrelationAtLimit = "between_correlation_at_limit": "The correlation between the two outcomes came out at the very limit of what is possible, which means that these data cannot measure it.",
        /// Leaving out every effect in turn would repeat this figure too often.
        TooManyDeletions = "too_many_deletions": "There are too many effects to work this figure out anew with every one of them left out.",
        /// All sampling variances are equal, so nothing can be regressed on them.
        EqualVariances = "equal_variances": "All effects are equally precise, so there is no telling whether small studies differ from large ones.",
        /// Several effects of one cluster in a test that takes effects as independent.
        DependentEffects = "dependent_effects": "Several effects belong to one cluster, and this test takes all effects as independent.",
        /// All effects are in one subgroup.
        OneSubgroup = "one_subgroup": "All effects belong to one subgroup; a comparison needs at least two.",
        /// More effects than the search looks for.
        TooManyFurtherEffects = "too_many_further_effects": "More further effects would be needed than are looked for.",
        /// No cluster holds two effects, so the two variances of a three-level model are one.
        NoRepeatedCluster = "no_repeated_cluster": "No cluster has two effects, so differences between clusters cannot be told from differences within them.",
        /// The variance of the true effects was estimated as zero.
        NoHeterogeneity = "no_heterogeneity": "Differences between true effects could not be measured: once sampling error is taken out, and what changes between repeated measurements where that is known, nothing is left.",
        /// Under the hypothesis the variance that is not tested was estimated as zero as well.
        OtherVarianceIsZero = "other_variance_is_zero": "Under the hypothesis the other variance was estimated as zero too, so the distribution of this statistic is not known.",
        /// The variance between replicates is not known.
        NoReplicateVariance = "no_replicate_variance": "The variance between repeated measurements is not known, so what lasts cannot be told from what changes from one measurement to the next.",
        /// Every bootstrap draw gave the same value.
        DrawsAllEqual = "draws_all_equal": "Every bootstrap draw gave the same value, so their spread says nothing about the error.",
        /// Not even one draw is due beyond each end of the interval.
        TooFewDraws = "too_few_draws": "There are too few draws for an interval at this level.",
        /// Both arms are empty, or both full, in every pair of counts.
        NoInformativeCounts = "no_informative_counts": "No pair of counts says anything about an odds ratio: in each, both arms are empty or both are full.",
        /// All pairs of counts lie at the same end of what their totals allow.
        OddsRatioInfinite = "odds_ratio_infinite": "All pairs of counts lie at the same end of what their totals allow, so the odds ratio is zero or infinite.",
        /// Every pair of counts lies at an end of what its totals allow.
        CountsAtTheirEnds = "counts_at_their_ends": "Every pair of counts lies at an end of what its totals allow, so differences between them have no measure.",
        /// The between-effects variance is estimated as zero, at the edge of its range.
        AtBoundary = "at_boundary": "The between-effects variance is estimated as zero, the edge of its range, where its standard error is not defined.",
        /// Fewer independent clusters than the caller's rules ask for.
        FewerClustersThanAsked = "fewer_clusters_than_asked": "Fewer independent clusters than the rules ask for would be behind this figure.",
        /// A figure about a threshold, and none was set.
        NoThreshold = "no_threshold": "No threshold was set.",
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
