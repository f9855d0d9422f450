//! One invented player: level, own true effects, and what player and device report.

use super::draw::Draw;
use super::settings::{Ladder, Settings};
use crate::vocabulary::Outcome;

/// A player.
#[derive(Clone, Debug)]
pub(super) struct Person {
    /// International Tennis Number.
    pub(super) itn: i64,
    pub(super) forehand_kmh: f64,
    /// Percentage points.
    pub(super) in_share: f64,
    /// Percentage points of the shots in.
    pub(super) deep_share: f64,
    /// Coefficient of variation of shot speed.
    pub(super) shot_cv: f64,
    pub(super) autocorrelation: f64,
    /// Forehands per arm.
    pub(super) n_forehands: usize,
    pub(super) four_sessions: bool,
    pub(super) rows: bool,
    pub(super) backhand: bool,
    pub(super) serve: bool,
    pub(super) crosscourt: bool,
    pub(super) n_further_pairs: usize,
    pub(super) device: Device,
    /// Deviation of the player's own true effects from the mean over players.
    own: OwnEffects,
}

/// Deviations in km/h and percentage points.
#[derive(Clone, Copy, Debug)]
struct OwnEffects {
    speed: f64,
    deep_share: f64,
    in_share: f64,
}

/// What the measuring device reports, and how.
#[derive(Clone, Copy, Debug)]
pub(super) struct Device {
    pub(super) mph: bool,
    pub(super) speed_decimals: usize,
    /// `None`: no standard deviation.
    pub(super) sd_divisor: Option<Divisor>,
    pub(super) over: Over,
    /// `None`: counts.
    pub(super) percent_decimals: Option<usize>,
    pub(super) deep_of_hit: bool,
    pub(super) deep: bool,
    /// Whether the number of timed shots is given; the device misses some shots then.
    pub(super) timed_count: bool,
    pub(super) fastest: bool,
}

/// What the device divides by, and whether the player knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Divisor {
    NMinusOne,
    N,
    Unknown,
}

/// Which shots the mean speed is over, as far as the player knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Over {
    All,
    In,
    Unknown,
}

impl Person {
    /// Draws a player.
    pub(super) fn new(settings: &Settings, draw: &mut Draw) -> Self {
        let (levels, noise, habits) = (&settings.levels, &settings.noise, &settings.habits);
        let steps = usize::try_from(levels.highest - levels.lowest).unwrap_or(0);
        let level = draw.whole(0, steps);
        let on = |ladder: Ladder, draw: &mut Draw| {
            ladder.at_lowest
                + ladder.per_level * level as f64
                + ladder.player_sd * draw.bounded_normal()
        };
        let n_forehands = draw.whole(habits.shots.fewest, habits.shots.most);
        let further = draw.chance(habits.further_pairs);
        Self {
            itn: levels.lowest + i64::try_from(level).unwrap_or(0),
            forehand_kmh: on(levels.forehand_kmh, draw),
            in_share: on(levels.in_share, draw),
            deep_share: on(levels.deep_share, draw),
            shot_cv: noise.shot_cv * (noise.shot_cv_log_sd * draw.bounded_normal()).exp(),
            autocorrelation: draw.between(noise.autocorrelation.low, noise.autocorrelation.high),
            n_forehands,
            four_sessions: draw.chance(habits.four_sessions),
            rows: draw.chance(habits.rows),
            backhand: draw.chance(settings.classes.backhand.players),
            serve: draw.chance(settings.classes.serve.players),
            crosscourt: draw.chance(settings.classes.forehand_crosscourt.players),
            n_further_pairs: usize::from(further)
                + usize::from(further && draw.chance(habits.third_pair)),
            device: Device::new(settings, n_forehands, draw),
            own: OwnEffects::new(settings, draw),
        }
    }

    /// This player's true effect at a gap, looser minus tighter.
    pub(super) fn true_effect(&self, settings: &Settings, outcome: Outcome, gap_lb: f64) -> f64 {
        let own = match outcome {
            Outcome::Speed => self.own.speed,
            Outcome::DeepShare => self.own.deep_share,
            Outcome::InShare => self.own.in_share,
            Outcome::TopspinShare
            | Outcome::FlatShare
            | Outcome::CrosscourtShare
            | Outcome::LongRallyShare
            | Outcome::PartnerSpeed => 0.0,
        };
        super::truth(settings, outcome, gap_lb) + own
    }
}

impl OwnEffects {
    fn new(settings: &Settings, draw: &mut Draw) -> Self {
        let truth = &settings.truth;
        let sd = |outcome| truth.of(outcome).player_sd;
        let correlation = truth.speed_with_in_share;
        let speed = draw.bounded_normal();
        let apart = draw.bounded_normal();
        let in_share = correlation * speed + (1.0 - correlation * correlation).sqrt() * apart;
        Self {
            speed: sd(Outcome::Speed) * speed,
            deep_share: sd(Outcome::DeepShare) * draw.bounded_normal(),
            in_share: sd(Outcome::InShare) * in_share,
        }
    }
}

impl Device {
    fn new(settings: &Settings, n_forehands: usize, draw: &mut Draw) -> Self {
        let habits = &settings.habits;
        let divisor = if draw.chance(habits.sd_divisor_unknown) {
            Divisor::Unknown
        } else if draw.chance(0.5) {
            Divisor::N
        } else {
            Divisor::NMinusOne
        };
        let over = draw.unit();
        // A percentage without decimals names one count only while there are at most 100 shots;
        // an arm may have a tenth more shots than the player's usual number.
        let whole_percent = draw.chance(0.5) && n_forehands * 11 <= 1_000;
        Self {
            mph: draw.chance(habits.mph),
            speed_decimals: usize::from(draw.chance(0.6)),
            sd_divisor: (!draw.chance(habits.no_sd)).then_some(divisor),
            over: if over < habits.speed_over_in {
                Over::In
            } else if over < habits.speed_over_in + habits.speed_over_unknown {
                Over::Unknown
            } else {
                Over::All
            },
            percent_decimals: draw
                .chance(habits.percent)
                .then_some(usize::from(!whole_percent)),
            deep_of_hit: draw.chance(0.4),
            deep: !draw.chance(habits.no_deep),
            timed_count: !draw.chance(habits.no_timed_count),
            fastest: draw.chance(0.8),
        }
    }

    /// The code of the device's speed unit.
    pub(super) const fn speed_unit(&self) -> &'static str {
        if self.mph { "mph" } else { "km/h" }
    }

    /// A speed in the device's unit.
    pub(super) fn speed(&self, kmh: f64) -> f64 {
        // 1 mi = 1.609344 km by definition.
        if self.mph { kmh / 1.609_344 } else { kmh }
    }
}
