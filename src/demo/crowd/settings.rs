//! The generator's settings, as written in `fixtures/demo/settings.json`.
//!
//! Every section carries `about` and `provenance`, which say what it is and where its figures
//! come from; the generator does not read them, and leaving one out is an error. Shares and their
//! effects are in percentage points, speeds in km/h, parts of the players in 0 to 1.

use crate::units::{Hundredths, Tension, TensionUnit};
use crate::vocabulary::Outcome;
use serde::{Deserialize, Deserializer};

/// Everything that shapes the invented crowd.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// What the settings are.
    pub about: String,
    /// Where they come from.
    pub provenance: String,
    /// Seed of every draw.
    pub seed: u64,
    /// Short name of the study that the contributions address.
    pub study: String,
    /// The consent text that the players agree to.
    pub consent_text_version: String,
    pub(super) truth: Truth,
    pub(super) noise: Noise,
    pub(super) levels: Levels,
    pub(super) classes: Classes,
    pub(super) gaps: Gaps,
    pub(super) habits: Habits,
    pub(super) others: Others,
}

impl Settings {
    /// The settings that ship with the program.
    ///
    /// # Errors
    /// When the embedded file does not have the form of this type, which a test rules out.
    pub fn embedded() -> Result<Self, serde_json::Error> {
        serde_json::from_str(include_str!("../../../fixtures/demo/settings.json"))
    }
}

/// What tension does: mean effects proportional to the gap, and how players differ.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Truth {
    #[serde(rename = "about")]
    _about: String,
    #[serde(rename = "provenance")]
    _provenance: String,
    speed: Effect,
    deep_share: Effect,
    in_share: Effect,
    /// Correlation of a player's own effects on speed and in share.
    pub(super) speed_with_in_share: f64,
}

impl Truth {
    pub(super) const fn of(&self, outcome: Outcome) -> Effect {
        match outcome {
            Outcome::Speed => self.speed,
            Outcome::DeepShare => self.deep_share,
            Outcome::InShare => self.in_share,
            // Spin, directions, rallies and the partner are drawn alike in both arms.
            Outcome::TopspinShare
            | Outcome::FlatShare
            | Outcome::CrosscourtShare
            | Outcome::LongRallyShare
            | Outcome::PartnerSpeed => Effect {
                per_lb: 0.0,
                player_sd: 0.0,
            },
        }
    }
}

/// The true effect on one outcome.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Effect {
    /// Mean per pound of gap, looser minus tighter.
    pub(super) per_lb: f64,
    /// Between-player standard deviation at any gap.
    pub(super) player_sd: f64,
}

/// How sessions and shots vary.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Noise {
    #[serde(rename = "about")]
    _about: String,
    #[serde(rename = "provenance")]
    _provenance: String,
    pub(super) day_sd: ByOutcome,
    /// Change in speed with each later session.
    pub(super) period_kmh: f64,
    /// Median coefficient of variation of shot speed.
    pub(super) shot_cv: f64,
    /// Between-player standard deviation of its logarithm.
    pub(super) shot_cv_log_sd: f64,
    /// Shape of the shifted lognormal that shot speeds follow.
    pub(super) skew_shape: f64,
    pub(super) autocorrelation: Between,
    pub(super) partner_sd_kmh: f64,
    /// Change in the player's speed per unit of the partner's.
    pub(super) partner_pace_ratio: f64,
}

/// One figure for each outcome.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ByOutcome {
    pub(super) speed: f64,
    pub(super) deep_share: f64,
    pub(super) in_share: f64,
}

/// A range.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Between {
    pub(super) low: f64,
    pub(super) high: f64,
}

/// Levels of play, by International Tennis Number.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Levels {
    #[serde(rename = "about")]
    _about: String,
    #[serde(rename = "provenance")]
    _provenance: String,
    pub(super) lowest: i64,
    pub(super) highest: i64,
    pub(super) forehand_kmh: Ladder,
    pub(super) in_share: Ladder,
    pub(super) deep_share: Ladder,
}

/// A figure that changes with the level.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Ladder {
    pub(super) at_lowest: f64,
    pub(super) per_level: f64,
    pub(super) player_sd: f64,
}

/// Shot classes besides forehand/all.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Classes {
    #[serde(rename = "about")]
    _about: String,
    #[serde(rename = "provenance")]
    _provenance: String,
    pub(super) backhand: Backhand,
    pub(super) serve: Serve,
    pub(super) forehand_crosscourt: Crosscourt,
}

/// Backhands, against forehands.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Backhand {
    pub(super) players: f64,
    pub(super) speed_ratio: f64,
    pub(super) effect_ratio: f64,
    pub(super) deep_shift: f64,
}

/// Serves, against forehands; a serve is never deep.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Serve {
    pub(super) players: f64,
    pub(super) speed_ratio: f64,
    /// Coefficient of variation against the forehand's.
    pub(super) spread_ratio: f64,
    pub(super) effect_ratio: f64,
}

/// The forehands that go crosscourt.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Crosscourt {
    pub(super) players: f64,
    pub(super) part_of_forehands: f64,
}

/// Which gaps the players bring.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Gaps {
    #[serde(rename = "about")]
    _about: String,
    #[serde(rename = "provenance")]
    _provenance: String,
    pub(super) first_pairs: Vec<GapPlayers>,
}

/// So many players with one gap.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct GapPlayers {
    #[serde(deserialize_with = "hundredths")]
    pub(super) gap: Hundredths,
    #[serde(deserialize_with = "tension_unit")]
    pub(super) unit: TensionUnit,
    pub(super) players: usize,
}

impl GapPlayers {
    pub(super) fn pounds(self) -> f64 {
        Tension::new(self.gap, self.unit).pounds()
    }
}

/// What players and devices report, as parts of the players.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Habits {
    #[serde(rename = "about")]
    _about: String,
    #[serde(rename = "provenance")]
    _provenance: String,
    /// Players with a second pair.
    pub(super) further_pairs: f64,
    /// Of those, the ones with a third.
    pub(super) third_pair: f64,
    /// Further pairs at the gap of the first.
    pub(super) same_gap_again: f64,
    pub(super) four_sessions: f64,
    pub(super) rows: f64,
    pub(super) no_sd: f64,
    pub(super) sd_divisor_unknown: f64,
    pub(super) percent: f64,
    pub(super) no_deep: f64,
    pub(super) mph: f64,
    pub(super) speed_over_in: f64,
    pub(super) speed_over_unknown: f64,
    pub(super) no_timed_count: f64,
    /// That any one optional part is there.
    pub(super) optional_part: f64,
    pub(super) shots: ShotRange,
}

/// Fewest and most shots per arm and class.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ShotRange {
    pub(super) fewest: usize,
    pub(super) most: usize,
}

/// Players besides the honest ones.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Others {
    #[serde(rename = "about")]
    _about: String,
    #[serde(rename = "provenance")]
    _provenance: String,
    pub(super) unfinished: usize,
    pub(super) slips: usize,
    pub(super) forgeries: usize,
}

fn hundredths<'de, D: Deserializer<'de>>(source: D) -> Result<Hundredths, D::Error> {
    let value = f64::deserialize(source)?;
    Hundredths::from_decimal(value)
        .ok_or_else(|| serde::de::Error::custom("a gap has at most two decimals"))
}

fn tension_unit<'de, D: Deserializer<'de>>(source: D) -> Result<TensionUnit, D::Error> {
    let code = String::deserialize(source)?;
    TensionUnit::from_code(&code)
        .ok_or_else(|| serde::de::Error::custom("a gap is in `lb` or `kg`"))
}
