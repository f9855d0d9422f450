//! Mean ball speed: looser minus tighter.

use super::spread::ImputedCv;
use super::{Computed, Figure, LeftOutReason, both, shares, to_f64};
use crate::contribution::{Contribution, Session, ShotLine, SpeedSummary};
use crate::units::Hundredths;
use crate::vocabulary::{Arm, SdDivisor, ShotClass, SpeedOver, VarianceSource};

/// Number of timed shots: as given, or else the shots that the mean is said to be over.
#[must_use]
pub fn timed_shots(line: &ShotLine, speed: &SpeedSummary) -> i64 {
    speed.n.unwrap_or_else(|| match speed.over {
        SpeedOver::In => shares::in_of_hit(line).map_or(line.hit, |tally| tally.x),
        SpeedOver::All | SpeedOver::Unknown => line.hit,
    })
}

/// How many times larger the variance of a mean of correlated shots is than that of as many
/// independent ones: `n/n_eff = (1 + r)/(1 - r)`, `r` the lag-1 autocorrelation in the order of play,
/// below 1. A negative `r` counts as 0, since shots that seem to alternate are no reason to trust a
/// mean more; so does one that is not given. (Bayley & Hammersley 1946, Supplement to the JRSS 8:184,
/// for a first-order autoregression and many shots; from memory.)
#[must_use]
pub fn variance_inflation(lag1: Option<Hundredths>) -> f64 {
    match lag1.map(Hundredths::to_f64) {
        Some(r) if 0.0 < r => (1.0 + r) / (1.0 - r),
        _ => 1.0,
    }
}

/// Mean speed of one session.
#[derive(Clone, Copy, Debug)]
pub(super) struct SessionSpeed {
    /// Timed shots.
    pub(super) n: i64,
    /// Mean, km/h.
    pub(super) mean: f64,
    /// Variance of one shot, km/h squared.
    pub(super) square: f64,
    /// What correlated shots multiply the variance of the mean by, at least 1.
    pub(super) inflation: f64,
    /// What that is imputed with, if it is.
    pub(super) imputed: Option<ImputedCv>,
}

/// The mean speed of a session's shots of a class, a missing spread imputed.
pub(super) fn of_session(
    session: &Session,
    class: ShotClass,
    cv: ImputedCv,
) -> Option<SessionSpeed> {
    let line = session.line(class)?;
    let speed = line.speed.as_ref()?;
    let n = timed_shots(line, speed);
    let mean = speed.mean.kmh();
    let reported = speed
        .sd
        .map(|sd| sd.kmh().powi(2) * divisor_correction(speed.sd_divisor, to_f64(n)));
    Some(SessionSpeed {
        n,
        mean,
        square: reported.unwrap_or_else(|| (cv.value * mean).powi(2)),
        inflation: variance_inflation(speed.lag1),
        imputed: reported.is_none().then_some(cv),
    })
}

/// Factor that turns a squared standard deviation into the one with divisor n - 1.
fn divisor_correction(divisor: SdDivisor, n: f64) -> f64 {
    match divisor {
        SdDivisor::N if 1.0 < n => n / (n - 1.0),
        SdDivisor::N | SdDivisor::NMinusOne | SdDivisor::Unknown => 1.0,
    }
}

/// Mean and variance of the mean over the sessions of one arm.
struct ArmSpeed {
    mean: f64,
    variance: f64,
    /// The part of the variance that comes from imputed spreads.
    imputed_variance: f64,
    imputed: Option<ImputedCv>,
}

fn arm_speed(sessions: &[SessionSpeed]) -> Result<ArmSpeed, LeftOutReason> {
    if sessions.is_empty() {
        return Err(LeftOutReason::NotGiven);
    }
    let (mut n_total, mut weighted_mean, mut weighted_square, mut imputed_square) =
        (0.0, 0.0, 0.0, 0.0);
    for session in sessions {
        let n = to_f64(session.n);
        n_total += n;
        weighted_mean += n * session.mean;
        let square = n * session.square * session.inflation;
        weighted_square += square;
        if session.imputed.is_some() {
            imputed_square += square;
        }
    }
    if n_total < 2.0 {
        return Err(LeftOutReason::NothingCounted);
    }
    Ok(ArmSpeed {
        mean: weighted_mean / n_total,
        variance: weighted_square / n_total.powi(2),
        imputed_variance: imputed_square / n_total.powi(2),
        imputed: sessions.iter().find_map(|session| session.imputed),
    })
}

/// The difference of mean speeds, given what each session says.
pub(super) fn difference(
    pair: &Contribution,
    of_session: impl Fn(&Session) -> Option<SessionSpeed>,
) -> Computed {
    let arm = |arm| arm_speed(&pair.of_arm(arm).filter_map(&of_session).collect::<Vec<_>>());
    let (looser, tighter) = both(arm(Arm::Looser), arm(Arm::Tighter))?;
    // All sessions of a pair share one.
    let imputed = looser.imputed.or(tighter.imputed);
    Ok(Figure {
        estimate: looser.mean - tighter.mean,
        variance: looser.variance + tighter.variance,
        imputed_variance: looser.imputed_variance + tighter.imputed_variance,
        log_sd_error: imputed.and_then(|cv| cv.log_sd_error),
        source: imputed.map_or(VarianceSource::Reported, |cv| cv.source),
    })
}
