//! The closed word lists of the project, each with the code that stands for it in JSON, in the
//! database and on the command line. One list here serves every door; a test holds them against
//! the `enum` lists of the published schemas.
//!
//! Absent on purpose: any wording for people. Words are chosen where they are shown.

/// Declares an enumeration whose variants each carry one stable code.
macro_rules! word_list {
    ($(#[$doc:meta])* $name:ident { $($(#[$variant_doc:meta])* $variant:ident = $code:literal,)+ }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $name {
            $($(#[$variant_doc])* $variant,)+
        }

        impl $name {
            /// Every word of the list, in its published order.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// The stable code.
            #[must_use]
            pub const fn code(self) -> &'static str {
                match self {
                    $(Self::$variant => $code,)+
                }
            }

            /// The word with this code; `None` when there is none.
            #[must_use]
            pub fn from_code(code: &str) -> Option<Self> {
                match code {
                    $($code => Some(Self::$variant),)+
                    _ => None,
                }
            }
        }
    };
}

pub(crate) use word_list;

word_list! {
    /// Which string bed a session was played with.
    Arm {
        /// The bed strung at the lower reference tension.
        Looser = "looser",
        /// The bed strung at the higher reference tension.
        Tighter = "tighter",
    }
}

word_list! {
    /// The order in which a pair's sessions are played: two, or four that balance tiring and
    /// warming up.
    Sequence {
        /// Looser first.
        LooserTighter = "looser_tighter",
        /// Tighter first.
        TighterLooser = "tighter_looser",
        /// ABBA with the looser string bed outside.
        LooserTighterTighterLooser = "looser_tighter_tighter_looser",
        /// BAAB: ABBA with the tighter string bed outside.
        TighterLooserLooserTighter = "tighter_looser_looser_tighter",
    }
}

impl Sequence {
    /// The arms in the order of play.
    #[must_use]
    pub const fn arms(self) -> &'static [Arm] {
        use Arm::{Looser, Tighter};
        match self {
            Self::LooserTighter => &[Looser, Tighter],
            Self::TighterLooser => &[Tighter, Looser],
            Self::LooserTighterTighterLooser => &[Looser, Tighter, Tighter, Looser],
            Self::TighterLooserLooserTighter => &[Tighter, Looser, Looser, Tighter],
        }
    }
}

word_list! {
    /// Why somebody mends what they sent.
    CorrectionReason {
        /// A number was typed wrongly.
        TypingMistake = "typing_mistake",
        /// A unit was wrong.
        WrongUnit = "wrong_unit",
        /// Figures of another session were sent.
        WrongSession = "wrong_session",
        /// The device was read wrongly.
        MisreadDevice = "misread_device",
        /// The player agrees to something else than before.
        ConsentChanged = "consent_changed",
        /// Any other reason.
        Other = "other",
    }
}

word_list! {
    /// What happened to a consent.
    ConsentEvent {
        /// It was given.
        Given = "given",
        /// Something else is agreed to from then on.
        Changed = "changed",
        /// It ended: the sessions were withdrawn.
        Ended = "ended",
    }
}

word_list! {
    /// The stroke half of a shot class.
    Stroke {
        /// Forehand ground strokes.
        Forehand = "forehand",
        /// Backhand ground strokes.
        Backhand = "backhand",
        /// Serves.
        Serve = "serve",
        /// Volleys.
        Volley = "volley",
        /// Every stroke together, as the contributor counted them.
        All = "all",
    }
}

word_list! {
    /// The direction half of a shot class.
    Direction {
        /// Diagonally across the court.
        Crosscourt = "crosscourt",
        /// Along the near side line.
        DownTheLine = "down_the_line",
        /// Through the middle.
        Middle = "middle",
        /// Every direction together, as the contributor counted them.
        All = "all",
    }
}

word_list! {
    /// What is compared between the two arms.
    Outcome {
        /// Mean ball speed, km/h.
        Speed = "speed",
        /// Shots that landed deep, per shot in, percentage points.
        DeepShare = "deep_share",
        /// Shots in, per shot hit, percentage points.
        InShare = "in_share",
        /// Shots with topspin, per shot of the session, percentage points.
        TopspinShare = "topspin_share",
        /// Flat shots, per shot of the session, percentage points.
        FlatShare = "flat_share",
        /// Cross-court shots, per shot of the stroke, percentage points.
        CrosscourtShare = "crosscourt_share",
        /// Rallies above the protocol's length, per rally played, percentage points.
        LongRallyShare = "long_rally_share",
        /// The hitting partner's mean ball speed, km/h.
        PartnerSpeed = "partner_speed",
    }
}

word_list! {
    /// What a player agreed to.
    ConsentScope {
        /// Counted in pooled figures only.
        Pooling = "pooling",
        /// Also as anonymised rows in the download.
        PoolingAndRows = "pooling_and_rows",
    }
}

word_list! {
    /// What a standard deviation was divided by.
    SdDivisor {
        /// The sample standard deviation.
        NMinusOne = "n-1",
        /// The population standard deviation.
        N = "n",
        /// Not known; taken as it is.
        Unknown = "unknown",
    }
}

word_list! {
    /// Which shots a mean speed is taken over.
    SpeedOver {
        /// All shots of the class.
        All = "all",
        /// Only the shots that landed in.
        In = "in",
        /// Not known.
        Unknown = "unknown",
    }
}

word_list! {
    /// Whether the player knew which string bed was in the frame.
    Knowledge {
        /// The player knew.
        Yes = "yes",
        /// The player did not know.
        No = "no",
        /// Not recorded.
        Unknown = "unknown",
    }
}

word_list! {
    /// What strings are made of.
    StringFamily {
        /// Natural gut.
        NaturalGut = "natural_gut",
        /// Synthetic gut.
        SyntheticGut = "synthetic_gut",
        /// Multifilament.
        Multifilament = "multifilament",
        /// Polyester.
        Polyester = "polyester",
        /// Aramid.
        Aramid = "aramid",
        /// Something else.
        Other = "other",
        /// Not known.
        Unknown = "unknown",
    }
}

word_list! {
    /// How the variance of an effect came about.
    VarianceSource {
        /// From the standard deviations the contributor reported.
        Reported = "reported",
        /// At least one standard deviation was imputed from the coefficient of variation of the
        /// contributors who report one.
        BorrowedCv = "borrowed_cv",
        /// At least one standard deviation was imputed from an assumed coefficient of variation,
        /// because nobody has reported one yet.
        AssumedCv = "assumed_cv",
        /// At least one standard deviation was imputed from the pair's fastest shots together with
        /// the coefficient of variation of the contributors who report one.
        Combined = "combined",
        /// From counts.
        Counts = "counts",
        /// From counts with the adjustment of Agresti & Caffo (2000), because a cell was empty or full.
        AdjustedCounts = "adjusted_counts",
        /// From counts, at least one of which is the nearest to a percentage that no whole count
        /// makes.
        NearestCounts = "nearest_counts",
    }
}

word_list! {
    /// The states of a contribution.
    State {
        /// Counted, or to be counted in the next public batch.
        Accepted = "accepted",
        /// Waiting for the host.
        Held = "held",
        /// Left out by the host, with a reason.
        Declined = "declined",
        /// Taken back by the contributor.
        Withdrawn = "withdrawn",
    }
}

word_list! {
    /// What the host may decide of a contribution.
    Verdict {
        /// It counts.
        Accept = "accepted",
        /// It does not.
        Decline = "declined",
    }
}

word_list! {
    /// On what ground the host decides.
    Ground {
        /// Unusual, and still what a session may look like.
        Plausible = "plausible",
        /// What the sender wrote explains it.
        Explained = "explained",
        /// Figures that no session gives.
        ImpossibleFigures = "impossible_figures",
        /// Figures copied from other sessions.
        Copied = "copied",
        /// A wrong unit or a typing mistake that was not mended.
        Mistyped = "mistyped",
        /// Not played as the protocol asks.
        AgainstProtocol = "against_protocol",
        /// Sent to try the service out.
        Trial = "trial",
        /// Another one, told in the host's own words.
        Other = "other",
    }
}

impl Verdict {
    /// The state of a contribution that was decided so.
    #[must_use]
    pub const fn state(self) -> State {
        match self {
            Self::Accept => State::Accepted,
            Self::Decline => State::Declined,
        }
    }

    /// The grounds on which this can be decided.
    #[must_use]
    pub const fn grounds(self) -> &'static [Ground] {
        match self {
            Self::Accept => &[Ground::Plausible, Ground::Explained, Ground::Other],
            Self::Decline => &[
                Ground::ImpossibleFigures,
                Ground::Copied,
                Ground::Mistyped,
                Ground::AgainstProtocol,
                Ground::Trial,
                Ground::Other,
            ],
        }
    }
}

word_list! {
    /// Where a study stands.
    StudyState {
        /// Being written; nobody but the host sees it.
        Draft = "draft",
        /// Takes contributions.
        Recruiting = "recruiting",
        /// Takes no further contributions; what was sent can still be mended and withdrawn.
        Closed = "closed",
    }
}

impl VarianceSource {
    /// Whether a standard deviation had to be imputed.
    #[must_use]
    pub const fn is_imputed(self) -> bool {
        matches!(self, Self::BorrowedCv | Self::AssumedCv | Self::Combined)
    }
}

impl Outcome {
    /// What a protocol may declare as primary. The others are secondary: they are never the
    /// question of a study.
    pub const PRIMARY: &'static [Self] = &[Self::Speed, Self::DeepShare, Self::InShare];

    /// The unit of an effect on this outcome.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Speed | Self::PartnerSpeed => "km/h",
            Self::DeepShare
            | Self::InShare
            | Self::TopspinShare
            | Self::FlatShare
            | Self::CrosscourtShare
            | Self::LongRallyShare => "percentage points",
        }
    }
}

impl ShotClass {
    /// Every shot of a session.
    pub const ALL: Self = Self::of(Stroke::All);

    /// A stroke in every direction together.
    #[must_use]
    pub const fn of(stroke: Stroke) -> Self {
        Self {
            stroke,
            direction: Direction::All,
        }
    }
}

/// A stroke in a direction: the class of shots one effect speaks of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ShotClass {
    /// The stroke.
    pub stroke: Stroke,
    /// The direction.
    pub direction: Direction,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_reads_back_to_its_word() {
        for word in Outcome::ALL {
            assert_eq!(Outcome::from_code(word.code()), Some(*word));
        }
        for word in VarianceSource::ALL {
            assert_eq!(VarianceSource::from_code(word.code()), Some(*word));
        }
        for word in StringFamily::ALL {
            assert_eq!(StringFamily::from_code(word.code()), Some(*word));
        }
        assert_eq!(Arm::from_code("middle"), None);
    }
}
