//! How sure a finding is, which chooses its verb.
//!
//! After the wording of GRADE guidance 26 (Santesso et al. 2020, J Clin Epidemiol 119:126): high
//! "makes", moderate "probably makes", low "may make", very low "we are very unsure". The rule is
//! the project's: unrandomised self-reports start low; a planned, hence randomised, order raises by
//! one and blinding by one more; each of heterogeneity, imprecision and fragility lowers by one;
//! retrospective pairs never rise above low. No p value is asked.

use crate::vocabulary::word_list;

word_list! {
    /// How sure, from the least.
    CertaintyLevel {
        /// "We are very unsure."
        VeryLow = "very_low",
        /// "May."
        Low = "low",
        /// "Probably."
        Moderate = "moderate",
        /// Said outright.
        High = "high",
    }
}

word_list! {
    /// What decided.
    CertaintyReason {
        /// Where every finding starts.
        SelfReported = "self_reported",
        /// The order was drawn before hitting.
        PlannedOrder = "planned_order",
        /// Few players knew which string bed they had.
        Blinded = "blinded",
        /// Effects differ far beyond chance.
        Heterogeneous = "heterogeneous",
        /// Few players, or a range with zero inside.
        Imprecise = "imprecise",
        /// It leans on single players or pairs, or small sessions or another way of asking point
        /// elsewhere.
        Fragile = "fragile",
        /// Without a plan nothing rises above low.
        Unplanned = "unplanned",
        /// Nor does what was asked after the data could be seen.
        Exploratory = "exploratory",
    }
}

impl CertaintyLevel {
    /// The level in plain words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::VeryLow => "very low",
            Self::Low => "low",
            Self::Moderate => "moderate",
            Self::High => "high",
        }
    }
}

impl CertaintyReason {
    /// The reason in words.
    #[must_use]
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::SelfReported => {
                "Players chose to take part and reported themselves, so certainty starts low."
            }
            Self::PlannedOrder => {
                "The order of the string beds was drawn before hitting, which raises it."
            }
            Self::Blinded => {
                "Nearly all players did not know which string bed they had, which raises it."
            }
            Self::Heterogeneous => "Effects differ far beyond chance, which lowers it.",
            Self::Imprecise => {
                "There are few players, or a range has zero inside, which lowers it."
            }
            Self::Fragile => {
                "It leans on single players or pairs, or small sessions or another way of asking point elsewhere, which lowers it."
            }
            Self::Unplanned => {
                "Pairs were sent without a plan, and who saw a gain is likelier to send it, so it cannot rise above low."
            }
            Self::Exploratory => {
                "It was asked after the data could be seen, so it cannot rise above low, nor above the analysis that it is a part of."
            }
        }
    }
}

/// What the rule looks at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is one independent question of the rule"
)]
pub struct Evidence {
    /// Whether the finding rests on planned pairs alone.
    pub planned: bool,
    /// Whether at least four in five of its pairs are known to be blinded.
    pub blinded: bool,
    /// Whether heterogeneity is large.
    pub heterogeneous: bool,
    /// Whether there are fewer than [`super::caveats::FEW_PLAYERS`] players or the range has zero inside.
    pub imprecise: bool,
    /// Whether it leans on single players or pairs, or small sessions (of speed) or the sign of
    /// another way of asking point elsewhere.
    pub fragile: bool,
}

/// Part of the pairs that must be known to be blinded; the project's limit.
pub const BLINDED_PART: f64 = 0.8;

/// A level with its reasons, in the order in which they were weighed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Certainty {
    /// How sure.
    pub level: CertaintyLevel,
    /// Why.
    pub reasons: Vec<CertaintyReason>,
}

/// Weighs the evidence.
#[must_use]
pub fn certainty(evidence: Evidence) -> Certainty {
    let mut reasons = vec![CertaintyReason::SelfReported];
    let mut steps: i32 = 1;
    for (holds, step, reason) in [
        (evidence.planned, 1, CertaintyReason::PlannedOrder),
        (evidence.blinded, 1, CertaintyReason::Blinded),
        (evidence.heterogeneous, -1, CertaintyReason::Heterogeneous),
        (evidence.imprecise, -1, CertaintyReason::Imprecise),
        (evidence.fragile, -1, CertaintyReason::Fragile),
    ] {
        if holds {
            steps += step;
            reasons.push(reason);
        }
    }
    if !evidence.planned {
        reasons.push(CertaintyReason::Unplanned);
        steps = steps.min(1);
    }
    let level = match steps {
        ..=0 => CertaintyLevel::VeryLow,
        1 => CertaintyLevel::Low,
        2 => CertaintyLevel::Moderate,
        3.. => CertaintyLevel::High,
    };
    Certainty { level, reasons }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: Evidence = Evidence {
        planned: false,
        blinded: false,
        heterogeneous: false,
        imprecise: false,
        fragile: false,
    };

    fn level(evidence: Evidence) -> CertaintyLevel {
        certainty(evidence).level
    }

    #[test]
    fn self_reports_start_low_and_without_a_plan_never_rise() {
        assert_eq!(level(PLAIN), CertaintyLevel::Low);
        let blinded = Evidence {
            blinded: true,
            ..PLAIN
        };
        assert_eq!(level(blinded), CertaintyLevel::Low);
        assert_eq!(
            certainty(blinded).reasons.last(),
            Some(&CertaintyReason::Unplanned)
        );
    }

    #[test]
    fn a_plan_and_blinding_raise_and_each_doubt_lowers() {
        let planned = Evidence {
            planned: true,
            ..PLAIN
        };
        assert_eq!(level(planned), CertaintyLevel::Moderate);
        let best = Evidence {
            blinded: true,
            ..planned
        };
        assert_eq!(level(best), CertaintyLevel::High);
        let doubts: [fn(Evidence) -> Evidence; 3] = [
            |evidence| Evidence {
                heterogeneous: true,
                ..evidence
            },
            |evidence| Evidence {
                imprecise: true,
                ..evidence
            },
            |evidence| Evidence {
                fragile: true,
                ..evidence
            },
        ];
        for doubt in doubts {
            assert_eq!(level(doubt(best)), CertaintyLevel::Moderate);
            assert_eq!(level(doubt(planned)), CertaintyLevel::Low);
            assert_eq!(level(doubt(PLAIN)), CertaintyLevel::VeryLow);
        }
    }
}
