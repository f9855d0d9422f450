//! Which range the sentences of a release state.
//!
//! Whoever chooses the moment of a release by its figures has looked every day, so a release states
//! the range that may be read at any time. The ordinary range is meant for one look: it is stated
//! once, when the plan fixed the day or the number of players before recruiting opened, and by a
//! correction of that release.

use super::{ProtocolRecord, ReleaseKind};
use crate::findings::words::Said;
use crate::findings::{AnyTime, Findings};
use crate::protocol::{GapBands, ReleaseRule};
use crate::vocabulary::word_list;

word_list! {
    /// A range that sentences state.
    StatedRange {
        /// The one that may be read at any time.
        AnyTime = "any_time",
        /// The ordinary one.
        Ordinary = "ordinary",
    }
}

word_list! {
    /// Why that range is stated.
    Because {
        /// The plan fixes neither a day nor a number of players.
        NoRule = "no_rule",
        /// The plan was not frozen, or is another one than when recruiting opened.
        PlanChanged = "plan_changed",
        /// The day, or the number of players, has not come yet.
        NotYet = "not_yet",
        /// An earlier release has stated the ordinary range.
        StatedBefore = "stated_before",
        /// What the plan fixes has come.
        RuleMet = "rule_met",
    }
}

impl Because {
    /// The same in words.
    #[must_use]
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::NoRule => {
                "The plan fixed neither a day nor a number of players for a release before recruiting opened, so sentences state the range that stays valid however often one looks."
            }
            Self::PlanChanged => {
                "The analysis plan is not the one that was frozen when recruiting opened, so sentences state the range that stays valid however often one looks."
            }
            Self::NotYet => {
                "The day or the number of players that the plan fixed for a release has not come yet, so sentences state the range that stays valid however often one looks."
            }
            Self::StatedBefore => {
                "An earlier release has stated the ordinary range, which is meant for one look, so sentences state the range that stays valid however often one looks."
            }
            Self::RuleMet => {
                "The plan fixed the moment of this release before recruiting opened, so sentences state the ordinary range, which is meant for one look."
            }
        }
    }
}

/// Which range the sentences of a release state, and why.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stated {
    /// The range.
    pub range: StatedRange,
    /// Why.
    pub because: Because,
    /// The release, this one or an earlier one, that first stated the ordinary range.
    pub ordinary_first_in: Option<i64>,
}

/// The release about to be made, as far as it decides which range is stated.
#[derive(Clone, Copy, Debug)]
pub struct Moment<'a> {
    /// Its number.
    pub number: i64,
    /// Its kind.
    pub kind: ReleaseKind,
    /// Its day, as `YYYY-MM-DD` (UTC).
    pub date: &'a str,
    /// Players with a row.
    pub players: usize,
}

impl Stated {
    /// Decides for the release of a moment, given what the one before it stated.
    #[must_use]
    pub fn at(
        moment: Moment<'_>,
        protocol: &ProtocolRecord,
        rule: Option<&ReleaseRule>,
        before: Option<Self>,
    ) -> Self {
        let ordinary_first_in = before.and_then(|before| before.ordinary_first_in);
        let mends_ordinary = moment.kind == ReleaseKind::Correction
            && before.is_some_and(|before| before.range == StatedRange::Ordinary);
        let has_come = match rule {
            None => return Self::any_time(Because::NoRule, ordinary_first_in),
            // Days of this form stand in the order of their texts.
            Some(ReleaseRule::Date(day)) => day.as_str() <= moment.date,
            Some(ReleaseRule::Players(players)) => *players <= moment.players,
        };
        if !protocol.plan_held() {
            Self::any_time(Because::PlanChanged, ordinary_first_in)
        } else if !has_come {
            Self::any_time(Because::NotYet, ordinary_first_in)
        } else if ordinary_first_in.is_some() && !mends_ordinary {
            Self::any_time(Because::StatedBefore, ordinary_first_in)
        } else {
            Self {
                range: StatedRange::Ordinary,
                because: Because::RuleMet,
                ordinary_first_in: ordinary_first_in.or(Some(moment.number)),
            }
        }
    }

    const fn any_time(because: Because, ordinary_first_in: Option<i64>) -> Self {
        Self {
            range: StatedRange::AnyTime,
            because,
            ordinary_first_in,
        }
    }
}

/// The same findings, said with a range. With the ordinary one it stands in the place of the range
/// that may be read at any time, and what is said is said anew: for words and pages, not for
/// documents, which have each under its own name.
#[must_use]
pub fn as_stated(findings: &Findings, range: StatedRange, bands: &GapBands) -> Findings {
    let mut stated = findings.clone();
    if range == StatedRange::AnyTime {
        return stated;
    }
    for analysis in &mut stated.analyses {
        if let Ok(finding) = &mut analysis.result {
            finding.any_time = finding.shown.map(|shown| AnyTime {
                estimate: shown.estimate,
                interval: shown.interval,
                k: finding.pooled.k,
            });
        }
        if analysis.said.is_some() {
            analysis.said = Said::of(analysis, bands);
        }
    }
    stated
}
