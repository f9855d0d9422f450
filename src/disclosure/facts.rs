//! What others may know of a pair besides its figures: coarsened, then shown only where enough
//! players are alike.
//!
//! - A level is one of three bands of the International Tennis Number, a day its month, an age of
//!   strings a whole hour, a gap a whole pound; a frame's name stands for itself however it is
//!   spelt.
//! - The partner's pace is measured like the ball's own speed and nobody knows it who was not told,
//!   so it stands with the figures and not here.

use super::CountedPair;
use crate::findings::{LevelBand, Month, Order};
use crate::vocabulary::{StringFamily, word_list};

word_list! {
    /// One thing that others may know of a pair. The order is that in which facts are shown as far
    /// as players are alike: what an analysis needs most comes first.
    Fact {
        /// Whether it was played to a plan.
        Planned = "planned",
        /// Which string bed came first.
        Order = "order",
        /// The level, in bands.
        Level = "level",
        /// Material of the main strings.
        StringFamily = "string_family",
        /// Whether the player knew in no session which string bed it was.
        Blinded = "blinded",
        /// Sessions of each arm.
        Sessions = "sessions",
        /// Age of the strings, looser minus tighter, to a whole hour.
        StringAge = "string_age_hours",
        /// The month in which it was sent.
        Month = "month",
        /// The frame's name.
        Frame = "frame",
        /// The gap to a whole pound.
        Gap = "gap_lb",
    }
}

impl Fact {
    pub(super) const fn place(self) -> usize {
        self as usize
    }
}

/// What is known of one pair: a value for each fact, as a number that stands for it; `None` where
/// the player did not tell.
pub(super) type Known = [Option<i32>; Fact::ALL.len()];

/// What is known of a pair. `frame` is a number that stands for its folded name.
pub(super) fn known(counted: &CountedPair, frame: Option<usize>) -> Known {
    let moderators = &counted.moderators;
    let mut known = [None; Fact::ALL.len()];
    let mut put = |fact: Fact, value: Option<i32>| {
        if let Some(place) = known.get_mut(fact.place()) {
            *place = value;
        }
    };
    put(Fact::Planned, Some(i32::from(counted.planned)));
    put(
        Fact::Order,
        moderators.order.map(|order| {
            number_of(
                Order::ALL,
                if 0.0 < order {
                    Order::LooserFirst
                } else if order < 0.0 {
                    Order::TighterFirst
                } else {
                    Order::Balanced
                },
            )
        }),
    );
    put(
        Fact::Level,
        moderators.itn.map(|itn| {
            number_of(
                LevelBand::ALL,
                match itn {
                    ..=3 => LevelBand::Strong,
                    4..=6 => LevelBand::Middling,
                    7.. => LevelBand::Beginning,
                },
            )
        }),
    );
    let family = moderators.mains_family;
    put(
        Fact::StringFamily,
        family.map(|family| number_of(StringFamily::ALL, family)),
    );
    put(Fact::Blinded, moderators.blinded.map(i32::from));
    let sessions = |n: usize| i32::from(u8::try_from(n).unwrap_or(u8::MAX));
    put(
        Fact::Sessions,
        Some(
            MOST_SESSIONS * sessions(moderators.looser_sessions)
                + sessions(moderators.tighter_sessions),
        ),
    );
    let age = moderators.bed_age_hours;
    put(Fact::StringAge, age.map(|age| whole(age.to_f64())));
    put(Fact::Month, Some(counted.month.number()));
    put(
        Fact::Frame,
        frame.and_then(|frame| i32::try_from(frame).ok()),
    );
    put(
        Fact::Gap,
        i32::try_from(counted.pair.gap.nearest_pound()).ok(),
    );
    known
}

/// More than one arm can have.
const MOST_SESSIONS: i32 = 1_000;

/// Sessions of the looser and of the tighter arm.
pub(super) fn sessions(number: i32) -> Option<(u8, u8)> {
    let [looser, tighter] = [number / MOST_SESSIONS, number % MOST_SESSIONS];
    Some((u8::try_from(looser).ok()?, u8::try_from(tighter).ok()?))
}

fn number_of<T: PartialEq>(all: &[T], value: T) -> i32 {
    let place = all.iter().position(|other| *other == value);
    place
        .and_then(|place| i32::try_from(place).ok())
        .unwrap_or_default()
}

/// The value that a number stands for.
pub(super) fn value_of<T: Copy>(all: &[T], number: i32) -> Option<T> {
    all.get(usize::try_from(number).ok()?).copied()
}

/// A frame's name without its capitals and its spaces at the ends or in a row.
pub(super) fn folded(name: &str) -> String {
    let words: Vec<&str> = name.split_whitespace().collect();
    words.join(" ").to_lowercase()
}

/// A value to the nearest whole number.
#[expect(
    clippy::cast_possible_truncation,
    reason = "intake bounds speeds by 500 km/h, ages by 500 hours and gaps by 85 lb"
)]
pub(super) fn whole(value: f64) -> i32 {
    value.round() as i32
}

impl Month {
    /// Months since the year 0.
    pub(super) fn number(self) -> i32 {
        12 * i32::from(self.year) + i32::from(self.month) - 1
    }

    /// The month of a number.
    pub(super) fn of_number(number: i32) -> Option<Self> {
        Some(Self {
            year: i16::try_from(number.div_euclid(12)).ok()?,
            month: u8::try_from(number.rem_euclid(12) + 1).ok()?,
        })
    }
}
