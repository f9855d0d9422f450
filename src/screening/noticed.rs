//! What the door noticed, as flags of screening: one for each code, without the figures that the
//! door names, since these could tell which arm had more.

use super::{Rule, ScreeningFlag};
use crate::contribution::{Contribution, DeepShare, Share, ShotLine};
use crate::intake::{Flag, FlagCode};

/// From so many impossible percentages on a contribution is held. One may come of a mistyped count;
/// two need two.
const IMPOSSIBLE_HELD: usize = 2;

/// The flags for what the door noticed.
pub(super) fn flags(noticed: &[Flag], contribution: &Contribution) -> Vec<ScreeningFlag> {
    FlagCode::ALL
        .iter()
        .filter_map(|code| {
            let found: Vec<&Flag> = noticed.iter().filter(|flag| flag.code == *code).collect();
            let first = found.first()?;
            let mut flag = of_code(first);
            if *code == FlagCode::PercentImpossible {
                let n_percents = n_percents(contribution);
                flag.figure = Some(format!("{} of {n_percents} percentages", found.len()));
                flag.holds = IMPOSSIBLE_HELD <= found.len();
            }
            flag.places = found.iter().map(|flag| flag.pointer.clone()).collect();
            Some(flag)
        })
        .collect()
}

/// One thing that the door noticed.
#[must_use]
pub fn of_intake(noticed: &Flag) -> ScreeningFlag {
    ScreeningFlag {
        places: vec![noticed.pointer.clone()],
        ..of_code(noticed)
    }
}

fn of_code(noticed: &Flag) -> ScreeningFlag {
    let (rule, holds, sentence) = match noticed.code {
        FlagCode::PercentImpossible => (
            Rule::PercentImpossible,
            false,
            "No whole number of shots makes some of the percentages; the nearest counts are used. Is a percentage mistyped, or the number of shots?",
        ),
        FlagCode::SpeedUnitSuspect => (
            Rule::SpeedUnitSuspect,
            true,
            "A mean speed is unusual for its stroke; is the unit right?",
        ),
        FlagCode::SpreadUnusual => (
            Rule::SpreadUnusual,
            false,
            "A standard deviation is unusual for its mean; is it a standard deviation of single shots?",
        ),
        FlagCode::TimedCountAssumed => (
            Rule::TimedCountAssumed,
            false,
            "The number of timed shots is not given, so all that could be timed are taken as timed.",
        ),
        FlagCode::GapUnderProtocol => (
            Rule::GapUnderProtocol,
            false,
            "The gap is smaller than the protocol asks; it is kept apart from the primary analysis.",
        ),
        FlagCode::TensionUnusual => (Rule::TensionUnusual, false, noticed.sentence.as_str()),
        FlagCode::PlanNotFound => (Rule::PlanNotFound, false, noticed.sentence.as_str()),
        FlagCode::PlanNotOpened => (Rule::PlanNotOpened, false, noticed.sentence.as_str()),
        FlagCode::PlanUsed => (Rule::PlanUsed, false, noticed.sentence.as_str()),
        FlagCode::PlanNamedLater => (Rule::PlanNamedLater, false, noticed.sentence.as_str()),
    };
    ScreeningFlag::new(rule, holds, None, sentence)
}

/// Percentages of shots that a contribution gives.
fn n_percents(contribution: &Contribution) -> usize {
    let lines = contribution
        .sessions
        .iter()
        .flat_map(|session| &session.lines);
    let of_line = |line: &ShotLine| {
        let landed_in = matches!(line.landed_in, Some(Share::Percent(_)));
        let deep = matches!(
            line.deep,
            Some(DeepShare::PercentOfHit(_) | DeepShare::OfIn(Share::Percent(_)))
        );
        usize::from(landed_in) + usize::from(deep)
    };
    lines.map(of_line).sum()
}
