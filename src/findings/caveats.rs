//! What a reader has to hold against a finding, as data with one wording each.

use crate::numbers;

/// A caveat with the figure it rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Caveat {
    /// So few players that intervals by large-sample theory are doubtful.
    FewPlayers {
        /// How many.
        players: usize,
    },
    /// One player carries much of the pooled estimate.
    OnePlayerDominates {
        /// Share of the weights, 0 to 1.
        share: f64,
    },
    /// Effects differ far beyond chance.
    HeterogeneityLarge {
        /// I squared, 0 to 1.
        i_squared: f64,
    },
    /// Much of the pooled estimate rests on imputed standard deviations.
    ImputedShareLarge {
        /// Share of the weights, 0 to 1.
        share: f64,
    },
    /// The interval has zero inside it, the ordinary one or the one that may be read at any time.
    IntervalSpansZero,
    /// Imprecise effects differ from precise ones.
    SmallStudiesDiffer {
        /// p value of the change with the standard error, by random-effects regression.
        p: f64,
    },
    /// One effect claims to be so exact that it outweighs the rest wherever weights are those of
    /// sampling alone.
    OneEffectOutweighs {
        /// Its share of the weights `1 / v`, 0 to 1.
        share: f64,
    },
    /// Leaving out one player moves the interval onto zero or off it.
    RestsOnOnePlayer {
        /// How many players do so.
        players: usize,
    },
    /// Another way of asking gives an estimate of the other sign.
    SignTurns,
    /// The differences between players hold day-to-day noise.
    HoldsDayToDayNoise,
    /// Pairs were sent without a plan.
    Retrospective,
}

/// Fewest players of a precise finding; the project's limit, twice what an any-time range needs.
pub const FEW_PLAYERS: usize = 20;

/// With equal weights five players, the fewest shown, carry a fifth each; the project's limit.
const DOMINATING_SHARE: f64 = 0.3;

/// Whether a share says that one of `n` dominates. Of so few that equal shares would be over the
/// limit, it has to be half way from an equal share to all (the project's limit); one alone has all
/// of it and dominates nobody.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "a count of effects")]
pub fn dominates(share: f64, n: usize) -> bool {
    let equal = 1.0 / n as f64;
    let limit = if equal < DOMINATING_SHARE {
        DOMINATING_SHARE
    } else {
        f64::midpoint(equal, 1.0)
    };
    1 < n && limit < share
}

/// "High" in Higgins, Thompson, Deeks & Altman 2003 (BMJ 327:557), from memory.
pub const LARGE_I_SQUARED: f64 = 0.75;

/// More than half; the project's limit.
pub const LARGE_IMPUTED_SHARE: f64 = 0.5;

/// The limit that Egger et al. 1997 (BMJ 315:629) took for such tests, which have little power; from
/// memory.
pub const SMALL_STUDIES_P: f64 = 0.1;

impl Caveat {
    /// A short stable name.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::FewPlayers { .. } => "few_players",
            Self::OnePlayerDominates { .. } => "one_player_dominates",
            Self::HeterogeneityLarge { .. } => "heterogeneity_large",
            Self::ImputedShareLarge { .. } => "imputed_share_large",
            Self::IntervalSpansZero => "interval_spans_zero",
            Self::SmallStudiesDiffer { .. } => "small_studies_differ",
            Self::OneEffectOutweighs { .. } => "one_effect_outweighs",
            Self::RestsOnOnePlayer { .. } => "rests_on_one_player",
            Self::SignTurns => "sign_turns",
            Self::HoldsDayToDayNoise => "holds_day_to_day_noise",
            Self::Retrospective => "retrospective",
        }
    }

    /// Every code, in the order in which caveats are listed.
    pub const CODES: [&'static str; 11] = [
        "retrospective",
        "few_players",
        "interval_spans_zero",
        "heterogeneity_large",
        "holds_day_to_day_noise",
        "one_player_dominates",
        "one_effect_outweighs",
        "rests_on_one_player",
        "imputed_share_large",
        "small_studies_differ",
        "sign_turns",
    ];

    /// The figure it rests on.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "a count of players")]
    pub const fn figure(self) -> Option<f64> {
        match self {
            Self::FewPlayers { players } | Self::RestsOnOnePlayer { players } => {
                Some(players as f64)
            }
            Self::OnePlayerDominates { share }
            | Self::OneEffectOutweighs { share }
            | Self::ImputedShareLarge { share } => Some(share),
            Self::HeterogeneityLarge { i_squared } => Some(i_squared),
            Self::SmallStudiesDiffer { p } => Some(p),
            Self::IntervalSpansZero
            | Self::SignTurns
            | Self::HoldsDayToDayNoise
            | Self::Retrospective => None,
        }
    }

    /// The caveat in words.
    #[must_use]
    pub fn sentence(self) -> String {
        match self {
            Self::FewPlayers { players } => {
                let players = u64::try_from(players).unwrap_or(u64::MAX);
                format!(
                    "Only {} so far; ranges of so few are rough.",
                    numbers::counted(players, "player", "players")
                )
            }
            Self::OnePlayerDominates { share } => format!(
                "One player carries {} of the pooled estimate.",
                numbers::percent(share, 0)
            ),
            Self::HeterogeneityLarge { i_squared } => format!(
                "Effects differ far beyond chance: I\u{B2} is {}. The mean says little about one player.",
                numbers::percent(i_squared, 0)
            ),
            Self::ImputedShareLarge { share } => format!(
                "{} of the pooled estimate rests on spreads of speed that had to be filled in.",
                numbers::percent(share, 0)
            ),
            Self::IntervalSpansZero => {
                "A range has zero inside it: the data do not tell the direction.".to_owned()
            }
            Self::SmallStudiesDiffer { p } => format!(
                "Small sessions give other results than large ones ({}). Selective sending is one of several possible reasons.",
                numbers::p_value(p)
            ),
            Self::OneEffectOutweighs { share } => format!(
                "One pair claims to be so exact that it holds {} of the weights by sampling error alone. The range for another pair of sessions rests on it; its spread may be a slip.",
                numbers::percent(share, 0)
            ),
            Self::RestsOnOnePlayer { players: 1 } => {
                "Leaving out one certain player moves the range onto zero or off it.".to_owned()
            }
            Self::RestsOnOnePlayer { players } => format!(
                "Leaving out any one of {players} players moves the range onto zero or off it."
            ),
            Self::SignTurns => {
                "At least one other way of asking gives an estimate of the other sign.".to_owned()
            }
            Self::HoldsDayToDayNoise => "What looks like differences between players (\u{3C4}, I\u{B2}, the range for another pair of sessions) holds their good and bad days too.".to_owned(),
            Self::Retrospective => "Pairs were sent without a plan, and who saw a gain is likelier to send it.".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Caveat, dominates};

    #[test]
    fn of_a_few_alike_none_dominates() {
        for n in 1..=40_u32 {
            assert!(!dominates(1.0 / f64::from(n), n as usize), "{n}");
        }
        assert!(dominates(0.8, 2) && !dominates(0.7, 2));
        assert!(dominates(0.7, 3) && !dominates(0.6, 3));
        // Every published analysis, of five players or more, is held against the limit itself.
        assert!(dominates(0.31, 5) && !dominates(0.3, 5));
    }

    #[test]
    fn one_player_is_one_player() {
        assert_eq!(
            Caveat::FewPlayers { players: 1 }.sentence(),
            "Only 1 player so far; ranges of so few are rough."
        );
    }

    #[test]
    fn every_caveat_has_its_code_in_the_list_and_a_sentence() {
        let all = [
            Caveat::Retrospective,
            Caveat::FewPlayers { players: 6 },
            Caveat::IntervalSpansZero,
            Caveat::HeterogeneityLarge { i_squared: 0.8 },
            Caveat::HoldsDayToDayNoise,
            Caveat::OnePlayerDominates { share: 0.4 },
            Caveat::OneEffectOutweighs { share: 0.9 },
            Caveat::RestsOnOnePlayer { players: 3 },
            Caveat::ImputedShareLarge { share: 0.6 },
            Caveat::SmallStudiesDiffer { p: 0.03 },
            Caveat::SignTurns,
        ];
        assert_eq!(all.map(Caveat::code), Caveat::CODES);
        for caveat in all {
            assert!(caveat.sentence().ends_with('.'), "{caveat:?}");
        }
        assert_eq!(
            Caveat::ImputedShareLarge { share: 0.6 }.sentence(),
            "60\u{A0}% of the pooled estimate rests on spreads of speed that had to be filled in."
        );
    }
}
