//! What the host sees is the same whichever way, and however far, the figures point.

use super::blind;
use crate::contribution::{Contribution, DeepShare, Share, ShotLine};
use crate::effects::tests::{FOREHAND, contribution, counted, session, timed};
use crate::vocabulary::Arm;

/// A pair whose arms lie so far from what they have in common, in speed (hundredths of 1 km/h) and
/// in shots in of 80. Spread and fastest shot keep their relation to the mean.
fn apart(speed: i64, shots_in: i64) -> Contribution {
    let arm = |sign: i64| -> Vec<ShotLine> {
        let mean = 10_000 + sign * speed;
        let mut line = counted(80, 56 + sign * shots_in, 0);
        line.deep = Some(DeepShare::OfIn(Share::Percent(
            crate::units::Hundredths::from_count(3_000),
        )));
        line.speed = Some(timed(mean, Some(mean / 10), Some(mean + mean / 5), 80));
        vec![line]
    };
    contribution(vec![
        session(Arm::Looser, Default::default(), arm(1)),
        session(Arm::Tighter, Default::default(), arm(-1)),
    ])
}

/// Without what floating point adds.
fn rounded(figure: f64) -> f64 {
    (figure * 1e6).round() / 1e6
}

#[test]
fn neither_direction_nor_size_of_an_effect_is_seen() {
    let seen = |speed, shots_in| {
        let mut seen = blind(&apart(speed, shots_in));
        // Thirty percent of the shots in is a whole count for some numbers only.
        for class in &mut seen.classes {
            class.deep_percent = class.deep_percent.map(f64::round);
            class.in_percent = class.in_percent.map(rounded);
        }
        for line in seen
            .sessions
            .iter_mut()
            .flat_map(|session| &mut session.lines)
        {
            line.spread_percent = line.spread_percent.map(rounded);
            line.fastest_sds = line.fastest_sds.map(rounded);
        }
        format!("{seen:?}")
    };
    let even = seen(0, 0);
    for (speed, shots_in) in [(200, 0), (-200, 0), (900, 4), (-900, -4), (0, 10)] {
        assert_eq!(seen(speed, shots_in), even, "{speed} {shots_in}");
    }
}

#[test]
fn what_both_arms_have_in_common_is_seen() {
    let seen = blind(&apart(300, 8));
    let class = &seen.classes[0];
    assert_eq!(class.class, FOREHAND);
    assert!((class.speed_kmh.unwrap() - 100.0).abs() < 1e-9);
    assert!((class.in_percent.unwrap() - 70.0).abs() < 1e-9);
    let line = &seen.sessions[0].lines[0];
    assert_eq!((line.hit, line.timed), (80, Some(80)));
    assert!((line.spread_percent.unwrap() - 10.0).abs() < 1e-9);
    assert!((line.fastest_sds.unwrap() - 2.0).abs() < 1e-9);
}
