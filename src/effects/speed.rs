//! Mean ball speed: looser minus tighter.

use super::spread::ImputedCv;
use super::{Computed, LeftOutReason, both, shares, to_f64};
use crate::contribution::{ShotLine, SpeedSummary};
use crate::vocabulary::{SdDivisor, SpeedOver, VarianceSource};

/// Number of timed shots: as given, or else the shots that the mean is said to be over.
#[must_use]
pub fn timed_shots(line: &ShotLine, speed: &SpeedSummary) -> i64 {
    speed.n.unwrap_or_else(|| match speed.over {
        SpeedOver::In => shares::in_of_hit(line).map_or(line.hit, |tally| tally.x),
        SpeedOver::All | SpeedOver::Unknown => line.hit,
    })
}

/// Mean and variance of the mean over the sessions of one arm.
struct ArmSpeed {
    mean: f64,
    variance: f64,
    imputed: bool,
}

fn arm_speed(lines: &[&ShotLine], cv: f64) -> Result<ArmSpeed, LeftOutReason> {
    let (mut n_total, mut weighted_mean, mut weighted_square, mut imputed) = (0.0, 0.0, 0.0, false);
    let mut given = false;
    for line in lines {
        let Some(speed) = &line.speed else { continue };
        given = true;
        let n = to_f64(timed_shots(line, speed));
        let mean = speed.mean.kmh();
        let square = match speed.sd {
            Some(sd) => sd.kmh().powi(2) * divisor_correction(speed.sd_divisor, n),
            None => {
                imputed = true;
                (cv * mean).powi(2)
            }
        };
        n_total += n;
        weighted_mean += n * mean;
        weighted_square += n * square;
    }
    if !given {
        return Err(LeftOutReason::NotGiven);
    }
    if n_total < 2.0 {
        return Err(LeftOutReason::NothingCounted);
    }
    Ok(ArmSpeed {
        mean: weighted_mean / n_total,
        variance: weighted_square / n_total.powi(2),
        imputed,
    })
}

/// Factor that turns a squared standard deviation into the one with divisor n - 1.
fn divisor_correction(divisor: SdDivisor, n: f64) -> f64 {
    match divisor {
        SdDivisor::N if 1.0 < n => n / (n - 1.0),
        SdDivisor::N | SdDivisor::NMinusOne | SdDivisor::Unknown => 1.0,
    }
}

pub(super) fn difference(looser: &[&ShotLine], tighter: &[&ShotLine], cv: ImputedCv) -> Computed {
    let (looser, tighter) = both(arm_speed(looser, cv.value), arm_speed(tighter, cv.value))?;
    let source = if looser.imputed || tighter.imputed {
        cv.source
    } else {
        VarianceSource::Reported
    };
    Ok((
        looser.mean - tighter.mean,
        looser.variance + tighter.variance,
        source,
    ))
}
