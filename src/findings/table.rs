//! One table of effects pooled, each cluster a player.

use crate::pooling::prediction::{BootstrapPrediction, bootstrap_prediction};
use crate::pooling::sequence::any_time_multiplier;
use crate::pooling::{
    Effects, Estimable, Interval, Level, Model, Pooled, RandomMean, Reason, TInterval, pool,
};
use crate::vocabulary::word_list;

/// What an analysis found.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Every model and the heterogeneity.
    pub pooled: Pooled,
    /// What a reader is shown first.
    pub shown: Estimable<Shown>,
    /// The interval that may be read as often as one likes while data arrive.
    pub any_time: Estimable<AnyTime>,
    /// The prediction interval by the confidence distribution of the between-effects variance.
    pub bootstrap_prediction: Estimable<BootstrapPrediction>,
}

impl Finding {
    /// Whether one player has more than half of the weights by restricted maximum likelihood.
    pub(super) fn is_dominated(&self, effects: &Effects) -> bool {
        let (Some(labels), Ok(model)) = (effects.clusters(), &self.pooled.reml) else {
            return false;
        };
        let Ok(weights) = model.weights(effects) else {
            return false;
        };
        let mut shares = vec![0.0; effects.n_clusters()];
        for (label, weight) in labels.iter().zip(weights) {
            if let Some(share) = shares.get_mut(*label) {
                *share += weight;
            }
        }
        shares.into_iter().any(|share| 0.5 < share)
    }
}

/// An estimate from one effect of each player, with its confidence sequence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AnyTime {
    /// The pooled estimate (REML).
    pub estimate: f64,
    /// The interval around it.
    pub interval: Interval,
    /// Effects that it rests on.
    pub k: usize,
}

/// What a reader is shown first of an analysis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// The pooled estimate (REML).
    pub estimate: f64,
    /// Its interval.
    pub interval: Interval,
    /// Which interval that is.
    pub kind: IntervalKind,
    /// Two-sided p value that belongs to the interval.
    pub p: Estimable<f64>,
    /// The range for another pair of sessions by another such player, approximate: by bootstrap
    /// (Nagashima, Noma & Furukawa 2019) with REML, which in our simulation covers better at
    /// moderate heterogeneity; with another estimator that of Higgins et al. 2009. Widened, where
    /// it must be, to the interval of the mean.
    pub prediction: Estimable<Interval>,
}

/// How much wider than the range of the mean that for another such player is, to be shown beside
/// it: less than a twentieth mostly reads the same (own choice).
const LEAST_WIDER: f64 = 1.05;

impl Shown {
    /// The range for another such player where it says more than that of the mean. Where it was only
    /// widened to that one, how far players differ could not be told, and shown as a range of its
    /// own it would claim to be an estimate.
    #[must_use]
    pub fn another(&self) -> Option<Interval> {
        beyond(self.prediction.ok()?, &self.interval)
    }
}

/// `prediction` where it says more than `mean`, the range of the mean.
#[must_use]
pub(super) fn beyond(prediction: Interval, mean: &Interval) -> Option<Interval> {
    let width = |range: &Interval| range.high - range.low;
    (LEAST_WIDER * width(mean) < width(&prediction)).then_some(prediction)
}

word_list! {
    /// Which model is shown.
    Estimator {
        /// Fixed effect: no heterogeneity.
        Fixed = "fixed",
        /// Random effects, DerSimonian & Laird.
        DersimonianLaird = "dl",
        /// Random effects, Paule & Mandel.
        PauleMandel = "pm",
        /// Random effects, restricted maximum likelihood.
        Reml = "reml",
    }
}

word_list! {
    /// Which interval of the mean is shown.
    IntervalKind {
        /// Hartung & Knapp as published.
        HartungKnapp = "hartung_knapp",
        /// Hartung & Knapp with the safeguard max(1, q).
        HartungKnappSafe = "hartung_knapp_safe",
        /// CR2 with Satterthwaite degrees of freedom.
        ClusterRobust = "cluster_robust",
        /// The normal interval: for a single effect nothing else exists.
        Wald = "wald",
    }
}

/// What to show of an analysis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Choice {
    /// The model.
    pub estimator: Estimator,
    /// The interval; `None` for the one that the module's description names.
    pub interval: Option<IntervalKind>,
}

impl Default for Choice {
    fn default() -> Self {
        Self {
            estimator: Estimator::Reml,
            interval: None,
        }
    }
}

/// Fewest players for the interval that may be read at any time: below that the asymptotics it
/// rests on are not credible.
pub const ANY_TIME_MINIMUM_PLAYERS: usize = 10;

/// Draws of the bootstrap prediction interval.
const BOOTSTRAP_DRAWS: usize = 2_000;

/// Pools one table of effects, each cluster a player.
#[must_use]
pub fn table(effects: &Effects, level: Level, choice: Choice) -> Finding {
    let pooled = pool(effects, level);
    let (model, choice) = chosen(&pooled, choice);
    let bootstrap_prediction = bootstrap_prediction(effects, level, BOOTSTRAP_DRAWS);
    let prediction = |model: &Model| match choice.estimator {
        Estimator::Reml => bootstrap_prediction
            .as_ref()
            .map(|found| found.interval)
            .map_err(|reason| *reason),
        Estimator::Fixed | Estimator::DersimonianLaird | Estimator::PauleMandel => model.prediction,
    };
    Finding {
        shown: model.and_then(|model| {
            let has_repeats = effects.has_repeats();
            shown(model, choice.interval, prediction(model), has_repeats)
        }),
        any_time: any_time(&effects.most_precise_per_cluster(), level),
        bootstrap_prediction,
        pooled,
    }
}

/// The model to show. A single effect has no heterogeneity, so for it every estimator comes down
/// to the effect itself with its normal interval.
fn chosen(pooled: &Pooled, choice: Choice) -> (Estimable<&Model>, Choice) {
    let (estimator, interval) = if pooled.k == 1 {
        (Estimator::Fixed, Some(IntervalKind::Wald))
    } else {
        (choice.estimator, choice.interval)
    };
    let model = match estimator {
        Estimator::Fixed => &pooled.fixed,
        Estimator::DersimonianLaird => &pooled.dersimonian_laird,
        Estimator::PauleMandel => &pooled.paule_mandel,
        Estimator::Reml => &pooled.reml,
    };
    (
        model.as_ref().map_err(|reason| *reason),
        Choice {
            estimator,
            interval,
        },
    )
}

fn shown(
    model: &Model,
    interval: Option<IntervalKind>,
    prediction: Estimable<Interval>,
    has_repeats: bool,
) -> Estimable<Shown> {
    let kind = interval.unwrap_or(if has_repeats {
        IntervalKind::ClusterRobust
    } else {
        IntervalKind::HartungKnappSafe
    });
    let (interval, p) = match kind {
        IntervalKind::HartungKnapp => by_t(&model.hartung_knapp)?,
        IntervalKind::HartungKnappSafe => by_t(&model.hartung_knapp_safe)?,
        IntervalKind::ClusterRobust => by_t(&model.cluster_robust)?,
        IntervalKind::Wald => (model.wald.interval(), Ok(model.wald.p)),
    };
    // A true effect spreads at least as far as its mean is uncertain, at both ends.
    let prediction = prediction.map(|prediction| prediction.widened_to(&interval));
    Ok(Shown {
        estimate: model.estimate,
        interval,
        kind,
        p,
        prediction,
    })
}

fn by_t(interval: &Estimable<TInterval>) -> Estimable<(Interval, Estimable<f64>)> {
    let found = (*interval)?;
    Ok((found.interval(), found.p))
}

/// The confidence sequence around the REML estimate with the safeguarded standard error, over
/// one effect for each player.
fn any_time(per_player: &Effects, level: Level) -> Estimable<AnyTime> {
    if per_player.k() < ANY_TIME_MINIMUM_PLAYERS {
        return Err(Reason::FewerThanTenClusters);
    }
    let mean = RandomMean::new(per_player, level)?;
    let half_width = any_time_multiplier(per_player.k(), level)? * mean.hartung_knapp_safe?.se;
    Ok(AnyTime {
        estimate: mean.estimate,
        interval: Interval {
            low: mean.estimate - half_width,
            high: mean.estimate + half_width,
        },
        k: per_player.k(),
    })
}
