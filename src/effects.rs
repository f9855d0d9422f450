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
mod shares;
mod speed;
pub mod spread;

pub use speed::timed_shots;

use crate::contribution::{Contribution, ShotLine};
use crate::pooling::quantiles::Normal;
use crate::pooling::{Estimable, Interval, Level};
use crate::protocol::{GapBand, Protocol};
use crate::units::Tension;
use crate::vocabulary::{Arm, Outcome, ShotClass, VarianceSource, word_list};
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
                Outcome::Speed => speed::difference(&looser, &tighter, crowd.cv(class)),
                Outcome::InShare => shares::difference(&looser, &tighter, shares::in_of_hit),
                Outcome::DeepShare => shares::difference(&looser, &tighter, shares::deep_of_in),
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

#[expect(clippy::cast_precision_loss, reason = "counts are at most 80,000")]
const fn to_f64(count: i64) -> f64 {
    count as f64
}
