//! The same question asked in other ways: does the answer stand?

use super::gains::with_sessions;
use super::selection::{Basis, Selection};
use super::{FirstVersions, Row, SessionSpread};
use crate::pooling::regression::{Estimator, regress};
use crate::pooling::three_level::three_level;
use crate::pooling::{Effects, Estimable, Interval, Level, NumericError, RandomMean, Reason};
use crate::vocabulary::{Outcome, word_list};

word_list! {
    /// How a line of the sensitivity table differs from the primary analysis.
    Sensitivity {
        /// Planned pairs alone.
        PlannedPairs = "planned_pairs",
        /// Retrospective pairs alone.
        RetrospectivePairs = "retrospective_pairs",
        /// Every pair, planned or not.
        AllPairs = "all_pairs",
        /// First versions in place of corrected ones.
        FirstVersions = "first_versions",
        /// One pair of each player, the most precise.
        OnePairPerPlayer = "one_pair_per_player",
        /// Three levels: pairs within players, by REML.
        PairWithinPlayer = "pair_within_player",
        /// Variances that hold the session-to-session variance too.
        SessionSpreadAdded = "session_spread_added",
        /// Without effects that rest on an imputed standard deviation.
        WithoutImputed = "without_imputed",
        /// Imputed standard deviations three quarters as large.
        ImputedTimes075 = "imputed_times_0_75",
        /// Imputed standard deviations a third larger.
        ImputedTimes133 = "imputed_times_1_33",
        /// Speed where both sessions had a partner of the same pace, by regression.
        PartnerPaceAdjusted = "partner_pace_adjusted",
        /// Speed less 0.23 of the difference in the partner's pace.
        PartnerPaceOffset = "partner_pace_offset",
    }
}

impl Sensitivity {
    /// What the line does differently, in words.
    #[must_use]
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::PlannedPairs => "Only pairs whose order was drawn before hitting.",
            Self::RetrospectivePairs => {
                "Only pairs that were sent without a plan: who saw a gain is likelier to send it."
            }
            Self::AllPairs => "Every pair, planned or not.",
            Self::FirstVersions => "Corrected pairs as they were sent first.",
            Self::OnePairPerPlayer => "One pair of each player, the most precise.",
            Self::PairWithinPlayer => {
                "Pairs of one player share something of their own (three levels, REML)."
            }
            Self::SessionSpreadAdded => {
                "Each variance also holds how much sessions of one player and string bed differ."
            }
            Self::WithoutImputed => "Without pairs whose spread of speed had to be filled in.",
            Self::ImputedTimes075 => "The filled-in spreads three quarters as large.",
            Self::ImputedTimes133 => "The filled-in spreads a third larger.",
            Self::PartnerPaceAdjusted => {
                "As if the partner had hit equally hard in both sessions, by regression; may over- or under-correct, since the string bed itself may change the partner’s pace and that pace is measured with error."
            }
            Self::PartnerPaceOffset => {
                "As if the partner had hit equally hard in both sessions, taking off 23\u{A0}% of the difference in the partner’s pace; may over- or under-correct."
            }
        }
    }
}

/// What a line of an analysis does differently, in words, with the least number of players who
/// corrected a pair where the line is about them.
#[must_use]
pub fn sentence(kind: Sensitivity, corrected_at_least: usize) -> String {
    if kind == Sensitivity::FirstVersions {
        format!(
            "First versions of what at least {corrected_at_least} players corrected, as they were sent before."
        )
    } else {
        kind.sentence().to_owned()
    }
}

/// Part of the partner's extra pace that comes back: `v_out = A v_in + (1 + A) v_racquet` with A about
/// 0.45 (secondary source), and a ball that loses about half its speed on the way.
pub const PACE_RETURNED: f64 = 0.23;

/// One line of the sensitivity table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// What differs.
    pub kind: Sensitivity,
    /// Effects and players behind it; `None` when they are fewer than the protocol's minimum, or are
    /// not told.
    pub counts: Option<(usize, usize)>,
    /// What comes out.
    pub result: Estimable<Brief>,
}

/// An estimate in short.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Brief {
    /// Pooled estimate (REML).
    pub estimate: f64,
    /// Its interval, chosen as for the primary analysis.
    pub interval: Interval,
    /// Between-effects variance.
    pub tau_squared: f64,
}

/// The rows of an analysis and what is needed to ask them in other ways.
#[derive(Clone, Copy, Debug)]
pub(super) struct Question<'a> {
    pub(super) all: &'a Selection<'a>,
    pub(super) primary: &'a Selection<'a>,
    pub(super) basis: Basis,
    pub(super) outcome: Outcome,
    pub(super) session_spread: Option<SessionSpread>,
    pub(super) first_versions: Option<FirstVersions>,
    pub(super) minimum_players: usize,
    pub(super) level: Level,
}

/// Every line that applies to the outcome.
pub(super) fn lines(question: &Question<'_>) -> Result<Vec<Line>, NumericError> {
    let primary = question.primary;
    let mut lines = Vec::new();
    match question.basis {
        Basis::All => {
            lines.push(question.line(Sensitivity::PlannedPairs, &question.all.planned(true))?);
        }
        Basis::Planned => {
            lines.push(question.line(Sensitivity::AllPairs, question.all)?);
            let retrospective = question.all.planned(false);
            lines.push(question.line(Sensitivity::RetrospectivePairs, &retrospective)?);
        }
    }
    lines.extend(question.first_versions());
    lines.extend(of_table(&primary.effects()?, question.level));
    lines.push(question.with_session_spread()?);
    if question.outcome == Outcome::Speed {
        lines.extend(question.without_imputed()?);
        for (kind, factor) in [
            (Sensitivity::ImputedTimes075, 0.75_f64),
            (Sensitivity::ImputedTimes133, 1.33),
        ] {
            let effects = primary.changed(|_, row| (row.estimate, rescaled(row, factor)))?;
            lines.push(line(kind, &effects, question.level));
        }
        lines.push(question.pace_adjusted()?);
        lines.push(question.pace_offset()?);
    }
    Ok(lines)
}

/// The variance of a row with imputed standard deviations `factor` times as large.
fn rescaled(row: &Row, factor: f64) -> f64 {
    row.variance + (factor * factor - 1.0) * row.imputed_variance
}

/// The lines that need nothing but a table of effects.
#[must_use]
pub fn of_table(effects: &Effects, level: Level) -> Vec<Line> {
    let three_level = three_level(effects, level).model;
    vec![
        line(
            Sensitivity::OnePairPerPlayer,
            &effects.most_precise_per_cluster(),
            level,
        ),
        Line {
            kind: Sensitivity::PairWithinPlayer,
            counts: Some((effects.k(), effects.n_clusters())),
            result: three_level.map(|model| Brief {
                estimate: model.estimate,
                interval: model.t.interval(),
                tau_squared: model.total_heterogeneity,
            }),
        },
    ]
}

fn line(kind: Sensitivity, effects: &Effects, level: Level) -> Line {
    Line {
        kind,
        counts: Some((effects.k(), effects.n_clusters())),
        result: RandomMean::new(effects, level)
            .and_then(|mean| Brief::of(&mean, effects.has_repeats())),
    }
}

impl Brief {
    /// A pooled mean in short, with the interval to read where clusters hold several effects or not.
    ///
    /// # Errors
    /// When that interval is not estimable.
    pub(super) fn of(mean: &RandomMean, has_repeats: bool) -> Estimable<Self> {
        Ok(Self {
            estimate: mean.estimate,
            interval: mean.interval(has_repeats)?.interval(),
            tau_squared: mean.tau_squared,
        })
    }
}

impl Question<'_> {
    /// Without effects that rest on an imputed standard deviation; only speeds have one.
    pub(super) fn without_imputed(&self) -> Result<Option<Line>, NumericError> {
        if self.outcome != Outcome::Speed {
            return Ok(None);
        }
        let reported = self.primary.only(|row| !row.source.is_imputed());
        self.line(Sensitivity::WithoutImputed, &reported).map(Some)
    }

    /// First versions in place of corrected ones, where enough players corrected a pair.
    fn first_versions(&self) -> Option<Line> {
        self.first_versions.map(|first| Line {
            kind: Sensitivity::FirstVersions,
            counts: None,
            result: Ok(first.found),
        })
    }

    fn line(&self, kind: Sensitivity, rows: &Selection<'_>) -> Result<Line, NumericError> {
        Ok(if rows.n_players() < self.minimum_players {
            too_few(kind)
        } else {
            line(kind, &rows.effects()?, self.level)
        })
    }

    fn with_session_spread(&self) -> Result<Line, NumericError> {
        let kind = Sensitivity::SessionSpreadAdded;
        let Some(spread) = self.session_spread else {
            return Ok(Line {
                kind,
                counts: None,
                result: Err(Reason::NoReplicateVariance),
            });
        };
        let effects = with_sessions(self.primary, spread)?;
        Ok(line(kind, &effects, self.level))
    }

    fn pace_adjusted(&self) -> Result<Line, NumericError> {
        let kind = Sensitivity::PartnerPaceAdjusted;
        if self.known_pace().n_players() < self.minimum_players {
            return Ok(too_few(kind));
        }
        let design = self.primary.design(
            &[("partner_pace_kmh", &pace as &dyn Fn(&Row) -> Option<f64>)],
            true,
        )?;
        let regression = regress(&design, Estimator::RestrictedMaximumLikelihood, self.level);
        let repeats = design.effects().has_repeats();
        let result = regression.model.and_then(|model| {
            let intercept = model.coefficients.first().ok_or(Reason::NoColumns)?;
            let interval = if repeats {
                intercept.cluster_robust?.interval()
            } else {
                intercept.knapp_hartung_safe.interval()
            };
            Ok(Brief {
                estimate: intercept.estimate,
                interval,
                tau_squared: model.tau_squared,
            })
        });
        Ok(Line {
            kind,
            counts: Some((regression.k, regression.n_clusters)),
            result,
        })
    }

    fn pace_offset(&self) -> Result<Line, NumericError> {
        let kind = Sensitivity::PartnerPaceOffset;
        let known = self.known_pace();
        if known.n_players() < self.minimum_players {
            return Ok(too_few(kind));
        }
        let effects = known.changed(|_, row| {
            let returned = PACE_RETURNED * pace(row).unwrap_or(f64::NAN);
            (row.estimate - returned, row.variance)
        })?;
        Ok(line(kind, &effects, self.level))
    }

    fn known_pace(&self) -> Selection<'_> {
        self.primary.only(|row| pace(row).is_some())
    }
}

const fn too_few(kind: Sensitivity) -> Line {
    Line {
        kind,
        counts: None,
        result: Err(Reason::FewerClustersThanAsked),
    }
}

/// The partner's pace, looser minus tighter, in km/h.
pub(super) fn pace(row: &Row) -> Option<f64> {
    row.circumstances.partner_pace_kmh.map(f64::from)
}

/// How often the session-to-session variance enters the variance of an effect: 1/m in each arm of
/// m sessions.
pub(super) fn session_part((looser, tighter): (u8, u8)) -> f64 {
    f64::from(looser).recip() + f64::from(tighter).recip()
}
