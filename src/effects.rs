//! From one contribution to its effects: looser minus tighter, each with its variance.
//!
//! Formulas, with session `j` of an arm having `n_j` shots, mean `m_j` and standard deviation
//! `s_j`, and `N = sum n_j`:
//!
//! - mean speed: arm mean `sum n_j m_j / N`; its variance `sum n_j s_j^2 / N^2`, the
//!   within-session part only; the effect's variance is the sum over the two arms (for one session
//!   per arm the familiar `s1^2/n1 + s2^2/n2`);
//! - shares: with `x_j` of `n_j` in session `j`, the arm's share is `sum x_j / N` and its variance
//!   `sum (n_j/N)^2 p_j q_j / n_j`, again the within-session part only (for one session `p q/n`);
//!   the effect is the raw difference in percentage points. When any session is empty or full,
//!   every `p_j` becomes `(x_j + 1)/(n_j + 2)` with divisor `n_j + 2`, in both arms (Agresti &
//!   Caffo 2000, The American Statistician 54:280; from memory).
//!
//! Shots of a session are treated as independent, because a summary says nothing of their
//! correlation; the documents that carry these effects say so. Standard deviations that a
//! contributor could not give are imputed by [`spread`].
//!
//! Absent on purpose: session-to-session variance, which one pair cannot show.

pub mod counts;
pub mod spread;

use crate::contribution::{Contribution, DeepShare, Share, ShotLine, SpeedSummary};
use crate::pooling::quantiles::Normal;
use crate::pooling::{Estimable, Interval, Level};
use crate::protocol::{GapBand, Protocol};
use crate::units::Tension;
use crate::vocabulary::{Arm, Outcome, SdDivisor, ShotClass, SpeedOver, VarianceSource, word_list};
use spread::CrowdSpread;

/// One effect of one pair.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effect {
    /// What is compared.
    pub outcome: Outcome,
    /// For which shots.
    pub class: ShotClass,
    /// Looser minus tighter, in [`Outcome::unit`].
    pub estimate: f64,
    /// Variance of the estimate, in that unit squared; positive and finite.
    pub variance: f64,
    /// Where the variance comes from.
    pub source: VarianceSource,
}

impl Effect {
    /// The normal 95 % interval: all that one pair can say of its player.
    ///
    /// # Errors
    /// When the ends are not finite.
    pub fn interval(&self) -> Estimable<Interval> {
        let half_width = Normal::upper_quantile(Level::NINETY_FIVE.tail())? * self.variance.sqrt();
        Ok(Interval {
            low: self.estimate - half_width,
            high: self.estimate + half_width,
        })
    }
}

/// The effects of one pair with its gap.
#[derive(Clone, Debug, PartialEq)]
pub struct PairEffects {
    /// Tighter minus looser reference tension.
    pub gap: Tension,
    /// The protocol's band for this gap.
    pub band: GapBand,
    /// What could be computed, sorted by class and outcome.
    pub effects: Vec<Effect>,
    /// What could not, and why.
    pub left_out: Vec<LeftOut>,
}

/// An effect that could not be computed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// What would have been compared.
    pub outcome: Outcome,
    /// For which shots.
    pub class: ShotClass,
    /// Why not.
    pub reason: LeftOutReason,
}

word_list! {
    /// Why an effect could not be computed.
    LeftOutReason {
        /// The figures it needs were not given in both arms.
        NotGiven = "not_given",
        /// An arm has fewer shots than the protocol asks.
        TooFewShots = "too_few_shots",
        /// Fewer than two shots of an arm were timed, or none landed in.
        NothingCounted = "nothing_counted",
    }
}

impl LeftOutReason {
    /// The reason in words.
    #[must_use]
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::NotGiven => "the figures it needs were not given in both arms",
            Self::TooFewShots => "an arm has fewer shots than the protocol asks",
            Self::NothingCounted => "an arm has no shots that count here",
        }
    }
}

/// Every effect of a contribution.
///
/// `None` when an arm is absent, which intake refuses.
#[must_use]
pub fn of_pair(
    contribution: &Contribution,
    protocol: &Protocol,
    crowd: &CrowdSpread,
) -> Option<PairEffects> {
    let gap = contribution.gap()?;
    let mut pair = PairEffects {
        gap,
        band: protocol.analysis.bands.band_of(gap),
        effects: Vec::new(),
        left_out: Vec::new(),
    };
    for class in contribution.classes_in_both_arms() {
        let looser: Vec<&ShotLine> = contribution.lines(Arm::Looser, class).collect();
        let tighter: Vec<&ShotLine> = contribution.lines(Arm::Tighter, class).collect();
        for outcome in Outcome::ALL {
            let computed = match outcome {
                Outcome::Speed => speed_difference(&looser, &tighter, crowd.cv(class)),
                Outcome::InShare => share_difference(&looser, &tighter, in_of_hit),
                Outcome::DeepShare => share_difference(&looser, &tighter, deep_of_in),
            };
            let enough = [&looser, &tighter]
                .iter()
                .all(|lines| protocol.minimum_shots <= lines.iter().map(|line| line.hit).sum());
            match computed {
                Ok(_) if !enough => pair.leave_out(*outcome, class, LeftOutReason::TooFewShots),
                Ok((estimate, variance, source)) => pair.effects.push(Effect {
                    outcome: *outcome,
                    class,
                    estimate,
                    variance,
                    source,
                }),
                Err(reason) => pair.leave_out(*outcome, class, reason),
            }
        }
    }
    Some(pair)
}

impl PairEffects {
    fn leave_out(&mut self, outcome: Outcome, class: ShotClass, reason: LeftOutReason) {
        self.left_out.push(LeftOut {
            outcome,
            class,
            reason,
        });
    }
}

/// Estimate, variance and where the variance comes from.
type Computed = Result<(f64, f64, VarianceSource), LeftOutReason>;

/// Both arms, or the graver of their two reasons, whichever arm has it.
fn both<T>(
    looser: Result<T, LeftOutReason>,
    tighter: Result<T, LeftOutReason>,
) -> Result<(T, T), LeftOutReason> {
    match (looser, tighter) {
        (Ok(looser), Ok(tighter)) => Ok((looser, tighter)),
        (Err(one), Err(other)) => Err(one.min(other)),
        (Err(reason), Ok(_)) | (Ok(_), Err(reason)) => Err(reason),
    }
}

/// Number of timed shots: as given, or else the shots that the mean is said to be over.
#[must_use]
pub fn timed_shots(line: &ShotLine, speed: &SpeedSummary) -> i64 {
    speed.n.unwrap_or_else(|| match speed.over {
        SpeedOver::In => in_of_hit(line).map_or(line.hit, |(n_in, _)| n_in),
        SpeedOver::All | SpeedOver::Unknown => line.hit,
    })
}

/// Mean and variance of the mean over the sessions of one arm.
struct ArmSpeed {
    mean: f64,
    variance: f64,
    imputed: bool,
}

fn arm_speed(lines: &[&ShotLine], cv: f64) -> Result<ArmSpeed, LeftOutReason> {
    let (mut n_total, mut weighted_mean, mut weighted_square, mut imputed) = (0.0, 0.0, 0.0, false);
    let mut given = false;
    for line in lines {
        let Some(speed) = &line.speed else { continue };
        given = true;
        let n = to_f64(timed_shots(line, speed));
        let mean = speed.mean.kmh();
        let square = match speed.sd {
            Some(sd) => sd.kmh().powi(2) * divisor_correction(speed.sd_divisor, n),
            None => {
                imputed = true;
                (cv * mean).powi(2)
            }
        };
        n_total += n;
        weighted_mean += n * mean;
        weighted_square += n * square;
    }
    if !given {
        return Err(LeftOutReason::NotGiven);
    }
    if n_total < 2.0 {
        return Err(LeftOutReason::NothingCounted);
    }
    Ok(ArmSpeed {
        mean: weighted_mean / n_total,
        variance: weighted_square / n_total.powi(2),
        imputed,
    })
}

/// Factor that turns a squared standard deviation into the one with divisor n - 1.
fn divisor_correction(divisor: SdDivisor, n: f64) -> f64 {
    match divisor {
        SdDivisor::N if 1.0 < n => n / (n - 1.0),
        SdDivisor::N | SdDivisor::NMinusOne | SdDivisor::Unknown => 1.0,
    }
}

fn speed_difference(
    looser: &[&ShotLine],
    tighter: &[&ShotLine],
    cv: spread::ImputedCv,
) -> Computed {
    let (looser, tighter) = both(arm_speed(looser, cv.value), arm_speed(tighter, cv.value))?;
    let source = if looser.imputed || tighter.imputed {
        cv.source
    } else {
        VarianceSource::Reported
    };
    Ok((
        looser.mean - tighter.mean,
        looser.variance + tighter.variance,
        source,
    ))
}

/// Shots in and shots hit of one line.
fn in_of_hit(line: &ShotLine) -> Option<(i64, i64)> {
    Some((count(line.landed_in?, line.hit)?, line.hit))
}

/// Deep shots and shots in of one line.
fn deep_of_in(line: &ShotLine) -> Option<(i64, i64)> {
    let (n_in, hit) = in_of_hit(line)?;
    let n_deep = match line.deep? {
        DeepShare::OfIn(share) => count(share, n_in)?,
        DeepShare::PercentOfHit(percent) => counts::from_percent(percent, hit)?.count,
    };
    Some((n_deep, n_in))
}

/// A share as a count out of `n`.
fn count(share: Share, n: i64) -> Option<i64> {
    match share {
        Share::Count(count) => Some(count),
        Share::Percent(percent) => Some(counts::from_percent(percent, n)?.count),
    }
}

fn share_difference(
    looser: &[&ShotLine],
    tighter: &[&ShotLine],
    tally: impl Fn(&ShotLine) -> Option<(i64, i64)>,
) -> Computed {
    let arm = |lines: &[&ShotLine]| -> Result<Vec<(i64, i64)>, LeftOutReason> {
        let tallies: Vec<_> = lines.iter().filter_map(|line| tally(line)).collect();
        if tallies.is_empty() {
            return Err(LeftOutReason::NotGiven);
        }
        let counted: Vec<_> = tallies.into_iter().filter(|(_, n)| 0 < *n).collect();
        if counted.is_empty() {
            return Err(LeftOutReason::NothingCounted);
        }
        Ok(counted)
    };
    let (looser, tighter) = both(arm(looser), arm(tighter))?;
    let extreme = looser
        .iter()
        .chain(&tighter)
        .any(|(x, n)| *x == 0 || x == n);
    let (added, source) = if extreme {
        (1, VarianceSource::AdjustedCounts)
    } else {
        (0, VarianceSource::Counts)
    };
    let (looser, looser_variance) = arm_share(&looser, added);
    let (tighter, tighter_variance) = arm_share(&tighter, added);
    Ok((
        100.0 * (looser - tighter),
        10_000.0 * (looser_variance + tighter_variance),
        source,
    ))
}

/// Share of one arm over its sessions, and its within-session variance with so many shots of each
/// kind added to every session.
fn arm_share(tallies: &[(i64, i64)], added: i64) -> (f64, f64) {
    let n_total = to_f64(tallies.iter().map(|(_, n)| n).sum());
    let x_total = to_f64(tallies.iter().map(|(x, _)| x).sum());
    let weighted = tallies.iter().map(|(x, n)| {
        let adjusted_n = to_f64(n + 2 * added);
        let share = to_f64(x + added) / adjusted_n;
        (to_f64(*n) / n_total).powi(2) * share * (1.0 - share) / adjusted_n
    });
    (x_total / n_total, weighted.sum())
}

#[expect(clippy::cast_precision_loss, reason = "counts are at most 80,000")]
const fn to_f64(count: i64) -> f64 {
    count as f64
}
