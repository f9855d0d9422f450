//! Honest crowds: the demo's, and variations of it that make sessions more alike, rounder or
//! smaller than usual, as real players and devices do.

use super::super::runs::Failure;
use serde_json::{Value, json};
use tautpool::demo::crowd::{Kind, Sent, Settings, crowd, more};

/// The demo's settings, to be varied.
const SETTINGS: &str = include_str!("../../../fixtures/demo/settings.json");

/// Players of a variation in one run.
const PLAYERS: usize = 30;

/// A kind of honest crowd.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Honest {
    /// The demo's crowd, further pairs included.
    Demo,
    /// Those of it who broke off.
    Unfinished,
    /// 12 to 30 shots a stroke.
    SmallSessions,
    /// The same round number of shots in every session.
    SameNumberOfShots,
    /// Everybody serves; half of the lines are serves.
    Servers,
    /// Whole speeds and whole standard deviations.
    RoundingDevice,
    /// Devices that show percentages and no standard deviation.
    PercentDevice,
    /// Two sessions of each string bed.
    FourSessions,
    /// Neither the string bed, nor the day, nor the last shot makes any difference.
    AlwaysTheSame,
    /// The same players, each with three pairs at one gap.
    ThreePairs,
    /// Shots that scatter much, with a long tail.
    WildHitters,
    /// Players of the highest level.
    Strongest,
    /// Standard deviations that are mended afterwards.
    MendedSpread,
}

impl Honest {
    pub(crate) const ALL: &'static [Self] = &[
        Self::Demo,
        Self::Unfinished,
        Self::SmallSessions,
        Self::SameNumberOfShots,
        Self::Servers,
        Self::RoundingDevice,
        Self::PercentDevice,
        Self::FourSessions,
        Self::AlwaysTheSame,
        Self::ThreePairs,
        Self::WildHitters,
        Self::Strongest,
        Self::MendedSpread,
    ];

    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Demo => "the demo's crowd",
            Self::Unfinished => "broken off",
            Self::SmallSessions => "12 to 30 shots",
            Self::SameNumberOfShots => "60 shots in every session",
            Self::Servers => "servers",
            Self::RoundingDevice => "whole speeds",
            Self::PercentDevice => "percentages, no SD",
            Self::FourSessions => "four sessions, all strokes",
            Self::AlwaysTheSame => "no true differences",
            Self::ThreePairs => "three pairs each, no true differences",
            Self::WildHitters => "CV 0.2, skewness 1.14",
            Self::Strongest => "strongest players",
            Self::MendedSpread => "SDs mended",
        }
    }

    /// What its players send in one run. Of the demo's crowd the forgeries are left out.
    pub(crate) fn sent(self, seed: u64) -> Result<Vec<Sent>, Failure> {
        let settings = self.settings(seed)?;
        let mut all = match self {
            Self::Demo | Self::Unfinished | Self::ThreePairs => crowd(&settings),
            _ => more(&settings, 0, PLAYERS),
        };
        all.retain(|sent| match self {
            Self::Unfinished => sent.kind == Kind::Unfinished,
            _ => sent.kind == Kind::Honest,
        });
        if self == Self::ThreePairs {
            let kept: std::collections::BTreeSet<usize> = all
                .iter()
                .map(|sent| sent.player)
                .take(PLAYERS / 2)
                .collect();
            all.retain(|sent| kept.contains(&sent.player));
        }
        if self == Self::RoundingDevice {
            for sent in &mut all {
                sent.document = whole_speeds(&sent.document)?;
            }
        }
        Ok(all)
    }

    fn settings(self, seed: u64) -> Result<Settings, Failure> {
        let mut settings: Value = serde_json::from_str(SETTINGS)?;
        settings["seed"] = json!(seed);
        let mut set = |place: &str, value: Value| {
            if let Some(at) = settings.pointer_mut(place) {
                *at = value;
            }
        };
        let no_differences: &[(&str, f64)] = &[
            ("/truth/speed/per_lb", 0.0),
            ("/truth/speed/player_sd", 0.0),
            ("/truth/deep_share/per_lb", 0.0),
            ("/truth/deep_share/player_sd", 0.0),
            ("/truth/in_share/per_lb", 0.0),
            ("/truth/in_share/player_sd", 0.0),
            ("/noise/day_sd/speed", 0.0),
            ("/noise/day_sd/deep_share", 0.0),
            ("/noise/day_sd/in_share", 0.0),
            ("/noise/period_kmh", 0.0),
            ("/noise/partner_sd_kmh", 0.0),
            ("/noise/autocorrelation/low", 0.0),
            ("/noise/autocorrelation/high", 0.0),
        ];
        let changes: &[(&str, f64)] = match self {
            Self::Demo | Self::Unfinished | Self::RoundingDevice | Self::MendedSpread => &[],
            Self::SmallSessions => &[("/habits/shots/fewest", 12.0), ("/habits/shots/most", 30.0)],
            Self::SameNumberOfShots => {
                &[("/habits/shots/fewest", 60.0), ("/habits/shots/most", 60.0)]
            }
            Self::Servers => &[
                ("/classes/serve/players", 1.0),
                ("/classes/backhand/players", 0.0),
                ("/classes/serve/spread_ratio", 0.5),
            ],
            Self::PercentDevice => &[("/habits/percent", 1.0), ("/habits/no_sd", 1.0)],
            Self::FourSessions => &[
                ("/habits/four_sessions", 1.0),
                ("/habits/no_sd", 0.0),
                ("/classes/backhand/players", 1.0),
                ("/classes/serve/players", 1.0),
            ],
            Self::AlwaysTheSame => no_differences,
            Self::ThreePairs => &[
                ("/habits/further_pairs", 1.0),
                ("/habits/third_pair", 1.0),
                ("/habits/same_gap_again", 1.0),
            ],
            Self::WildHitters => &[("/noise/shot_cv", 0.2), ("/noise/skew_shape", 0.35)],
            Self::Strongest => &[
                ("/levels/lowest", 1.0),
                ("/levels/highest", 2.0),
                ("/levels/forehand_kmh/at_lowest", 120.0),
                ("/levels/in_share/at_lowest", 84.0),
            ],
        };
        let also = if self == Self::ThreePairs {
            no_differences
        } else {
            &[]
        };
        for (place, value) in changes.iter().chain(also) {
            let is_count = ["shots", "lowest", "highest"].iter().any(|word| {
                place.split('/').any(|part| part == *word) && !place.contains("at_lowest")
            });
            #[expect(clippy::cast_possible_truncation, reason = "small whole numbers")]
            let value = if is_count {
                json!(*value as i64)
            } else {
                json!(value)
            };
            set(place, value);
        }
        Ok(serde_json::from_value(settings)?)
    }
}

/// The same document with every speed to a whole unit.
fn whole_speeds(document: &str) -> Result<String, Failure> {
    let mut document: Value = serde_json::from_str(document)?;
    for line in super::lines_of(&mut document) {
        for name in ["speed_mean", "speed_sd", "speed_max"] {
            if let Some(speed) = line.get_mut(name)
                && let Some(value) = speed.as_f64()
            {
                *speed = json!(value.round());
            }
        }
    }
    Ok(document.to_string())
}

/// The same document with every standard deviation a little larger, as from divisor n - 1 in place
/// of n; `None` when it has none.
pub(crate) fn mended_spread(document: &str) -> Result<Option<String>, Failure> {
    let mut document: Value = serde_json::from_str(document)?;
    let mut has_any = false;
    for line in super::lines_of(&mut document) {
        if let Some(sd) = line.get_mut("speed_sd")
            && let Some(value) = sd.as_f64()
        {
            *sd = json!((value * 10.0 + 1.0).round() / 10.0);
            has_any = true;
        }
    }
    Ok(has_any.then(|| document.to_string()))
}
