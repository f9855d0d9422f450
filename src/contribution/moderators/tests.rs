//! Moderators of contributions built by hand.

use super::*;
use crate::contribution::{Background, Conditions, PartnerSpeed, Session};
use crate::units::{Speed, SpeedUnit, Tension, TensionUnit};
use crate::vocabulary::Arm::{Looser, Tighter};
use crate::vocabulary::ConsentScope;
use Knowledge::{No, Unknown, Yes};

fn pair(sessions: &[(Arm, Conditions)]) -> Contribution {
    let session = |(arm, conditions): &(Arm, Conditions)| Session {
        arm: *arm,
        tension: Tension::new(Hundredths::from_count(5_000), TensionUnit::Pound),
        conditions: *conditions,
        lines: Vec::new(),
    };
    Contribution {
        consent_scope: ConsentScope::Pooling,
        consent_text_version: "1".to_owned(),
        plan_code: None,
        background: Background::default(),
        sessions: sessions.iter().map(session).collect(),
    }
}

fn played(places: &[(Arm, Option<i64>)]) -> Option<f64> {
    let at = |(arm, order): &(Arm, Option<i64>)| {
        let conditions = Conditions {
            order: *order,
            ..Conditions::default()
        };
        (*arm, conditions)
    };
    Moderators::of(&pair(&places.iter().map(at).collect::<Vec<_>>())).order
}

/// Arms in the order they were played.
fn in_turn(arms: &[Arm]) -> Option<f64> {
    let places: Vec<_> = arms.iter().copied().zip((1..).map(Some)).collect();
    played(&places)
}

#[test]
fn order_is_half_when_looser_came_first_and_nought_when_balanced() {
    assert_eq!(in_turn(&[Looser, Tighter]), Some(0.5));
    assert_eq!(in_turn(&[Tighter, Looser]), Some(-0.5));
    assert_eq!(in_turn(&[Looser, Tighter, Tighter, Looser]), Some(0.0));
    assert_eq!(in_turn(&[Tighter, Looser, Looser, Tighter]), Some(0.0));
    assert_eq!(in_turn(&[Looser, Looser, Tighter, Tighter]), Some(0.5));
    // Three of four couples have the looser session first: (3 - 2)/4.
    assert_eq!(in_turn(&[Looser, Tighter, Looser, Tighter]), Some(0.25));
    // One looser session between two tighter ones.
    assert_eq!(in_turn(&[Tighter, Looser, Tighter]), Some(0.0));
    assert_eq!(in_turn(&[Looser, Tighter, Tighter]), Some(0.5));
}

#[test]
fn order_goes_by_the_places_and_needs_all_of_them() {
    // The order of sending is another, and a session between them was not sent.
    assert_eq!(played(&[(Tighter, Some(7)), (Looser, Some(2))]), Some(0.5));
    assert_eq!(played(&[(Tighter, Some(1)), (Looser, None)]), None);
    assert_eq!(played(&[(Looser, Some(1))]), None);
}

fn partner(hundredths: i64, unit: SpeedUnit) -> Conditions {
    Conditions {
        partner: Some(PartnerSpeed {
            mean: Speed::new(Hundredths::from_count(hundredths), unit),
            sd: None,
            n: None,
        }),
        ..Conditions::default()
    }
}

#[test]
fn partner_pace_is_the_difference_of_the_arms_means() {
    let kmh = |hundredths| partner(hundredths, SpeedUnit::KilometrePerHour);
    let of = |sessions: &[(Arm, Conditions)]| Moderators::of(&pair(sessions)).partner_pace;
    // 108.1 - 105.3; subtracting doubles would leave 2.799999999999997.
    assert_eq!(
        of(&[(Looser, kmh(10_810)), (Tighter, kmh(10_530))]),
        Some(2.8)
    );
    // (101 + 102)/2 - 100 = 1.5; 60 mph is 96.56064 km/h.
    let three = [
        (Looser, kmh(10_100)),
        (Tighter, kmh(10_000)),
        (Looser, kmh(10_200)),
    ];
    assert_eq!(of(&three), Some(1.5));
    let mph = partner(6_000, SpeedUnit::MilePerHour);
    assert_eq!(
        of(&[(Looser, mph), (Tighter, kmh(10_000))]),
        Some(-3.439_36)
    );
    assert_eq!(of(&[(Looser, mph), (Tighter, Conditions::default())]), None);
    assert_eq!(of(&[(Looser, mph)]), None);
}

#[test]
fn blinded_means_that_no_session_gave_the_bed_away() {
    let knew = |words: &[Knowledge]| {
        let sessions: Vec<_> = words
            .iter()
            .zip([Looser, Tighter, Looser])
            .map(|(word, arm)| {
                let conditions = Conditions {
                    knew_tension: *word,
                    ..Conditions::default()
                };
                (arm, conditions)
            })
            .collect();
        Moderators::of(&pair(&sessions)).blinded
    };
    assert_eq!(knew(&[No, No, No]), Some(true));
    assert_eq!(knew(&[No, Yes, Unknown]), Some(false));
    assert_eq!(knew(&[No, Unknown, No]), None);
}

#[test]
fn beds_level_strings_and_sessions_are_as_given() {
    let mut pair = pair(&[
        (Looser, Conditions::default()),
        (Tighter, Conditions::default()),
        (Tighter, Conditions::default()),
    ]);
    let unknown = Moderators::of(&pair);
    assert_eq!((unknown.bed_age_hours, unknown.bed_age_days), (None, None));
    assert_eq!((unknown.itn, unknown.mains_family), (None, None));
    assert_eq!((unknown.looser_sessions, unknown.tighter_sessions), (1, 2));

    let bed = |hours: i64, days: Option<i64>| StringBed {
        hours_played: Some(Hundredths::from_count(hours)),
        days_since_stringing: days.map(Hundredths::from_count),
    };
    pair.background = Background {
        frame: None,
        itn: Some(4),
        mains_family: Some(StringFamily::Polyester),
        looser_bed: bed(150, Some(700)),
        tighter_bed: bed(425, None),
    };
    let known = Moderators::of(&pair);
    // 1.5 h - 4.25 h.
    assert_eq!(known.bed_age_hours, Some(Hundredths::from_count(-275)));
    assert_eq!(known.bed_age_days, None);
    assert_eq!(
        (known.itn, known.mains_family),
        (Some(4), Some(StringFamily::Polyester))
    );
    pair.background.mains_family = Some(StringFamily::Unknown);
    assert_eq!(Moderators::of(&pair).mains_family, None);
}
