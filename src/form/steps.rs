//! The steps of the form, and the order of play that decides which of them there are.

use crate::vocabulary::{Arm, Sequence, word_list};

/// Most sessions that the form has room for: a sequence of four.
pub const MOST_SESSIONS: usize = 4;

word_list! {
    /// One step of the form, in the order in which they are taken.
    Step {
        /// Order of play, tensions, plan.
        Setup = "setup",
        /// What measured, in which units, for which shots.
        Device = "device",
        /// The session that was played first.
        First = "session-1",
        /// The second.
        Second = "session-2",
        /// The third.
        Third = "session-3",
        /// The fourth.
        Fourth = "session-4",
        /// Player, strings, court: all of it optional.
        About = "about",
        /// What will be sent, and consent.
        Send = "send",
    }
}

impl Step {
    /// The session it is about, counted from 1.
    #[must_use]
    pub const fn session(self) -> Option<usize> {
        match self {
            Self::First => Some(1),
            Self::Second => Some(2),
            Self::Third => Some(3),
            Self::Fourth => Some(4),
            Self::Setup | Self::Device | Self::About | Self::Send => None,
        }
    }

    /// The step of a session, counted from 1.
    #[must_use]
    pub const fn of_session(number: usize) -> Option<Self> {
        match number {
            1 => Some(Self::First),
            2 => Some(Self::Second),
            3 => Some(Self::Third),
            4 => Some(Self::Fourth),
            _ => None,
        }
    }

    /// The steps that there are with so many sessions.
    #[must_use]
    pub fn all_with(n_sessions: usize) -> Vec<Self> {
        let belongs = |step: &Self| step.session().is_none_or(|number| number <= n_sessions);
        Self::ALL.iter().copied().filter(belongs).collect()
    }
}

/// What the player says about the order of play.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// It was this one.
    Played(Sequence),
    /// One session of each, nobody knows any more which was first.
    Unknown,
}

impl Order {
    /// What stands for [`Order::Unknown`] in the field.
    pub const UNKNOWN: &'static str = "unknown";

    /// The order with this code; `None` when there is none.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        if code == Self::UNKNOWN {
            return Some(Self::Unknown);
        }
        Sequence::from_code(code).map(Self::Played)
    }

    /// The stable code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Played(sequence) => sequence.code(),
            Self::Unknown => Self::UNKNOWN,
        }
    }

    /// The arms, in the order of play where that is known.
    #[must_use]
    pub const fn arms(self) -> &'static [Arm] {
        match self {
            Self::Played(sequence) => sequence.arms(),
            Self::Unknown => Sequence::LooserTighter.arms(),
        }
    }
}
