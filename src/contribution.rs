//! A contribution after the door: what the computing modules may rely on.
//!
//! A value of [`Contribution`] exists only when every rule of intake holds: both arms are there,
//! all sessions of one arm share one reference tension, looser is looser, `deep <= in <= hit`.
//! It carries what is computed on. Everything else a contributor sent stays in the verbatim
//! document in the store.

use crate::units::{Hundredths, Speed, Tension};
use crate::vocabulary::{Arm, ConsentScope, SdDivisor, ShotClass, SpeedOver};

/// One pair of arms of one player.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contribution {
    /// What the player agreed to.
    pub consent_scope: ConsentScope,
    /// Which wording of the consent text was agreed to.
    pub consent_text_version: String,
    /// The plan it says it was played under.
    pub plan_code: Option<String>,
    /// Two or more sessions.
    pub sessions: Vec<Session>,
}

/// One block of hitting with one string bed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Session {
    /// Which bed.
    pub arm: Arm,
    /// Reference tension, the mean of mains and crosses.
    pub tension: Tension,
    /// One line for each shot class.
    pub lines: Vec<ShotLine>,
}

/// What one session says of one shot class.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ShotLine {
    /// The class.
    pub class: ShotClass,
    /// Shots hit, at least 1.
    pub hit: i64,
    /// Shots in.
    pub landed_in: Option<Share>,
    /// Shots in and deep.
    pub deep: Option<DeepShare>,
    /// Ball speed.
    pub speed: Option<SpeedSummary>,
}

/// A part of a number of shots, as entered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Share {
    /// As a count.
    Count(i64),
    /// As a percentage, 0 to 100.
    Percent(Hundredths),
}

/// Shots in and deep, as entered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DeepShare {
    /// A count, or a percentage of the shots in.
    OfIn(Share),
    /// A percentage of the shots hit.
    PercentOfHit(Hundredths),
}

/// Ball speed of one session and class.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SpeedSummary {
    /// Mean.
    pub mean: Speed,
    /// Standard deviation, positive.
    pub sd: Option<Speed>,
    /// What the standard deviation was divided by.
    pub sd_divisor: SdDivisor,
    /// Number of timed shots.
    pub n: Option<i64>,
    /// Which shots were timed.
    pub over: SpeedOver,
}

impl Contribution {
    /// The reference tension of an arm; `None` when the arm is absent, which intake refuses.
    #[must_use]
    pub fn tension(&self, arm: Arm) -> Option<Tension> {
        self.sessions
            .iter()
            .find(|session| session.arm == arm)
            .map(|session| session.tension)
    }

    /// Tighter minus looser reference tension.
    #[must_use]
    pub fn gap(&self) -> Option<Tension> {
        Some(
            self.tension(Arm::Tighter)?
                .minus(self.tension(Arm::Looser)?),
        )
    }

    /// The lines of one arm and class, in the order of the sessions.
    pub fn lines(&self, arm: Arm, class: ShotClass) -> impl Iterator<Item = &ShotLine> {
        self.sessions
            .iter()
            .filter(move |session| session.arm == arm)
            .flat_map(|session| &session.lines)
            .filter(move |line| line.class == class)
    }

    /// Every class that has a line in both arms, sorted.
    #[must_use]
    pub fn classes_in_both_arms(&self) -> Vec<ShotClass> {
        let mut classes: Vec<ShotClass> = self
            .sessions
            .iter()
            .flat_map(|session| session.lines.iter().map(|line| line.class))
            .collect();
        classes.sort_unstable();
        classes.dedup();
        classes.retain(|class| {
            Arm::ALL
                .iter()
                .all(|arm| self.lines(*arm, *class).next().is_some())
        });
        classes
    }
}
