//! Which analyses a study runs, on what, and what is shown of each.
//!
//! One engine serves every door: the read endpoint, the page and `tautpool pool` on a download
//! all call [`Publication::analyse`] on published rows, so their figures agree to the last bit.
//!
//! Choices made here, not in `pooling`:
//!
//! - the model shown is random effects with REML;
//! - the interval shown is the safeguarded Hartung-Knapp one, or the cluster-robust one (CR2) as
//!   soon as any player has two or more pairs in the analysis, because Hartung-Knapp then
//!   undercovers;
//! - a prediction interval narrower than the interval shown for the mean is not shown;
//! - an analysis with fewer players than the protocol asks is withheld as a whole.

pub mod regression;
pub mod words;

use crate::pooling::sequence::any_time_multiplier;
use crate::pooling::{
    Effects, Estimable, Interval, Level, Model, NumericError, Pooled, Reason, pool,
};
use crate::protocol::{AnalysisRules, GapBand, StudyLabel};
use crate::vocabulary::{Outcome, ShotClass, VarianceSource, word_list};
use ndarray::Array1;
use std::collections::BTreeMap;

/// One published effect: rounded, coarsened, with the consent of its player.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Number of the player within this publication, from 1; tied to nothing else.
    pub group: usize,
    /// Gap band.
    pub band: GapBand,
    /// Gap to the nearest whole pound.
    pub gap_lb: i64,
    /// What is compared.
    pub outcome: Outcome,
    /// For which shots.
    pub class: ShotClass,
    /// Looser minus tighter, in [`Outcome::unit`].
    pub estimate: f64,
    /// Its variance, in that unit squared.
    pub variance: f64,
    /// Where the variance comes from.
    pub source: VarianceSource,
}

/// A closed public batch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BatchLabel {
    /// Counted from 1.
    pub number: i64,
    /// The day it closed, as `YYYY-MM-DD` (UTC).
    pub date: String,
}

/// What is published of a study at one time: all that its public figures are made from.
#[derive(Clone, Debug, PartialEq)]
pub struct Publication {
    /// How the study is named.
    pub study: StudyLabel,
    /// The newest closed batch; `None` before the first.
    pub batch: Option<BatchLabel>,
    /// Version of the protocol.
    pub protocol_version: i64,
    /// Which analyses there are.
    pub rules: AnalysisRules,
    /// Level of every interval.
    pub level: Level,
    /// The published rows.
    pub rows: Vec<Row>,
}

/// What one analysis is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key {
    /// What is compared.
    pub outcome: Outcome,
    /// For which shots.
    pub class: ShotClass,
    /// At which gaps.
    pub band: GapBand,
}

/// One analysis of a study.
#[derive(Clone, Debug, PartialEq)]
pub struct Analysis {
    /// What it is about.
    pub key: Key,
    /// Whether it belongs to a primary outcome and its band follows the protocol.
    pub primary: bool,
    /// What was found, or that it is withheld.
    pub result: Result<Finding, Withheld>,
}

/// An analysis with too few players to be public. Nothing more is said of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Withheld {
    /// The protocol's minimum.
    pub minimum_players: usize,
}

/// What an analysis found.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Every model and the heterogeneity.
    pub pooled: Pooled,
    /// What a reader is shown first.
    pub shown: Estimable<Shown>,
    /// The interval that may be read as often as one likes while data arrive.
    pub any_time: Estimable<AnyTime>,
    /// Estimates of the effects, in canonical order, with the weights they have in the shown model.
    pub marks: Vec<(f64, f64)>,
}

/// An estimate from one effect of each player, with its confidence sequence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AnyTime {
    /// The pooled estimate (REML).
    pub estimate: f64,
    /// The interval around it.
    pub interval: Interval,
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
    /// The range for another pair of sessions by another such player, approximate.
    pub prediction: Estimable<Interval>,
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

impl Publication {
    /// Every analysis, from the published rows alone, in a fixed order: primary outcomes first,
    /// then outcomes as listed, shot classes, and bands rising with the one under protocol last. Primary outcomes are listed for
    /// every band, others only where they are not withheld, so that an absent analysis says
    /// nothing about how many took part.
    ///
    /// # Errors
    /// [`NumericError`] when a row's estimate or variance is not usable.
    pub fn analyse(&self, choice: Choice) -> Result<Vec<Analysis>, NumericError> {
        let rules = &self.rules;
        let mut cells: BTreeMap<Key, Vec<&Row>> = BTreeMap::new();
        for primary in &rules.primary {
            for band in rules.bands.all() {
                let (outcome, class) = (primary.outcome, primary.class);
                cells
                    .entry(Key {
                        outcome,
                        class,
                        band,
                    })
                    .or_default();
            }
        }
        for row in &self.rows {
            cells.entry(row.key()).or_default().push(row);
        }
        let mut analyses = Vec::with_capacity(cells.len());
        for (key, rows) in cells {
            let declared = is_declared_primary(&key, rules);
            let result = self.cell(&rows, choice)?;
            if declared || result.is_ok() {
                let primary = declared && key.band != GapBand::UnderProtocol;
                analyses.push(Analysis {
                    key,
                    primary,
                    result,
                });
            }
        }
        analyses.sort_by_key(|analysis| (!is_declared_primary(&analysis.key, rules), analysis.key));
        Ok(analyses)
    }

    fn cell(
        &self,
        rows: &[&Row],
        choice: Choice,
    ) -> Result<Result<Finding, Withheld>, NumericError> {
        let minimum_players = self.rules.minimum_players;
        if count_players(rows) < minimum_players {
            return Ok(Err(Withheld { minimum_players }));
        }
        Ok(Ok(table(&effects(rows)?, self.level, choice)))
    }
}

impl Row {
    /// The analysis this row belongs to.
    #[must_use]
    pub const fn key(&self) -> Key {
        Key {
            outcome: self.outcome,
            class: self.class,
            band: self.band,
        }
    }
}

fn is_declared_primary(key: &Key, rules: &AnalysisRules) -> bool {
    rules
        .primary
        .iter()
        .any(|primary| primary.outcome == key.outcome && primary.class == key.class)
}

fn count_players(rows: &[&Row]) -> usize {
    let mut groups: Vec<usize> = rows.iter().map(|row| row.group).collect();
    groups.sort_unstable();
    groups.dedup();
    groups.len()
}

fn effects(rows: &[&Row]) -> Result<Effects, NumericError> {
    let column =
        |value: fn(&Row) -> f64| rows.iter().map(|row| value(row)).collect::<Array1<f64>>();
    let clusters: Array1<usize> = rows.iter().map(|row| row.group).collect();
    Effects::new(
        column(|row| row.estimate).view(),
        column(|row| row.variance).view(),
        Some(clusters.view()),
    )
}

/// Pools one table of effects, each cluster a player.
#[must_use]
pub fn table(effects: &Effects, level: Level, choice: Choice) -> Finding {
    let pooled = pool(effects, level);
    let (model, choice) = chosen(&pooled, choice);
    let marks = model.as_ref().map(|model| {
        let weights = model.weights.iter().copied();
        effects.estimates().iter().copied().zip(weights).collect()
    });
    Finding {
        shown: model.and_then(|model| shown(model, choice.interval, effects.has_repeats())),
        any_time: any_time(&effects.most_precise_per_cluster(), level),
        marks: marks.unwrap_or_default(),
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

fn shown(model: &Model, interval: Option<IntervalKind>, has_repeats: bool) -> Estimable<Shown> {
    let kind = interval.unwrap_or(if has_repeats {
        IntervalKind::ClusterRobust
    } else {
        IntervalKind::HartungKnappSafe
    });
    let interval = match kind {
        IntervalKind::HartungKnapp => model.hartung_knapp?.interval(),
        IntervalKind::HartungKnappSafe => model.hartung_knapp_safe?.interval(),
        IntervalKind::ClusterRobust => model.cluster_robust?.interval(),
        IntervalKind::Wald => model.wald.interval(),
    };
    let prediction = match model.prediction {
        Ok(prediction) if prediction.is_narrower_than(&interval) => {
            Err(Reason::PredictionNarrowerThanMean)
        }
        other => other,
    };
    Ok(Shown {
        estimate: model.estimate,
        interval,
        kind,
        prediction,
    })
}

/// The confidence sequence around the REML estimate with the safeguarded standard error, over
/// one effect for each player.
fn any_time(per_player: &Effects, level: Level) -> Estimable<AnyTime> {
    if per_player.k() < ANY_TIME_MINIMUM_PLAYERS {
        return Err(Reason::FewerThanTenClusters);
    }
    let model = pool(per_player, level).reml?;
    let half_width = any_time_multiplier(per_player.k(), level)? * model.hartung_knapp_safe?.se;
    Ok(AnyTime {
        estimate: model.estimate,
        interval: Interval {
            low: model.estimate - half_width,
            high: model.estimate + half_width,
        },
    })
}
