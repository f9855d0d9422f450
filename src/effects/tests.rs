//! Effects worked by hand, and the contributions they are built from.

use super::spread::CrowdSpread;
use super::{ArmCount, Effect, PairEffects, of_pair, share_counts};
use crate::contribution::{
    Background, Conditions, Contribution, DeepShare, Session, Share, ShotLine, SpeedSummary,
};
use crate::protocol::{AnalysisRules, GapBands, Protocol, VersionedText};
use crate::units::{Hundredths, Speed, SpeedUnit, Tension, TensionUnit};
use crate::vocabulary::{
    Arm, ConsentScope, Direction, Outcome, SdDivisor, ShotClass, SpeedOver, Stroke, VarianceSource,
};

pub(crate) const FOREHAND: ShotClass = ShotClass::of(Stroke::Forehand);
pub(crate) const SERVE: ShotClass = ShotClass::of(Stroke::Serve);

/// A speed in hundredths of 1 km/h.
pub(crate) fn speed(hundredths: i64) -> Speed {
    Speed::new(
        Hundredths::from_count(hundredths),
        SpeedUnit::KilometrePerHour,
    )
}

/// Speeds in hundredths of 1 km/h of `n` shots.
pub(crate) fn timed(mean: i64, sd: Option<i64>, max: Option<i64>, n: i64) -> SpeedSummary {
    SpeedSummary {
        mean: speed(mean),
        sd: sd.map(speed),
        sd_divisor: SdDivisor::Unknown,
        lag1: None,
        max: max.map(speed),
        n: Some(n),
        over: SpeedOver::All,
    }
}

/// A line of shots with nothing said of them.
pub(crate) fn line(stroke: Stroke, direction: Direction, hit: i64) -> ShotLine {
    ShotLine {
        class: ShotClass { stroke, direction },
        hit,
        landed_in: None,
        deep: None,
        speed: None,
    }
}

/// Forehands in all directions with so many in and deep.
pub(crate) fn counted(hit: i64, n_in: i64, deep: i64) -> ShotLine {
    ShotLine {
        landed_in: Some(Share::Count(n_in)),
        deep: Some(DeepShare::OfIn(Share::Count(deep))),
        ..line(Stroke::Forehand, Direction::All, hit)
    }
}

/// A line of a class with speeds.
pub(crate) fn timed_line(class: ShotClass, speed: SpeedSummary) -> ShotLine {
    ShotLine {
        speed: Some(speed),
        ..line(class.stroke, class.direction, speed.n.unwrap_or(1))
    }
}

/// A session at 50 lb when looser and 60 lb when tighter.
pub(crate) fn session(arm: Arm, conditions: Conditions, lines: Vec<ShotLine>) -> Session {
    let pounds = match arm {
        Arm::Looser => 50,
        Arm::Tighter => 60,
    };
    Session {
        arm,
        tension: Tension::new(Hundredths::from_count(pounds * 100), TensionUnit::Pound),
        conditions,
        lines,
    }
}

/// A contribution of these sessions.
pub(crate) fn contribution(sessions: Vec<Session>) -> Contribution {
    Contribution {
        consent_scope: ConsentScope::Pooling,
        consent_text_version: "1".to_owned(),
        plan_code: None,
        background: Background::default(),
        sessions,
    }
}

fn protocol(minimum_shots: i64) -> Protocol {
    let text = || VersionedText {
        version: "1".to_owned(),
        text: String::new(),
    };
    Protocol {
        version: 1,
        analysis: AnalysisRules {
            bands: GapBands::new(TensionUnit::Pound, vec![Hundredths::from_count(500)]).unwrap(),
            primary: Vec::new(),
            minimum_players: 5,
        },
        minimum_shots,
        rally_length: 4,
        deep: text(),
        consent: text(),
        caution: String::new(),
        adults_only: true,
        session_minutes: Protocol::SESSION_MINUTES,
        warm_up_minutes: Protocol::WARM_UP_MINUTES,
        batch_players: 5,
        release_rule: None,
    }
}

/// The effects of a pair in which nobody's spread is borrowed.
pub(crate) fn effects_of(pair: &Contribution, minimum_shots: i64) -> PairEffects {
    of_pair(pair, &protocol(minimum_shots), &CrowdSpread::default()).unwrap()
}

fn forehands(arm: Arm, speed: SpeedSummary) -> Session {
    session(
        arm,
        Conditions::default(),
        vec![timed_line(FOREHAND, speed)],
    )
}

fn speed_effect(pair: &Contribution) -> Effect {
    let effects = effects_of(pair, 1).effects;
    assert_eq!(effects.len(), 1, "{effects:?}");
    effects[0]
}

fn close(actual: f64, expected: f64) -> bool {
    (actual - expected).abs() <= 1e-12 * expected.abs()
}

#[test]
fn a_variance_says_how_much_of_it_is_imputed() {
    // Looser: 40 shots, SD 8 reported, and 60 shots of mean 100, imputed as 0.2 * 100 = 20;
    // tighter: 50 shots of mean 90, imputed as 18.
    let pair = contribution(vec![
        forehands(Arm::Looser, timed(11_000, Some(800), None, 40)),
        forehands(Arm::Looser, timed(10_000, None, None, 60)),
        forehands(Arm::Tighter, timed(9_000, None, None, 50)),
    ]);
    let effect = speed_effect(&pair);
    let (reported, imputed) = (40.0 * 64.0 / 1e4, 60.0 * 400.0 / 1e4 + 324.0 / 50.0);
    assert!(close(effect.variance, reported + imputed), "{effect:?}");
    assert!(close(effect.imputed_variance, imputed), "{effect:?}");
    assert_eq!(effect.source, VarianceSource::AssumedCv);
    assert_eq!(effect.log_sd_error, None);

    let reported = contribution(vec![
        forehands(Arm::Looser, timed(11_000, Some(800), None, 40)),
        forehands(Arm::Tighter, timed(9_000, Some(900), None, 50)),
    ]);
    let effect = speed_effect(&reported);
    assert_eq!(effect.imputed_variance.to_bits(), 0.0_f64.to_bits());
    assert_eq!(effect.source, VarianceSource::Reported);
}

#[test]
fn counts_of_a_share_are_summed_over_the_sessions_that_give_it() {
    let counts =
        |arm, hit, n_in, deep| session(arm, Conditions::default(), vec![counted(hit, n_in, deep)]);
    let silent = line(Stroke::Forehand, Direction::All, 33);
    let mut pair = contribution(vec![
        counts(Arm::Looser, 50, 40, 10),
        counts(Arm::Looser, 30, 21, 7),
        counts(Arm::Tighter, 60, 45, 9),
        session(Arm::Tighter, Conditions::default(), vec![silent]),
    ]);
    let of = |pair: &Contribution, outcome| {
        let counts = share_counts(pair, outcome, FOREHAND)?;
        let arm = |arm: ArmCount| (arm.x, arm.n);
        Some((arm(counts.looser), arm(counts.tighter), counts.consistent))
    };
    assert_eq!(
        of(&pair, Outcome::InShare),
        Some(((61, 80), (45, 60), true))
    );
    assert_eq!(
        of(&pair, Outcome::DeepShare),
        Some(((17, 61), (9, 45), true))
    );
    assert_eq!(of(&pair, Outcome::Speed), None);
    assert_eq!(share_counts(&pair, Outcome::InShare, SERVE), None);

    // 74 % of 60 is 44.4, and 44 of 60 is 73 %: no count makes it.
    pair.sessions[2].lines[0].landed_in = Some(Share::Percent(Hundredths::from_count(7_400)));
    assert_eq!(
        of(&pair, Outcome::InShare),
        Some(((61, 80), (44, 60), false))
    );
    // An arm without a ball in has no deep share.
    pair.sessions[2].lines[0].landed_in = Some(Share::Count(0));
    pair.sessions[2].lines[0].deep = Some(DeepShare::OfIn(Share::Count(0)));
    assert_eq!(of(&pair, Outcome::DeepShare), None);
}
