//! Screening: what a machine finds in a contribution that passed the door, and whether it waits for
//! the host because of it.
//!
//! Every rule looks at figures by themselves, at how sessions agree, or at other contributions. None
//! asks which arm has more or by how much: a rule that held what points one way, or what is large,
//! would bend the pooled figure. The one that does look at the difference, [`Rule::StatisticalOutlier`],
//! never holds anything. For the same reason no figure and no sentence of a flag tells which arm had
//! more or how large a difference is, because a host decides without seeing that.
//!
//! Tests for figures that are too alike or too regular (Fisher 1936, Annals of Science 1:115, on
//! Mendel's peas; Simonsohn 2013, Psychological Science 24:1875) come in `alike`; round figures
//! (digit preference: Mosimann, Wiseman & Edelman 1995, Accountability in Research 4:31) in
//! `rounded`; how fastest shot, mean and standard deviation hang together (Samuelson 1968, Journal
//! of the American Statistical Association 63:1522) in `speeds`; percentages that no count makes
//! (Brown & Heathers 2017) come from the door; copies in `likeness`. References from memory.
//!
//! Absent on purpose: any other contribution. Likeness is worked out on marks that the shell keeps
//! and compares, and comes in as [`Likeness`].

mod alike;
mod chance;
pub mod likeness;
mod lines;
mod noticed;
mod outlier;
mod rounded;
mod speeds;
#[cfg(test)]
mod tests;

pub use likeness::{Likeness, Mark, marks};
pub use noticed::of_intake;

use crate::contribution::Contribution;
use crate::effects::PairEffects;
use crate::findings::Findings;
use crate::intake::Flag;
use crate::protocol::GapBand;
use crate::vocabulary::word_list;
use lines::Lines;

/// Version of the rules, kept with what they found. One more whenever a rule or threshold changes.
pub const RULES_VERSION: i64 = 1;

word_list! {
    /// Stable codes of what screening looks for. Those from the door keep the code they have there.
    Rule {
        /// Percentages that no whole count makes (GRIM, Brown & Heathers 2017).
        PercentImpossible = "percent_impossible",
        /// Two sessions of the pair are more alike than chance allows.
        SessionsAlike = "sessions_alike",
        /// Counts agree over all sessions better than chance allows.
        CountsTooEven = "counts_too_even",
        /// Standard deviations and fastest shots keep one proportion to their means.
        SpeedsTooRegular = "speeds_too_regular",
        /// Too many figures are round.
        RoundFigures = "round_figures",
        /// Figures of another player's contribution.
        DuplicateOfAnother = "duplicate_of_another",
        /// Figures that the same player sent before.
        DuplicateOfOwn = "duplicate_of_own",
        /// A speed beyond what the stroke, or the level, allows.
        SpeedImplausible = "speed_implausible",
        /// Fastest shot, mean and standard deviation do not fit one another.
        SpeedsInconsistent = "speeds_inconsistent",
        /// Single shots hardly differ, or differ as much as their mean.
        SpreadImplausible = "spread_implausible",
        /// A spread that is unusual for its mean.
        SpreadUnusual = "spread_unusual",
        /// A speed outside the usual range for its stroke; perhaps the unit is wrong.
        SpeedUnitSuspect = "speed_unit_suspect",
        /// A tension outside the usual range.
        TensionUnusual = "tension_unusual",
        /// The gap is smaller than the protocol asks.
        GapUnderProtocol = "gap_under_protocol",
        /// The number of timed shots is not given.
        TimedCountAssumed = "timed_count_assumed",
        /// The plan code is not known here.
        PlanNotFound = "plan_not_found",
        /// The plan was not opened before.
        PlanNotOpened = "plan_not_opened",
        /// An earlier contribution used the plan.
        PlanUsed = "plan_used",
        /// A correction names another plan than what was sent first.
        PlanNamedLater = "plan_named_later",
        /// The difference lies far from what is published. Never holds anything.
        StatisticalOutlier = "statistical_outlier",
    }
}

/// One reason to look again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScreeningFlag {
    /// What was looked for.
    pub rule: Rule,
    /// The figure it rests on, in words, such as "3 of 8 percentages".
    pub figure: Option<String>,
    /// What was found, for whoever reads it, its sender included.
    pub sentence: String,
    /// Whether the contribution waits for the host because of it.
    pub holds: bool,
    /// JSON Pointers to what it is about, for its sender alone: which session is meant could tell a
    /// host who decides blindly which arm is. Empty when it is about the whole.
    pub places: Vec<String>,
}

impl ScreeningFlag {
    fn new(rule: Rule, holds: bool, figure: Option<String>, sentence: &str) -> Self {
        Self {
            rule,
            figure,
            sentence: sentence.to_owned(),
            holds,
            places: Vec::new(),
        }
    }

    /// Whether its sender is told. That a difference lies far from the others is not among it, so
    /// that nobody mends their figures towards the crowd.
    #[must_use]
    pub fn is_told(&self) -> bool {
        self.rule != Rule::StatisticalOutlier
    }
}

/// What was found in one version of a contribution.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Screening {
    /// Every flag, those that hold first, then in the order of [`Rule::ALL`].
    pub flags: Vec<ScreeningFlag>,
    /// Whether it waits for the host.
    pub holds: bool,
}

/// What screening goes by.
#[derive(Clone, Copy, Debug)]
pub struct Given<'a> {
    /// The contribution.
    pub contribution: &'a Contribution,
    /// Its effects.
    pub pair: &'a PairEffects,
    /// What the door noticed.
    pub noticed: &'a [Flag],
    /// What is published, which the contribution is no part of; `None` when it is, or when nothing
    /// is published.
    pub published: Option<&'a Findings>,
}

/// What its sender is told of a contribution that waits, with the reasons.
#[must_use]
pub fn waiting_words(flags: &[ScreeningFlag]) -> String {
    let reasons: Vec<&str> = flags
        .iter()
        .filter(|flag| flag.holds)
        .map(|flag| flag.sentence.as_str())
        .collect();
    let mut words = "It waits until the host has looked at it, and counts once the host agrees. Such a look is routine, and unusual figures can well be right.".to_owned();
    if !reasons.is_empty() {
        words.push_str(" What the look is about: ");
        words.push_str(&reasons.join(" "));
    }
    words
}

/// What is found in a contribution as long as no other one is looked at.
#[derive(Clone, Debug, PartialEq)]
pub struct ByItself {
    flags: Vec<ScreeningFlag>,
    marks: Vec<Mark>,
}

/// Looks at a contribution by itself.
#[must_use]
pub fn by_itself(given: &Given<'_>) -> ByItself {
    let lines = Lines::of(given.contribution);
    let itn = given.contribution.background.itn;
    let mut flags = noticed::flags(given.noticed, given.contribution);
    flags.extend(alike::sessions_alike(&lines));
    flags.extend(alike::counts_too_even(&lines));
    flags.extend(alike::speeds_too_regular(&lines));
    flags.extend(rounded::round_figures(&lines));
    flags.extend(speeds::implausible(given.contribution, itn));
    flags.extend(speeds::inconsistent(&lines));
    flags.extend(speeds::spread(&lines));
    if let Some(published) = given.published
        && given.pair.band != GapBand::UnderProtocol
    {
        flags.extend(outlier::outlier(given.pair, published));
    }
    ByItself {
        flags,
        marks: marks(given.contribution),
    }
}

impl ByItself {
    /// The figures by which others that share some are found.
    #[must_use]
    pub fn marks(&self) -> &[Mark] {
        &self.marks
    }

    /// Whether another contribution with these marks, by their places, could make a difference in
    /// [`ByItself::beside`]. Most that share a figure share one that many have.
    #[must_use]
    pub fn may_repeat(&self, shared: &[usize]) -> bool {
        likeness::may_repeat(&self.marks, shared)
    }

    /// Everything that is found, once it is known which others share figures.
    #[must_use]
    pub fn beside(self, likeness: &[Likeness]) -> Screening {
        let mut flags = self.flags;
        flags.extend(likeness::duplicate(&self.marks, likeness));
        flags.sort_by_key(|flag| (!flag.holds, flag.rule));
        Screening {
            holds: flags.iter().any(|flag| flag.holds),
            flags,
        }
    }
}
