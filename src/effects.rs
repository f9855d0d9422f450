//! From one contribution to its effects: looser minus tighter, each with its variance.
//!
//! Formulas, with session `j` of an arm having `n_j` shots, mean `m_j` and standard deviation
//! `s_j`, and `N = sum n_j`:
//!
//! - mean speed: arm mean `sum n_j m_j / N`; its variance `sum n_j s_j^2 / N^2`, the
//!   within-session part only; the effect's variance is the sum over the two arms (for one session
//!   per arm the familiar `s1^2/n1 + s2^2/n2`); where a session gives the lag-1 autocorrelation
//!   `r_j` of its speeds, its `s_j^2` counts `(1 + r_j)/(1 - r_j)` fold
//!   ([`variance_inflation`]);
//! - shares: with `x_j` of `n_j` in session `j`, the arm's share is `sum x_j / N` and its variance
//!   `sum (n_j/N)^2 p_j q_j / n_j`, again the within-session part only (for one session `p q/n`);
//!   the effect is the raw difference in percentage points. When any session is empty or full,
//!   every `p_j` becomes `(x_j + 1)/(n_j + 2)` with divisor `n_j + 2`, in both arms (Agresti &
//!   Caffo 2000, The American Statistician 54:280; from memory).
//!
//! A variance keeps apart what an imputed standard deviation brought into it: pooled again at a
//! coefficient of variation times f, it is `variance + (f^2 - 1) imputed_variance`.
//!
//! Secondary outcomes (spin, directions, long rallies, the partner's speed) are computed in the
//! same way and kept apart from the primary ones; what they are taken of stands in `secondary`.
//! Maximum speed is no outcome: its expectation grows with the number of shots.
//!
//! Where a summary says nothing of their correlation, shots of a session are treated as independent,
//! and so are shares always; the documents that carry these effects say so. Standard deviations that a
//! contributor could not give are imputed by [`spread`].
//!
//! Absent on purpose: session-to-session variance, which one pair cannot show. [`repeats`] lists
//! what the crowd can show it with.

pub mod counts;
pub mod repeats;
mod secondary;
mod shares;
mod speed;
pub mod spread;
#[cfg(test)]
pub(crate) mod tests;

pub use shares::{ArmCount, ShareCounts, Tally, deep_of_in, in_of_hit, share_counts};
pub use speed::{timed_shots, variance_inflation};

use crate::contribution::Contribution;
use crate::pooling::quantiles::Normal;
use crate::pooling::{Estimable, Interval, Level};
use crate::protocol::{GapBand, Protocol};
use crate::units::Tension;
use crate::vocabulary::{Arm, Direction, Outcome, ShotClass, VarianceSource, word_list};
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
    /// The part of the variance that comes from imputed standard deviations, 0 when none is.
    pub imputed_variance: f64,
    /// Standard error of the logarithm of the imputed standard deviations; `None` when none is
    /// imputed or it is not known.
    pub log_sd_error: Option<f64>,
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
        Interval::around(self.estimate, half_width)
    }
}

/// The effects of one pair with its gap.
#[derive(Clone, Debug, PartialEq)]
pub struct PairEffects {
    /// Tighter minus looser reference tension.
    pub gap: Tension,
    /// The protocol's band for this gap.
    pub band: GapBand,
    /// Primary outcomes that could be computed, sorted by class and outcome.
    pub effects: Vec<Effect>,
    /// Those that could not, and why.
    pub left_out: Vec<LeftOut>,
    /// Secondary outcomes that could be computed, sorted by class and outcome.
    pub secondary: Vec<Effect>,
    /// Those that could not, and why.
    pub secondary_left_out: Vec<LeftOut>,
}

impl PairEffects {
    /// Every effect, secondary outcomes last.
    pub fn all(&self) -> impl Iterator<Item = &Effect> {
        self.effects.iter().chain(&self.secondary)
    }
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
    let (effects, left_out) = computed(contribution, protocol, crowd, Outcome::PRIMARY);
    let secondary: Vec<Outcome> = Outcome::ALL
        .iter()
        .filter(|outcome| !Outcome::PRIMARY.contains(outcome))
        .copied()
        .collect();
    let (secondary, secondary_left_out) = computed(contribution, protocol, crowd, &secondary);
    Some(PairEffects {
        gap,
        band: protocol.analysis.bands.band_of(gap),
        effects,
        left_out,
        secondary,
        secondary_left_out,
    })
}

/// The effects on some outcomes, and those that cannot be computed.
fn computed(
    pair: &Contribution,
    protocol: &Protocol,
    crowd: &CrowdSpread,
    outcomes: &[Outcome],
) -> (Vec<Effect>, Vec<LeftOut>) {
    let mut wanted: Vec<(ShotClass, Outcome)> = outcomes
        .iter()
        .flat_map(|outcome| {
            let classes = classes(pair, *outcome).into_iter();
            classes.map(move |class| (class, *outcome))
        })
        .filter(|(class, outcome)| is_in_both_arms(pair, *outcome, *class))
        .collect();
    wanted.sort_unstable();
    let (mut effects, mut left_out) = (Vec::new(), Vec::new());
    for (class, outcome) in wanted {
        let figure = difference(pair, outcome, class, crowd).and_then(|figure| {
            let is_enough = |arm| protocol.minimum_shots <= shots(pair, arm, outcome, class);
            if !Arm::ALL.iter().copied().all(is_enough) {
                Err(LeftOutReason::TooFewShots)
            } else if !(0.0 < figure.variance && figure.variance.is_finite()) {
                // Intake rules it out; a document kept from before a rule must not stop a study.
                Err(LeftOutReason::NothingCounted)
            } else {
                Ok(figure)
            }
        });
        match figure {
            Ok(figure) => effects.push(Effect {
                outcome,
                class,
                estimate: figure.estimate,
                variance: figure.variance,
                imputed_variance: figure.imputed_variance,
                log_sd_error: figure.log_sd_error,
                source: figure.source,
            }),
            Err(reason) => left_out.push(LeftOut {
                outcome,
                class,
                reason,
            }),
        }
    }
    effects.shrink_to_fit();
    (effects, left_out)
}

/// The classes that a pair may give an outcome for, sorted: every class that has a line, every
/// stroke that has one across the court, or all shots together.
fn classes(pair: &Contribution, outcome: Outcome) -> Vec<ShotClass> {
    let lines = pair.sessions.iter().flat_map(|session| &session.lines);
    let mut classes: Vec<ShotClass> = match outcome {
        Outcome::Speed | Outcome::DeepShare | Outcome::InShare => {
            lines.map(|line| line.class).collect()
        }
        Outcome::CrosscourtShare => lines
            .filter(|line| line.class.direction == Direction::Crosscourt)
            .map(|line| ShotClass::of(line.class.stroke))
            .collect(),
        Outcome::TopspinShare
        | Outcome::FlatShare
        | Outcome::LongRallyShare
        | Outcome::PartnerSpeed => vec![ShotClass::ALL],
    };
    classes.sort_unstable();
    classes.dedup();
    classes
}

/// Whether both arms speak of a class at all, so that something is missing when an outcome is not
/// given for it.
fn is_in_both_arms(pair: &Contribution, outcome: Outcome, class: ShotClass) -> bool {
    let has = |arm, is_meant: &dyn Fn(ShotClass) -> bool| {
        let mut lines = pair.of_arm(arm).flat_map(|session| &session.lines);
        lines.any(|line| is_meant(line.class))
    };
    Arm::ALL.iter().all(|arm| match outcome {
        Outcome::Speed | Outcome::DeepShare | Outcome::InShare => has(*arm, &|of| of == class),
        Outcome::CrosscourtShare => has(*arm, &|of: ShotClass| of.stroke == class.stroke),
        Outcome::TopspinShare
        | Outcome::FlatShare
        | Outcome::LongRallyShare
        | Outcome::PartnerSpeed => true,
    })
}

/// The shots of an arm that a protocol's fewest shots are held against: for speed those timed of the
/// class, for the other primary outcomes those hit, for spin and directions those that the share is taken of. Rallies and a
/// partner's shots are no shots of the player, so for them it is those hit in the sessions that
/// give them.
fn shots(pair: &Contribution, arm: Arm, outcome: Outcome, class: ShotClass) -> i64 {
    let sessions = pair.of_arm(arm);
    match outcome {
        Outcome::Speed => {
            let lines = pair.lines(arm, class);
            let timed = lines.filter_map(|line| Some(timed_shots(line, line.speed.as_ref()?)));
            timed.sum()
        }
        Outcome::DeepShare | Outcome::InShare => pair.lines(arm, class).map(|line| line.hit).sum(),
        Outcome::TopspinShare | Outcome::FlatShare | Outcome::CrosscourtShare => {
            let rule = shares::rule(outcome);
            let tallies = sessions.filter_map(|session| rule?(session, class));
            tallies.map(|tally| tally.n).sum()
        }
        Outcome::LongRallyShare => sessions
            .filter(|session| secondary::long_rallies(session, class).is_some())
            .map(secondary::shots_at_least)
            .sum(),
        Outcome::PartnerSpeed => sessions
            .filter(|session| secondary::partner(session).is_some())
            .map(secondary::shots_at_least)
            .sum(),
    }
}

fn difference(
    pair: &Contribution,
    outcome: Outcome,
    class: ShotClass,
    crowd: &CrowdSpread,
) -> Computed {
    match shares::rule(outcome) {
        Some(rule) => shares::difference(pair, class, rule),
        None if outcome == Outcome::PartnerSpeed => speed::difference(pair, secondary::partner),
        None => {
            let cv = crowd.cv(pair, class);
            speed::difference(pair, |session| speed::of_session(session, class, cv))
        }
    }
}

/// An estimate with its variance, as in [`Effect`].
struct Figure {
    estimate: f64,
    variance: f64,
    imputed_variance: f64,
    log_sd_error: Option<f64>,
    source: VarianceSource,
}

type Computed = Result<Figure, LeftOutReason>;

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
