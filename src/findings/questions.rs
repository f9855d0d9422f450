//! What is asked over all gaps at once: how the effect grows with the gap, and what else may
//! explain it.

use super::selection::{Basis, Moderator, Selection};
use super::sensitivity::pace;
use super::table::beyond;
use super::{LevelBand, Order, Publication, Row, bands};
use crate::pooling::regression::{Coefficient, Estimator, Regression, RegressionModel, regress};
use crate::pooling::subgroups::Subgroups;
use crate::pooling::{Estimable, Interval, Level, NumericError, Reason};
use crate::protocol::{GapBand, PrimaryOutcome};
use crate::units::KILOGRAMS_PER_POUND;
use crate::vocabulary::{StringFamily, word_list};

/// One primary outcome over all gaps.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// The outcome and its shot class.
    pub about: PrimaryOutcome,
    /// What is found; `None` when fewer players than the protocol's minimum have a row.
    pub found: Option<Overall>,
}

/// What is found over all gaps.
#[derive(Clone, Debug, PartialEq)]
pub struct Overall {
    /// Which pairs the dose-response and the bands rest on.
    pub basis: Basis,
    /// How the effect grows with the gap; smaller gaps than the protocol asks are part of it.
    pub dose_response: DoseResponse,
    /// Whether gap bands differ, one pair of each player.
    pub bands: Subgroups,
    /// What else may explain the effects: every pair, planned or not, whose gap follows the protocol.
    pub adjusted: Vec<Adjusted>,
}

/// The effect as a function of the gap in lb.
#[derive(Clone, Debug, PartialEq)]
pub struct DoseResponse {
    /// Through the origin: no gap, no effect.
    pub origin: Regression,
    /// With an intercept, which should be near 0 if the line through the origin holds.
    pub with_intercept: Regression,
    /// Gap and its square with an intercept: the test of curvature is that of the last coefficient.
    pub curved: Regression,
    /// The line through the origin at each whole gap up to the widest seen.
    pub curve: Vec<CurvePoint>,
}

/// The mean effect at one gap by the line through the origin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// The gap.
    pub gap_lb: i32,
    /// The mean effect.
    pub estimate: f64,
    /// Its interval: safeguarded, or from CR2 when a player has several pairs.
    pub interval: Estimable<Interval>,
    /// For another pair of sessions by another such player, approximate.
    pub prediction: Estimable<Interval>,
}

impl CurvePoint {
    /// The range for another such player where it says more than that of the mean (see
    /// [`super::Shown::another`]).
    #[must_use]
    pub fn another(&self) -> Option<Interval> {
        let (prediction, mean) = (self.prediction.ok()?, self.interval.ok()?);
        beyond(prediction, &mean)
    }
}

/// A change per unit of the gap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// The estimate.
    pub estimate: f64,
    /// Its interval.
    pub interval: Interval,
}

/// A kilogram in pounds.
pub const POUNDS_PER_KILOGRAM: f64 = 1.0 / KILOGRAMS_PER_POUND;

impl DoseResponse {
    /// The slope of the line through the origin for a gap of so many pounds.
    ///
    /// # Errors
    /// When the line or its interval is not estimable.
    pub fn slope(&self, pounds: f64) -> Estimable<Slope> {
        let model = self.origin.model.as_ref().map_err(|&reason| reason)?;
        let slope = model.coefficients.first().ok_or(Reason::NoColumns)?;
        let interval = interval(slope, self.origin.k != self.origin.n_clusters)?;
        Ok(Slope {
            estimate: pounds * slope.estimate,
            interval: Interval {
                low: pounds * interval.low,
                high: pounds * interval.high,
            },
        })
    }
}

impl DoseResponse {
    /// The p value of the curvature.
    ///
    /// # Errors
    /// When the curve or its test is not estimable.
    pub fn bend(&self) -> Estimable<f64> {
        let model = self.curved.model.as_ref().map_err(|&reason| reason)?;
        let squared = model.coefficients.last().ok_or(Reason::NoColumns)?;
        if self.curved.k == self.curved.n_clusters {
            squared.knapp_hartung_safe.p
        } else {
            squared.cluster_robust?.p
        }
    }
}

/// The interval of a coefficient, chosen as for pooled means.
fn interval(coefficient: &Coefficient, has_repeats: bool) -> Estimable<Interval> {
    Ok(if has_repeats {
        coefficient.cluster_robust?.interval()
    } else {
        coefficient.knapp_hartung_safe.interval()
    })
}

word_list! {
    /// What may explain an effect besides the string bed.
    Explanation {
        /// The partner's pace, looser minus tighter, km/h.
        PartnerPace = "partner_pace",
        /// Looser first +1/2, tighter first -1/2, balanced 0.
        Order = "order",
        /// Age of the strings, looser minus tighter, hours of play.
        StringAge = "string_age",
        /// 1 when the player knew a string bed, else 0.
        NotBlinded = "not_blinded",
        /// 1 for a pair without a plan, else 0.
        Retrospective = "retrospective",
        /// ITN less 5, taken at the middle of its band: 2, 5, 8.5.
        Level = "level",
        /// 1 when the main strings are known not to be polyester, else 0.
        NotPolyester = "not_polyester",
        /// All of these that vary and are known well enough, together.
        Together = "together",
    }
}

impl Explanation {
    const SINGLE: [Self; 7] = [
        Self::PartnerPace,
        Self::Order,
        Self::StringAge,
        Self::NotBlinded,
        Self::Retrospective,
        Self::Level,
        Self::NotPolyester,
    ];

    fn value(self, row: &Row) -> Option<f64> {
        let known = row.circumstances;
        match self {
            Self::PartnerPace => pace(row),
            Self::Order => known.order.map(|order| match order {
                Order::LooserFirst => 0.5,
                Order::TighterFirst => -0.5,
                Order::Balanced => 0.0,
            }),
            Self::StringAge => known.string_age_hours.map(f64::from),
            Self::NotBlinded => known.blinded.map(|blinded| f64::from(u8::from(!blinded))),
            Self::Retrospective => known.planned.map(|planned| f64::from(u8::from(!planned))),
            Self::Level => known.level.map(|level| match level {
                LevelBand::Strong => -3.0,
                LevelBand::Middling => 0.0,
                LevelBand::Beginning => 3.5,
            }),
            Self::NotPolyester => known
                .string_family
                .map(|family| f64::from(u8::from(family != StringFamily::Polyester))),
            Self::Together => None,
        }
    }
}

/// A regression of the effects on the gap and on what else may explain them.
#[derive(Clone, Debug, PartialEq)]
pub struct Adjusted {
    /// On what.
    pub by: Explanation,
    /// The regression; `None` when fewer players than the protocol's minimum tell.
    pub found: Option<AdjustedEffect>,
}

/// An adjusted mean effect.
#[derive(Clone, Debug, PartialEq)]
pub struct AdjustedEffect {
    /// The gap at which the intercept holds: the median of the rows behind it, a whole pound.
    pub at_gap_lb: i32,
    /// The regression; its intercept is the adjusted mean effect at that gap where every
    /// explanation is 0.
    pub regression: Regression,
}

impl Publication {
    /// Every primary outcome over all gaps.
    ///
    /// # Errors
    /// [`NumericError`] when a row's figures are not usable.
    pub(super) fn questions(&self) -> Result<Vec<Question>, NumericError> {
        self.rules
            .primary
            .iter()
            .map(|about| {
                let rows = self
                    .rows
                    .select(|row| row.outcome == about.outcome && row.class == about.class);
                let found = if rows.n_players() < self.rules.minimum_players {
                    None
                } else {
                    Some(overall(&rows, self.rules.minimum_players, self.level)?)
                };
                Ok(Question {
                    about: *about,
                    found,
                })
            })
            .collect()
    }
}

fn overall(
    rows: &Selection<'_>,
    minimum_players: usize,
    level: Level,
) -> Result<Overall, NumericError> {
    let (basis, primary) = rows.primary();
    let follows = |row: &Row| row.band != GapBand::UnderProtocol;
    let (counted, on_protocol) = (primary.only(follows), rows.only(follows));
    Ok(Overall {
        basis,
        dose_response: dose_response(&primary, level)?,
        bands: bands::compared(&counted, minimum_players, level)?,
        adjusted: adjusted(&on_protocol, minimum_players, level)?,
    })
}

fn fit(
    rows: &Selection<'_>,
    moderators: &[Moderator<'_>],
    has_intercept: bool,
    level: Level,
) -> Result<Regression, NumericError> {
    let design = rows.design(moderators, has_intercept)?;
    Ok(regress(
        &design,
        Estimator::RestrictedMaximumLikelihood,
        level,
    ))
}

fn dose_response(rows: &Selection<'_>, level: Level) -> Result<DoseResponse, NumericError> {
    let gap = |row: &Row| Some(f64::from(row.gap_lb));
    let squared = |row: &Row| Some(f64::from(row.gap_lb).powi(2));
    let line: [Moderator<'_>; 1] = [("gap_lb", &gap)];
    let curved: [Moderator<'_>; 2] = [("gap_lb", &gap), ("gap_lb_squared", &squared)];
    let origin = fit(rows, &line, false, level)?;
    let widest = rows.rows().map(|row| row.gap_lb).max().unwrap_or(0);
    let has_repeats = origin.k != origin.n_clusters;
    let curve = match &origin.model {
        Ok(model) => (1..=widest)
            .filter_map(|gap_lb| point(model, gap_lb, has_repeats))
            .collect(),
        Err(_) => Vec::new(),
    };
    Ok(DoseResponse {
        with_intercept: fit(rows, &line, true, level)?,
        curved: fit(rows, &curved, true, level)?,
        curve,
        origin,
    })
}

fn point(model: &RegressionModel, gap_lb: i32, has_repeats: bool) -> Option<CurvePoint> {
    let gap = f64::from(gap_lb);
    let predicted = model.predict(&[gap]).ok()?;
    let slope = model.coefficients.first()?;
    // On a line through the origin the mean at a gap is the slope times the gap.
    let mean = interval(slope, has_repeats).map(|slope| Interval {
        low: gap * slope.low,
        high: gap * slope.high,
    });
    let prediction = match (predicted.prediction, mean) {
        (Ok(range), Ok(mean)) => Ok(range.widened_to(&mean)),
        (prediction, _) => prediction,
    };
    Some(CurvePoint {
        gap_lb,
        estimate: predicted.estimate,
        interval: mean,
        prediction,
    })
}

fn adjusted(
    rows: &Selection<'_>,
    minimum_players: usize,
    level: Level,
) -> Result<Vec<Adjusted>, NumericError> {
    let mut models = Vec::new();
    for by in Explanation::SINGLE {
        models.push(explained(rows, by, &[by], minimum_players, level)?);
    }
    let is_usable = |model: &&Adjusted| {
        let found = model.found.as_ref();
        found.is_some_and(|found| found.regression.model.is_ok())
    };
    let usable = models.iter().filter(is_usable).map(|model| model.by);
    let usable: Vec<Explanation> = usable.collect();
    let by = Explanation::Together;
    models.push(explained(rows, by, &usable, minimum_players, level)?);
    Ok(models)
}

fn explained(
    rows: &Selection<'_>,
    by: Explanation,
    on: &[Explanation],
    minimum_players: usize,
    level: Level,
) -> Result<Adjusted, NumericError> {
    let complete = rows.only(|row| on.iter().all(|on| on.value(row).is_some()));
    if complete.n_players() < minimum_players {
        return Ok(Adjusted { by, found: None });
    }
    let at_gap_lb = median_gap(&complete);
    let gap = |row: &Row| Some(f64::from(row.gap_lb - at_gap_lb));
    let values: Vec<_> = on
        .iter()
        .map(|on| (on.code(), move |row: &Row| on.value(row)))
        .collect();
    let mut moderators: Vec<Moderator<'_>> = vec![("gap_lb", &gap)];
    for (name, value) in &values {
        moderators.push((name, value));
    }
    Ok(Adjusted {
        by,
        found: Some(AdjustedEffect {
            at_gap_lb,
            regression: fit(&complete, &moderators, true, level)?,
        }),
    })
}

/// The median gap, the lower of two; 0 without rows.
fn median_gap(rows: &Selection<'_>) -> i32 {
    let mut gaps: Vec<i32> = rows.rows().map(|row| row.gap_lb).collect();
    gaps.sort_unstable();
    let middle = gaps.len().saturating_sub(1) / 2;
    gaps.get(middle).copied().unwrap_or(0)
}
