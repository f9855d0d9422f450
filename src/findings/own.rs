//! What one contributor's own sessions say, beside what everybody else's do.
//!
//! A pair of sessions speaks of those sessions: its interval holds the scatter of shots alone. With
//! one session for each string bed, whatever else differed between the two is in the difference and
//! cannot be taken out. What lasts is guessed at only where enough players have repeated sessions
//! ([`super::gains::best_guess`]); else there is no best guess, and the reason is said.
//!
//! Beside it stands what is already public of the same outcome, shots and gap band, and nothing
//! else. The words are in [`words`].

mod surer;
pub mod words;

pub use surer::{Reach, Surer};

use super::gains::best_guess;
use super::words::{Verdict, verdict_of};
use super::{Basis, BatchLabel, Findings, Key, Publication, Rows, Shown};
use crate::contribution::{Contribution, Moderators};
use crate::effects::{Effect, LeftOut, LeftOutReason, PairEffects};
use crate::pooling::gains::{Measurement, Shrunken};
use crate::pooling::{Estimable, Interval, Reason};
use crate::protocol::{GapBand, GapBands, PrimaryOutcome};
use crate::units::Tension;
use crate::vocabulary::{Arm, ShotClass};

/// How a pair was played, as far as it matters for what its sessions can say.
#[derive(Clone, Debug, PartialEq)]
pub struct Played {
    /// Sessions of the looser and of the tighter arm.
    pub sessions: (u8, u8),
    /// Whether the order was drawn beforehand.
    pub planned: bool,
    /// Whether the order takes out a steady change from session to session; `None` when it is not
    /// known.
    pub balanced: Option<bool>,
    /// The fastest shot of each arm and class that gives one, sorted by class. Shown, never
    /// compared.
    pub fastest: Vec<Fastest>,
}

/// The fastest shot of one arm and class.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fastest {
    /// Of which shots.
    pub class: ShotClass,
    /// With which string bed.
    pub arm: Arm,
    /// Its speed in km/h.
    pub kmh: f64,
}

/// What a contributor's own sessions say.
#[derive(Clone, Debug, PartialEq)]
pub struct OwnAnswer {
    /// Tighter minus looser reference tension.
    pub gap: Tension,
    /// The bands of what is published.
    pub bands: GapBands,
    /// Which of them holds the gap.
    pub band: GapBand,
    /// How the pair was played.
    pub played: Played,
    /// The batch that the pooled figures belong to; `None` before the first.
    pub batch: Option<BatchLabel>,
    /// What the study was set up to ask, in the protocol's order.
    pub primary: Vec<OwnPrimary>,
    /// The same outcomes of other shots, sorted by class and outcome.
    pub other: Vec<OwnEffect>,
    /// Secondary outcomes, sorted by class and outcome.
    pub secondary: Vec<OwnEffect>,
    /// What could not be worked out and was not asked beforehand; secondary figures that were not
    /// given are no news and not among them.
    pub left_out: Vec<LeftOut>,
}

/// One primary outcome.
#[derive(Clone, Debug, PartialEq)]
pub struct OwnPrimary {
    /// What is asked.
    pub about: PrimaryOutcome,
    /// The own difference, or why there is none.
    pub found: Result<OwnEffect, LeftOutReason>,
}

/// One own difference, beside everybody else's.
#[derive(Clone, Debug, PartialEq)]
pub struct OwnEffect {
    /// The difference with its variance and where that comes from.
    pub effect: Effect,
    /// Its normal 95 % interval, from the scatter of these sessions' shots alone.
    pub interval: Interval,
    /// The smallest difference that the host calls worthwhile.
    pub smallest_worthwhile: Option<f64>,
    /// What is published of the same outcome, shots and gap band.
    pub pool: Result<Pool, NoPool>,
    /// Where the difference lies in the crowd; `None` without a prediction interval.
    pub place: Option<Place>,
    /// The best guess at what lasts for this player.
    pub best_guess: Estimable<Shrunken>,
    /// What would make it surer.
    pub surer: Surer,
}

/// What is published of an outcome at gaps like the contributor's.
#[derive(Clone, Debug, PartialEq)]
pub struct Pool {
    /// The estimate with its intervals.
    pub shown: Shown,
    /// Which pairs it rests on.
    pub basis: Basis,
    /// Pairs.
    pub pairs: usize,
    /// Players.
    pub players: usize,
    /// What is said of it, where it was asked beforehand.
    pub said: Option<String>,
}

/// Why there is no pooled figure beside an own one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoPool {
    /// No batch has closed yet.
    NoBatch,
    /// The gap is in no band of what is published.
    NoBand,
    /// Too few players to be public.
    TooFewPlayers,
    /// There are enough players, but no figure.
    NotEstimable(Reason),
}

/// Where an own difference lies, held against the prediction interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Inside.
    Inside,
    /// Outside, but its own interval reaches inside, so that chance may be all there is to it.
    WithinReach,
    /// Outside with its whole interval.
    Outside,
}

impl Played {
    /// How a contribution was played.
    #[must_use]
    pub fn of(contribution: &Contribution, planned: bool) -> Self {
        let moderators = Moderators::of(contribution);
        let number = |n: usize| u8::try_from(n).unwrap_or(u8::MAX);
        // A share of at most 64 couples: what is nearer to 0 than one of them is 0.
        let balanced = moderators.order.map(|order| order.abs() < 1.0 / 128.0);
        Self {
            sessions: (
                number(moderators.looser_sessions),
                number(moderators.tighter_sessions),
            ),
            planned,
            balanced,
            fastest: fastest(contribution),
        }
    }
}

fn fastest(contribution: &Contribution) -> Vec<Fastest> {
    let mut classes: Vec<ShotClass> = contribution
        .sessions
        .iter()
        .flat_map(|session| session.lines.iter().map(|line| line.class))
        .collect();
    classes.sort_unstable();
    classes.dedup();
    let of_arm = |class: ShotClass, arm: Arm| {
        let lines = contribution.lines(arm, class);
        let speeds = lines.filter_map(|line| Some(line.speed.as_ref()?.max?.kmh()));
        let kmh = speeds.max_by(f64::total_cmp)?;
        Some(Fastest { class, arm, kmh })
    };
    classes
        .into_iter()
        .flat_map(|class| Arm::ALL.iter().filter_map(move |arm| of_arm(class, *arm)))
        .collect()
}

impl OwnEffect {
    /// What the own interval allows to be said; never more than that.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        verdict_of(&[self.interval], self.smallest_worthwhile)
    }
}

impl OwnAnswer {
    /// Primary outcomes that could be worked out.
    pub fn found(&self) -> impl Iterator<Item = &OwnEffect> {
        self.primary
            .iter()
            .filter_map(|primary| primary.found.as_ref().ok())
    }

    /// Every own difference, those that the study asks for first.
    pub fn all(&self) -> impl Iterator<Item = &OwnEffect> {
        self.found().chain(&self.other).chain(&self.secondary)
    }
}

/// What a contributor's own sessions say, beside what is published.
///
/// # Errors
/// [`Reason::OutOfRange`] when a difference is too large to compute with, which intake rules out.
pub fn own(
    pair: &PairEffects,
    played: Played,
    publication: &Publication,
    findings: &Findings,
) -> Estimable<OwnAnswer> {
    // The protocol in force may divide otherwise than the one that figures were made by.
    let bands = publication.rules.bands.clone();
    let band = bands.band_of(pair.gap);
    let beside = Beside {
        publication,
        findings,
        band,
        sessions: played.sessions,
    };
    let declared = &publication.rules.primary;
    let is_declared = |outcome, class| {
        let mut declared = declared.iter();
        declared.any(|about| (about.outcome, about.class) == (outcome, class))
    };
    let primary: Estimable<Vec<OwnPrimary>> = declared
        .iter()
        .map(|about| {
            Ok(OwnPrimary {
                about: *about,
                found: found(pair, about, &beside)?,
            })
        })
        .collect();
    let others = |effects: &[Effect]| -> Estimable<Vec<OwnEffect>> {
        let others = effects.iter();
        others
            .filter(|effect| !is_declared(effect.outcome, effect.class))
            .map(|effect| beside.own_effect(effect, None))
            .collect()
    };
    let told = pair.secondary_left_out.iter();
    let told = told.filter(|left| left.reason != LeftOutReason::NotGiven);
    let left_out = pair.left_out.iter().chain(told).copied();
    Ok(OwnAnswer {
        gap: pair.gap,
        bands,
        band,
        batch: publication.batch.clone(),
        primary: primary?,
        other: others(&pair.effects)?,
        secondary: others(&pair.secondary)?,
        left_out: left_out
            .filter(|left| !is_declared(left.outcome, left.class))
            .collect(),
        played,
    })
}

/// The own difference on one primary outcome, or why there is none.
fn found(
    pair: &PairEffects,
    about: &PrimaryOutcome,
    beside: &Beside<'_>,
) -> Estimable<Result<OwnEffect, LeftOutReason>> {
    let wanted = (about.outcome, about.class);
    let effect = pair
        .effects
        .iter()
        .find(|effect| (effect.outcome, effect.class) == wanted);
    let Some(effect) = effect else {
        let mut left_out = pair.left_out.iter();
        let left_out = left_out.find(|left| (left.outcome, left.class) == wanted);
        // Shots that only one arm has, or none, are in neither list.
        return Ok(Err(
            left_out.map_or(LeftOutReason::NotGiven, |left| left.reason)
        ));
    };
    let worthwhile = about.smallest_worthwhile.map(|size| size.to_f64());
    beside.own_effect(effect, worthwhile).map(Ok)
}

/// What an own difference is put beside.
struct Beside<'a> {
    publication: &'a Publication,
    findings: &'a Findings,
    band: GapBand,
    sessions: (u8, u8),
}

impl Beside<'_> {
    fn own_effect(
        &self,
        effect: &Effect,
        smallest_worthwhile: Option<f64>,
    ) -> Estimable<OwnEffect> {
        let key = Key {
            outcome: effect.outcome,
            class: effect.class,
            band: self.band,
        };
        let interval = effect.interval()?;
        let pool = self.pool(&key);
        let prediction = pool.as_ref().ok();
        let prediction = prediction.and_then(|pool| pool.shown.prediction.ok());
        let spread = self.publication.session_spread(&key);
        Ok(OwnEffect {
            effect: *effect,
            interval,
            smallest_worthwhile,
            place: prediction.map(|prediction| place(effect.estimate, interval, prediction)),
            best_guess: match &pool {
                Ok(_) => self.best_guess(&key, effect),
                // Rows of fewer players than may be public are not pooled either.
                Err(_) => Err(Reason::FewerClustersThanAsked),
            },
            surer: surer::surer(effect, self.sessions, spread, self.publication.level)?,
            pool,
        })
    }

    fn pool(&self, key: &Key) -> Result<Pool, NoPool> {
        if self.publication.batch.is_none() {
            return Err(NoPool::NoBatch);
        }
        if self.publication.rules.bands.range(key.band) == (None, None) {
            return Err(NoPool::NoBand);
        }
        // An analysis that was not asked beforehand is listed only when it is not withheld.
        let mut analyses = self.findings.analyses.iter();
        let analysis = analyses.find(|analysis| analysis.key == *key);
        let analysis = analysis.ok_or(NoPool::TooFewPlayers)?;
        let finding = analysis.result.as_ref();
        let finding = finding.map_err(|_| NoPool::TooFewPlayers)?;
        Ok(Pool {
            shown: finding.shown.map_err(NoPool::NotEstimable)?,
            basis: analysis.basis,
            pairs: finding.pooled.k,
            players: finding.pooled.n_clusters,
            said: analysis.said.as_ref().map(|said| said.sentence.clone()),
        })
    }

    /// The best guess among the very rows that the published figure rests on.
    fn best_guess(&self, key: &Key, effect: &Effect) -> Estimable<Shrunken> {
        let rows = self.publication.rows.select(|row| row.key() == *key);
        let (_, primary) = rows.primary();
        let rows: Rows = primary.rows().collect();
        let counts = [self.sessions.0, self.sessions.1].map(usize::from);
        let measured = Measurement::new(effect.estimate, effect.variance, counts);
        let measured = measured.map_err(|_| Reason::OutOfRange)?;
        let spread = self.publication.session_spread(key);
        best_guess(&rows, spread, &measured, self.publication.level)
    }
}

fn place(estimate: f64, interval: Interval, prediction: Interval) -> Place {
    if prediction.low <= estimate && estimate <= prediction.high {
        Place::Inside
    } else if prediction.low <= interval.high && interval.low <= prediction.high {
        Place::WithinReach
    } else {
        Place::Outside
    }
}

#[cfg(test)]
pub(super) mod tests;
