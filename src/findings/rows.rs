//! What is published of a study: the rows, and the figures beside them that analyses take as they
//! are.

use super::compact::Rows;
use super::given::{FirstVersions, Reached};
use crate::pooling::quantiles::Normal;
use crate::pooling::{Estimable, Interval, Level};
use crate::protocol::{AnalysisRules, GapBand, StudyLabel};
use crate::vocabulary::{Outcome, ShotClass, StringFamily, VarianceSource, word_list};
use std::fmt;

/// One published effect: rounded, coarsened, with the consent of its player.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Number of the player within this publication, from 1; tied to nothing else.
    pub group: u32,
    /// Number of the pair among those of its player in this publication, from 1.
    pub pair: u32,
    /// Gap band.
    pub band: GapBand,
    /// Gap to the nearest whole pound; where too few share it, the mean gap of those who are alike in
    /// everything else.
    pub gap_lb: i32,
    /// What is compared.
    pub outcome: Outcome,
    /// For which shots.
    pub class: ShotClass,
    /// Looser minus tighter, in [`Outcome::unit`].
    pub estimate: f64,
    /// Its variance, in that unit squared.
    pub variance: f64,
    /// The part of the variance that comes from imputed standard deviations.
    pub imputed_variance: f64,
    /// Where the variance comes from.
    pub source: VarianceSource,
    /// What else is known of the pair, coarsened.
    pub circumstances: Circumstances,
}

/// What may explain an effect besides the string bed, as far as it is known and may be shown: `None`
/// where the player did not tell, or where too few are alike.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Circumstances {
    /// Whether the pair was played in an order drawn beforehand.
    pub planned: Option<bool>,
    /// Which string bed came first.
    pub order: Option<Order>,
    /// Whether the player knew in no session which string bed it was.
    pub blinded: Option<bool>,
    /// Sessions of the looser and of the tighter arm.
    pub sessions: Option<(u8, u8)>,
    /// The hitting partner's mean ball speed, looser minus tighter, to a whole km/h.
    pub partner_pace_kmh: Option<i32>,
    /// Age of the strings in hours of play, looser minus tighter, to a whole hour.
    pub string_age_hours: Option<i32>,
    /// The player's level.
    pub level: Option<LevelBand>,
    /// Material of the main strings.
    pub string_family: Option<StringFamily>,
    /// The month in which the pair was sent (UTC).
    pub month: Option<Month>,
    /// The frame, by its place in [`Publication::frames`].
    pub frame: Option<u32>,
}

/// A month of a year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Month {
    /// The year of the common era.
    pub year: i16,
    /// 1 to 12.
    pub month: u8,
}

impl Month {
    /// A month written `YYYY-MM`; `None` when the text is none.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let (year, month) = text.split_once('-')?;
        let is_written = year.len() == 4 && month.len() == 2;
        let month = month
            .parse()
            .ok()
            .filter(|month| (1..=12).contains(month))?;
        is_written.then_some(Self {
            year: year.parse().ok()?,
            month,
        })
    }
}

impl fmt::Display for Month {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{:04}-{:02}", self.year, self.month)
    }
}

word_list! {
    /// Which string bed was played first.
    Order {
        /// The looser one.
        LooserFirst = "looser_first",
        /// The tighter one.
        TighterFirst = "tighter_first",
        /// Neither, on balance, as in looser, tighter, tighter, looser.
        Balanced = "balanced",
    }
}

word_list! {
    /// The level of play as the ITF's International Tennis Number in three bands.
    LevelBand {
        /// ITN 1 to 3.
        Strong = "itn_1_to_3",
        /// ITN 4 to 6.
        Middling = "itn_4_to_6",
        /// ITN 7 to 10.
        Beginning = "itn_7_to_10",
    }
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
    pub rows: Rows,
    /// Names of frames that rows point to.
    pub frames: Vec<String>,
    /// At least so many pairs have no row although their players agreed to it, because too few are
    /// alike: rounded down to a multiple of the protocol's minimum.
    pub pairs_left_out: usize,
    /// Analyses with first versions, rounded.
    pub first_versions: Vec<FirstVersions>,
    /// How analyses settled, rounded, in the order of analyses and of time.
    pub reached: Vec<Reached>,
    /// How much sessions of one arm differ, where enough players repeated them.
    pub session_spreads: Vec<SessionSpread>,
    /// Shares by models of the counts themselves, which rows do not show.
    pub count_models: Vec<CountModel>,
    /// What became of plans; `None` while fewer than the protocol's minimum were opened.
    pub plans: Option<PlanCounts>,
}

/// How much the mean of one session differs from another of the same player and string bed, beyond
/// chance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SessionSpread {
    /// What was measured.
    pub outcome: Outcome,
    /// For which shots.
    pub class: ShotClass,
    /// Variance between sessions, in [`Outcome::unit`] squared, to three digits.
    pub variance: f64,
    /// Its standard error, to three digits.
    pub se: f64,
    /// At least so many players repeated sessions: rounded down to a multiple of five.
    pub players_at_least: usize,
}

/// A share by models of its counts: log odds ratios, looser over tighter, rounded to 0.01.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CountModel {
    /// What is compared.
    pub key: Key,
    /// Pairs with counts.
    pub k: usize,
    /// Pairs without information: all or none in both arms.
    pub n_excluded: usize,
    /// Log odds ratios with Woolf's variances, pooled like every other effect.
    pub normal: Option<LogOdds>,
    /// The counts themselves: noncentral hypergeometric given their margins. Of many pairs, a sample.
    pub exact: Option<LogOdds>,
}

/// A pooled log odds ratio with its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LogOdds {
    /// The estimate.
    pub estimate: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// What became of plans, by the order drawn. Every figure is rounded down to a multiple of the
/// protocol's minimum of players, as [`SessionSpread::players_at_least`] is.
///
/// Exact counts would tell too much: of a block-balanced draw they foretell the order that comes
/// next; less the planned rows they tell how many single players sent under a plan and did not agree
/// to a row; and of two batches they tell what happened to a single plan in between. An order with
/// fewer than the minimum shows 0 and is not told from one without any.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlanCounts {
    /// Looser first.
    pub looser_first: PlansOfOrder,
    /// Tighter first.
    pub tighter_first: PlansOfOrder,
    /// Orders that are balanced in themselves.
    pub balanced: PlansOfOrder,
    /// Every order together: rounded once, so more than the sum of the others.
    pub every_order: PlansOfOrder,
}

/// Plans of one order: at least so many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PlansOfOrder {
    /// Drawn.
    pub drawn: usize,
    /// Of these, opened.
    pub opened: usize,
    /// Of the opened, sent, whatever became of it.
    pub sent: usize,
    /// Of the opened, not sent: rounded by itself and not the difference of the two.
    pub unsent: usize,
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

    /// Sessions of the looser and of the tighter arm: one each where they are not shown, which takes
    /// nothing for surer than it is.
    #[must_use]
    pub fn sessions(&self) -> (u8, u8) {
        self.circumstances.sessions.unwrap_or((1, 1))
    }

    /// Its normal interval: the scatter of its shots alone.
    ///
    /// # Errors
    /// When the ends are not finite.
    pub fn interval(&self, level: Level) -> Estimable<Interval> {
        let half_width = Normal::upper_quantile(level.tail())? * self.variance.sqrt();
        Interval::around(self.estimate, half_width)
    }
}
