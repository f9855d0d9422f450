//! A contribution after the door: what the computing modules may rely on.
//!
//! A value of [`Contribution`] exists only when every rule of intake holds: both arms are there,
//! all sessions of one arm share one reference tension, looser is looser, `deep <= in <= hit`.
//! It carries what is computed on. Everything else a contributor sent stays in the verbatim
//! document in the store.

mod moderators;

pub use moderators::Moderators;

use crate::units::{Hundredths, Speed, Tension};
use crate::vocabulary::{
    Arm, ConsentScope, Knowledge, SdDivisor, ShotClass, SpeedOver, StringFamily,
};

/// One pair of arms of one player.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contribution {
    /// What the player agreed to.
    pub consent_scope: ConsentScope,
    /// Which wording of the consent text was agreed to.
    pub consent_text_version: String,
    /// The plan it says it was played under.
    pub plan_code: Option<String>,
    /// Who hit, and with which string beds.
    pub background: Background,
    /// Two or more sessions.
    pub sessions: Vec<Session>,
}

/// What holds for all sessions of a pair and is computed on. Nothing of it is required.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Background {
    /// Level on the International Tennis Number, 1 (strongest) to 10; `None` when not known.
    pub itn: Option<i64>,
    /// The frame as the player calls it, on one line; `None` when not given.
    pub frame: Option<String>,
    /// Material of the main strings; `None` when not given.
    pub mains_family: Option<StringFamily>,
    /// The looser string bed when the sessions began.
    pub looser_bed: StringBed,
    /// The tighter string bed when the sessions began.
    pub tighter_bed: StringBed,
}

/// Age of one string bed when the sessions began.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StringBed {
    /// Hours of play on it.
    pub hours_played: Option<Hundredths>,
    /// Days since it was strung.
    pub days_since_stringing: Option<Hundredths>,
}

/// One block of hitting with one string bed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Session {
    /// Which bed.
    pub arm: Arm,
    /// Reference tension, the mean of mains and crosses.
    pub tension: Tension,
    /// What else is known of it.
    pub conditions: Conditions,
    /// One line for each shot class.
    pub lines: Vec<ShotLine>,
}

/// What is known of one session beside its shots. Nothing of it is required.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Conditions {
    /// Place in time: 1 was played first; no two sessions share one.
    pub order: Option<i64>,
    /// Whether the player knew which string bed this was.
    pub knew_tension: Knowledge,
    /// The hitting partner's ball speed.
    pub partner: Option<PartnerSpeed>,
    /// The spin of all shots.
    pub spin: Option<Spin>,
    /// The rallies.
    pub rallies: Option<Rallies>,
}

impl Default for Conditions {
    fn default() -> Self {
        Self {
            order: None,
            knew_tension: Knowledge::Unknown,
            partner: None,
            spin: None,
            rallies: None,
        }
    }
}

/// The hitting partner's ball speed in one session.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PartnerSpeed {
    /// Mean.
    pub mean: Speed,
    /// Standard deviation, positive.
    pub sd: Option<Speed>,
    /// Number of timed shots.
    pub n: Option<i64>,
}

/// The spin of all shots of one session, as entered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spin {
    /// As counts of shots.
    Counts {
        /// Shots with topspin.
        topspin: i64,
        /// Flat shots.
        flat: i64,
        /// Sliced shots.
        slice: i64,
    },
    /// As percentages that add to 100 but for rounding.
    Percents {
        /// Shots with topspin.
        topspin: Hundredths,
        /// Flat shots.
        flat: Hundredths,
    },
}

/// The rallies of one session.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rallies {
    /// Rallies played.
    pub played: i64,
    /// Rallies longer than the protocol's rally length.
    pub above_length: Option<i64>,
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
    /// Lag-1 autocorrelation of the speeds in the order of play, -1 to 0.99; given only beside a
    /// standard deviation.
    pub lag1: Option<Hundredths>,
    /// The fastest shot, not slower than the mean. Shown, never pooled: its expectation grows with
    /// the number of shots.
    pub max: Option<Speed>,
    /// Number of timed shots.
    pub n: Option<i64>,
    /// Which shots were timed.
    pub over: SpeedOver,
}

impl Session {
    /// The line of a class; there is at most one.
    #[must_use]
    pub fn line(&self, class: ShotClass) -> Option<&ShotLine> {
        self.lines.iter().find(|line| line.class == class)
    }
}

impl Contribution {
    /// The sessions of one arm, in the order they were given.
    pub fn of_arm(&self, arm: Arm) -> impl Iterator<Item = &Session> {
        self.sessions
            .iter()
            .filter(move |session| session.arm == arm)
    }

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
        self.of_arm(arm)
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
