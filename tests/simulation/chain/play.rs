//! One invented player: shots, and the contribution that a device makes of them.

use super::super::draw::Draw;
use super::{IN_SHARE, SPEED, Setting};
use tautpool::contribution::{
    Background, Conditions, Contribution, Session, Share, ShotLine, SpeedSummary,
};
use tautpool::units::{Hundredths, Speed, SpeedUnit, Tension, TensionUnit};
use tautpool::vocabulary::{Arm, ConsentScope, Direction, SdDivisor, ShotClass, SpeedOver, Stroke};

/// The one shot class that is played.
pub(super) const CLASS: ShotClass = ShotClass {
    stroke: Stroke::Forehand,
    direction: Direction::All,
};

/// Probabilities of a player with a share near an edge; the other one is 1 minus it.
const NEAR_EDGE: f64 = 0.96;

/// What holds for all sessions of a player.
struct Player {
    mean_kmh: f64,
    cv: f64,
    in_probability: f64,
    /// The player's own effects: km/h, and a difference of probabilities.
    speed_effect: f64,
    in_effect: f64,
    /// How much sessions differ.
    speed_day_sd: f64,
    in_day_sd: f64,
    autocorrelation: f64,
    device: Device,
}

/// What a measuring device prints.
struct Device {
    unit: SpeedUnit,
    mean_decimals: i32,
    /// `None` when it prints no standard deviation.
    sd_divisor: Option<SdDivisor>,
    /// Decimals of a percentage; `None` when it prints counts.
    percent_decimals: Option<i32>,
}

/// The shots of one session, added up.
struct Shots {
    n: i64,
    n_in: i64,
    mean_kmh: f64,
    /// Sum of squared deviations from the mean.
    squares: f64,
}

/// A player's contribution; `None` when a figure is beyond what a summary can hold.
pub(super) fn contribution(setting: &Setting, draw: &mut Draw) -> Option<Contribution> {
    let player = Player::new(setting, draw);
    let sessions_an_arm = if draw.chance(0.25) { 2 } else { 1 };
    let mut sessions = Vec::new();
    for &arm in Arm::ALL {
        for _ in 0..sessions_an_arm {
            sessions.push(player.session(arm, draw)?);
        }
    }
    Some(Contribution {
        consent_scope: ConsentScope::PoolingAndRows,
        consent_text_version: "1".to_owned(),
        plan_code: None,
        background: Background::default(),
        sessions,
    })
}

impl Player {
    fn new(setting: &Setting, draw: &mut Draw) -> Self {
        let in_probability = if draw.chance(setting.near_edge) {
            if draw.chance(0.5) {
                NEAR_EDGE
            } else {
                1.0 - NEAR_EDGE
            }
        } else {
            draw.between(0.55, 0.85)
        };
        // Near an edge there is less room to differ, and probabilities must stay between 0 and 1.
        let room = setting.spread * 4.0 * in_probability * (1.0 - in_probability) / 100.0;
        Self {
            mean_kmh: 100.0 + 8.0 * draw.bounded_normal(),
            cv: draw.between(0.15, 0.20),
            in_probability,
            speed_effect: SPEED.mean + setting.spread * SPEED.player_sd * draw.normal(),
            in_effect: IN_SHARE.mean / 100.0 + room * IN_SHARE.player_sd * draw.bounded_normal(),
            speed_day_sd: setting.spread * SPEED.day_sd,
            in_day_sd: room * IN_SHARE.day_sd,
            autocorrelation: setting.autocorrelation,
            device: Device::new(setting, draw),
        }
    }

    fn session(&self, arm: Arm, draw: &mut Draw) -> Option<Session> {
        // The tension matters to nothing but the band: 50 and 58 lb.
        let (half, tension) = match arm {
            Arm::Looser => (0.5, 5_000),
            Arm::Tighter => (-0.5, 5_800),
        };
        let kmh = self.mean_kmh + half * self.speed_effect + self.speed_day_sd * draw.normal();
        let in_probability =
            self.in_probability + half * self.in_effect + self.in_day_sd * draw.bounded_normal();
        let shots = self.hit(kmh, in_probability, draw);
        Some(Session {
            arm,
            tension: Tension::new(Hundredths::from_count(tension), TensionUnit::Pound),
            conditions: Conditions::default(),
            lines: vec![self.device.line(&shots)?],
        })
    }

    /// Speeds are a first-order autoregression; in or out repeats with the probability of the
    /// autocorrelation and is drawn anew otherwise. Neither changes what one shot is like.
    fn hit(&self, mean_kmh: f64, in_probability: f64, draw: &mut Draw) -> Shots {
        let n = draw.whole(40, 100);
        let rho = self.autocorrelation;
        let fresh = (1.0 - rho * rho).sqrt();
        let mut z = draw.normal();
        let mut is_in = draw.chance(in_probability);
        let mut speeds = vec![mean_kmh * (1.0 + self.cv * z)];
        let mut n_in = i64::from(is_in);
        for _ in 1..n {
            z = rho * z + fresh * draw.normal();
            speeds.push(mean_kmh * (1.0 + self.cv * z));
            if !draw.chance(rho) {
                is_in = draw.chance(in_probability);
            }
            n_in += i64::from(is_in);
        }
        let mean_kmh = speeds.iter().sum::<f64>() / n as f64;
        Shots {
            n,
            n_in,
            mean_kmh,
            squares: speeds.iter().map(|kmh| (kmh - mean_kmh).powi(2)).sum(),
        }
    }
}

impl Device {
    fn new(setting: &Setting, draw: &mut Draw) -> Self {
        Self {
            unit: if draw.chance(0.35) {
                SpeedUnit::MilePerHour
            } else {
                SpeedUnit::KilometrePerHour
            },
            mean_decimals: i32::from(draw.chance(0.7)),
            sd_divisor: match draw.whole(0, 2) {
                _ if draw.chance(setting.without_sd) => None,
                0 => Some(SdDivisor::N),
                1 => Some(SdDivisor::NMinusOne),
                _ => Some(SdDivisor::Unknown),
            },
            percent_decimals: match draw.whole(0, 3) {
                0 => Some(0),
                1 => Some(1),
                _ => None,
            },
        }
    }

    fn line(&self, shots: &Shots) -> Option<ShotLine> {
        let per_unit = match self.unit {
            SpeedUnit::KilometrePerHour => 1.0,
            SpeedUnit::MilePerHour => 1.609_344,
        };
        let speed = |kmh: f64, decimals: i32| {
            printed(kmh / per_unit, decimals).map(|value| Speed::new(value, self.unit))
        };
        let divided_by = match self.sd_divisor {
            Some(SdDivisor::N) => shots.n,
            _ => shots.n - 1,
        };
        let sd = (shots.squares / divided_by as f64).sqrt();
        Some(ShotLine {
            class: CLASS,
            hit: shots.n,
            landed_in: Some(match self.percent_decimals {
                None => Share::Count(shots.n_in),
                Some(decimals) => {
                    let percent = 100.0 * shots.n_in as f64 / shots.n as f64;
                    Share::Percent(printed(percent, decimals)?)
                }
            }),
            deep: None,
            speed: Some(SpeedSummary {
                mean: speed(shots.mean_kmh, self.mean_decimals)?,
                sd: match self.sd_divisor {
                    None => None,
                    Some(_) => Some(speed(sd, 1)?),
                },
                sd_divisor: self.sd_divisor.unwrap_or(SdDivisor::Unknown),
                lag1: None,
                // Devices that print no maximum: the borrowed CV stands alone.
                max: None,
                n: Some(shots.n),
                over: SpeedOver::All,
            }),
        })
    }
}

/// A number rounded as a device prints it.
fn printed(value: f64, decimals: i32) -> Option<Hundredths> {
    let scale = 10.0_f64.powi(decimals);
    Hundredths::from_decimal((value * scale).round() / scale)
}
