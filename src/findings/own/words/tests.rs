use super::super::tests::{FOREHAND, answer, effect, pair, played, publication, rows, speed};
use super::*;
use crate::effects::LeftOutReason;
use crate::findings::own::Fastest;
use crate::protocol::GapBand;
use crate::units::Hundredths;
use crate::vocabulary::Stroke;

/// An estimate with a range of half-width `reach` and nothing worthwhile set.
fn ranged(estimate: f64, reach: f64) -> OwnEffect {
    with_range(speed(estimate, 1.0), estimate, reach)
}

fn with_range(own: OwnEffect, estimate: f64, reach: f64) -> OwnEffect {
    OwnEffect {
        effect: effect(own.effect.outcome, estimate, 1.0),
        interval: Interval {
            low: estimate - reach,
            high: estimate + reach,
        },
        smallest_worthwhile: None,
        ..own
    }
}

fn of_speed(publication: &crate::findings::Publication, gap: i64) -> OwnAnswer {
    let pair = pair(vec![effect(Outcome::Speed, 5.0, 2.0)], gap, publication);
    answer(&pair, played((1, 1)), publication)
}

#[test]
fn a_range_without_zero_speaks_of_these_sessions() {
    assert_eq!(
        own_sentence(&ranged(2.1, 1.7)),
        "In your sessions the ball was faster with the looser string bed, by 2.1\u{A0}km/h (95\u{A0}% range 0.4 to 3.8)."
    );
    assert_eq!(
        own_sentence(&ranged(-2.1, 1.7)),
        "In your sessions the ball was faster with the tighter string bed, by 2.1\u{A0}km/h (95\u{A0}% range 0.4 to 3.8)."
    );
}

#[test]
fn a_range_with_zero_cannot_tell_and_never_says_no_difference() {
    assert_eq!(
        own_sentence(&ranged(0.8, 1.7)),
        "Your sessions alone cannot tell with which string bed the ball was faster: looser minus tighter was +0.8\u{A0}km/h (95\u{A0}% range \u{2212}0.9 to 2.5)."
    );
    // An end at zero is not beyond it.
    assert!(own_sentence(&ranged(1.0, 1.0)).contains("cannot tell"));
    assert!(own_sentence(&ranged(-1.0, 1.0)).contains("cannot tell"));
}

#[test]
fn a_range_within_what_is_worthwhile_is_too_small_to_matter() {
    let mut own = ranged(0.2, 0.7);
    own.smallest_worthwhile = Some(1.0);
    assert_eq!(
        own_sentence(&own),
        "In your sessions the difference was too small to matter: looser minus tighter was +0.2\u{A0}km/h (95\u{A0}% range \u{2212}0.5 to 0.9), all of it less than the host calls worthwhile."
    );
    own.smallest_worthwhile = Some(0.8);
    assert!(own_sentence(&own).contains("cannot tell"));
}

#[test]
fn no_sentence_names_a_direction_that_its_range_leaves_open() {
    let any = speed(1.0, 1.0);
    for outcome in Outcome::ALL {
        for step in -40_i32..=40 {
            for reach in [0.001, 0.3, 1.0, 2.5, 9.0, 150.0] {
                let mut own = with_range(any.clone(), f64::from(step) / 8.0, reach);
                own.effect.outcome = *outcome;
                own.smallest_worthwhile = (step % 3 == 0).then_some(0.5);
                let sentence = own_sentence(&own);
                let is_open = own.interval.low <= 0.0 && 0.0 <= own.interval.high;
                let names =
                    ["with the looser", "with the tighter"].map(|words| sentence.contains(words));
                assert!(!is_open || names == [false, false], "{sentence}");
                assert!(!sentence.contains("no difference"), "{sentence}");
                // The bed that is named is the one on whose side the whole range lies.
                if names != [false, false] {
                    assert_eq!(names[0], 0.0 < own.interval.low, "{sentence}");
                    assert_eq!(names[1], own.interval.high < 0.0, "{sentence}");
                }
                own.best_guess = Ok(Shrunken {
                    estimate: f64::from(step) / 8.0,
                    weight: 0.5,
                    se: reach,
                    interval: own.interval,
                });
                let guess = guess_sentence(&own).unwrap();
                assert_eq!(guess.contains("leaves open"), is_open, "{guess}");
                for word in ["faster", "more balls", "proves", "significant", "NaN"] {
                    assert!(!guess.contains(word), "{guess}");
                }
            }
        }
    }
}

#[test]
fn shares_are_in_points_and_no_more_than_a_hundred() {
    let mut own = ranged(90.0, 30.0);
    own.effect.outcome = Outcome::DeepShare;
    assert_eq!(
        own_sentence(&own),
        "In your sessions a larger share of the balls that landed in was deep with the looser string bed, by 90\u{A0}points (95\u{A0}% range 60 to 100)."
    );
    own.effect.estimate = -90.0;
    own.interval = Interval {
        low: -120.0,
        high: -60.0,
    };
    assert!(
        own_sentence(&own)
            .contains("with the tighter string bed, by 90\u{A0}points (95\u{A0}% range 60 to 100)")
    );
}

#[test]
fn a_best_guess_is_said_with_both_figures() {
    // The figures of the test that works one out by hand.
    assert_eq!(
        guess_sentence(&speed(5.0, 2.0)).unwrap(),
        "Your sessions alone say +5.0\u{A0}km/h (2.2 to 7.8). Together with everybody else’s, our best guess for you is +3.5\u{A0}km/h (just above 0 to 7.1)."
    );
    let mut refused = speed(5.0, 2.0);
    refused.best_guess = Err(Reason::NoHeterogeneity);
    assert_eq!(guess_sentence(&refused), None);
}

#[test]
fn why_there_is_no_best_guess_is_said_once() {
    let said = |answer: &OwnAnswer| no_guess_sentences(answer).join("|");
    let mut answer = of_speed(&publication(rows(10), None), 6);
    assert_eq!(
        said(&answer),
        "We give no best guess for you yet: too few players have repeated sessions with one string bed, so what lasts cannot be told from good and bad days."
    );
    // Both primary outcomes, the same reason.
    answer.primary[1].found = answer.primary[0].found.clone();
    assert_eq!(no_guess_sentences(&answer).len(), 1);
    // Two reasons, each with the outcomes it holds for.
    if let Ok(own) = &mut answer.primary[1].found {
        own.effect.outcome = Outcome::DeepShare;
        own.best_guess = Err(Reason::NoHeterogeneity);
    }
    let sentences = no_guess_sentences(&answer);
    assert!(sentences[0].ends_with("good and bad days (Mean ball speed, forehand)."));
    assert!(sentences[1].ends_with("good and bad days (Deep share, forehand)."));
    assert!(sentences[1].contains("could not be told from chance"));

    assert!(said(&of_speed(&publication(rows(9), Some(1.0)), 6)).contains("fewer than ten"));
    assert!(said(&of_speed(&publication(rows(3), Some(1.0)), 6)).contains("too few other players"));
    assert_eq!(said(&of_speed(&publication(rows(10), Some(1.0)), 6)), "");
    if let Ok(own) = &mut answer.primary[0].found {
        own.best_guess = Err(Reason::NotConverged);
    }
    assert!(said(&answer).contains("(not_converged)"));
}

#[test]
fn why_there_is_nothing_to_compare_with_is_said_plainly() {
    let said = |answer: &OwnAnswer| no_pool_sentences(answer, 7).join("|");
    let mut unpublished = publication(Vec::new(), None);
    unpublished.batch = None;
    assert_eq!(
        said(&of_speed(&unpublished, 6)),
        "No figures over all players are public now, so there is nothing to compare with. They appear once 7 players have sent, and are hidden for a while after withdrawals."
    );
    assert!(no_guess_sentences(&of_speed(&unpublished, 6))[0].contains("are public now"));
    let published = publication(rows(10), None);
    assert!(said(&of_speed(&published, 9)).starts_with("Too few players have sent"));
    assert_eq!(said(&of_speed(&published, 6)), "");
    let mut answer = of_speed(&published, 6);
    for (reason, words) in [
        (NoPool::NoBand, "at a gap like yours"),
        (
            NoPool::NotEstimable(Reason::FewDegreesOfFreedom),
            "for a pooled figure",
        ),
    ] {
        if let Ok(own) = &mut answer.primary[0].found {
            own.pool = Err(reason);
        }
        assert!(said(&answer).contains(words), "{}", said(&answer));
    }
}

#[test]
fn a_gap_is_named_with_where_it_belongs() {
    let publication = publication(rows(10), None);
    let bands = publication.rules.bands.clone();
    let said = |gap| gap_sentence(&of_speed(&publication, gap), &bands);
    assert_eq!(
        said(6),
        "Your gap is 6 lb. It is pooled with gaps of 5 to under 8 lb."
    );
    assert!(said(3).starts_with("Your gap is 3 lb. That is smaller than the protocol asks"));
    let mut unknown = of_speed(&publication, 6);
    unknown.band = GapBand::Numbered(9);
    assert!(gap_sentence(&unknown, &bands).ends_with("in no band of this study."));
    let kilograms = GapBands::new(TensionUnit::Kilogram, vec![Hundredths::from_count(200)]);
    unknown.band = GapBand::Numbered(0);
    assert_eq!(
        gap_sentence(&unknown, &kilograms.unwrap()),
        "Your gap is 2.72 kg. It is pooled with gaps of 2 kg and over."
    );
}

#[test]
fn what_a_range_rests_on_is_said_where_it_is_not_what_was_sent() {
    for source in VarianceSource::ALL {
        let said = source_sentence(*source);
        let is_plain = matches!(source, VarianceSource::Reported | VarianceSource::Counts);
        assert_eq!(said.is_none(), is_plain, "{source:?}");
        let names_spread = said.is_some_and(|said| said.contains("standard deviation"));
        assert_eq!(names_spread, source.is_imputed(), "{source:?}");
    }
}

#[test]
fn days_are_in_the_difference_however_many_sessions() {
    assert!(days_sentence(&played((1, 1))).contains("cannot be taken out"));
    assert!(days_sentence(&played((2, 1))).contains("cannot be taken out"));
    assert!(days_sentence(&played((2, 2))).contains("several sessions"));
    for sessions in [(1, 1), (2, 2)] {
        assert!(days_sentence(&played(sessions)).contains("not about your game"));
    }
}

#[test]
fn the_place_in_the_crowd_is_no_more_than_the_ranges_say() {
    let mut own = speed(5.0, 2.0);
    assert!(own.pool.as_ref().unwrap().shown.prediction.is_ok());
    for (place, words) in [
        (
            Place::Inside,
            "lies inside the range for another such player",
        ),
        (Place::WithinReach, "so chance may be all there is to it"),
        (Place::Outside, "happens by chance too"),
    ] {
        own.place = Some(place);
        assert!(place_sentence(&own).unwrap().contains(words));
    }
    own.place = None;
    assert_eq!(place_sentence(&own), None);
    own.pool = Err(NoPool::TooFewPlayers);
    assert_eq!(pool_sentence(&own), None);
}

#[test]
fn the_pool_says_what_it_rests_on() {
    let mut own = speed(5.0, 2.0);
    let said = pool_sentence(&own).unwrap();
    assert!(said.contains("10 pairs, 10 players"), "{said}");
    if let Ok(pool) = &mut own.pool {
        pool.basis = Basis::Planned;
    }
    assert!(
        pool_sentence(&own)
            .unwrap()
            .ends_with("played in a drawn order.")
    );
}

#[test]
fn what_would_make_it_surer_has_its_figures() {
    // z = 1.96: sqrt of 4, 2 and 2; with days of 6, 4 and 3.
    assert_eq!(
        surer_sentence(&speed(5.0, 4.0)),
        "The range reaches 3.9\u{A0}km/h to either side now; with twice the shots in each session it would be about 2.8, four sessions with as many shots in each about 2.8. With what changes from one session to the next, as players who repeated sessions show it, it reaches 4.8\u{A0}km/h to either side now; with twice the shots in each session it would be about 3.9, four sessions with as many shots in each about 3.4."
    );
    let mut alone = speed(5.0, 4.0);
    alone.surer.with_days = None;
    alone.surer.shots.four_sessions = None;
    assert_eq!(
        surer_sentence(&alone),
        "The range reaches 3.9\u{A0}km/h to either side now; with twice the shots in each session it would be about 2.8."
    );
}

#[test]
fn advice_fits_how_it_was_played() {
    let publication = publication(rows(10), None);
    let mut answer = of_speed(&publication, 6);
    let has = |answer: &OwnAnswer, words: &str| {
        advice(answer).iter().any(|advice| advice.contains(words))
    };
    assert!(has(&answer, "looser, tighter, tighter, looser"));
    assert!(has(&answer, "Draw the order"));
    assert!(!has(&answer, "standard deviation"));
    answer.played.sessions = (2, 2);
    assert!(has(&answer, "looser, tighter, tighter, looser"));
    answer.played.balanced = Some(true);
    answer.played.planned = true;
    assert!(!has(&answer, "looser, tighter, tighter, looser") && !has(&answer, "Draw"));
    if let Ok(own) = &mut answer.primary[0].found {
        own.effect.source = VarianceSource::AssumedCv;
    }
    assert!(has(&answer, "Note the standard deviation"));
}

#[test]
fn the_fastest_shots_are_shown_and_never_compared() {
    let mut answer = of_speed(&publication(rows(10), None), 6);
    assert_eq!(fastest_sentence(&answer), None);
    let fastest = |arm, kmh| Fastest {
        class: FOREHAND,
        arm,
        kmh,
    };
    answer.played.fastest = vec![fastest(Arm::Looser, 131.0), fastest(Arm::Tighter, 128.4)];
    let said = fastest_sentence(&answer).unwrap();
    assert!(said.starts_with(
        "Your fastest shots: forehand, looser, 131\u{A0}km/h; forehand, tighter, 128\u{A0}km/h."
    ));
    assert!(said.contains("never compared"));
}

#[test]
fn what_is_left_out_is_named_with_its_reason() {
    let left = LeftOut {
        outcome: Outcome::InShare,
        class: ShotClass::of(Stroke::Serve),
        reason: LeftOutReason::TooFewShots,
    };
    assert_eq!(
        left_out_sentence(&left),
        "In share, serve: left out, because an arm has fewer shots than the protocol asks."
    );
}
