use super::*;
use crate::findings::certainty::{Certainty, CertaintyReason};
use crate::findings::labels::unit_words;
use crate::findings::scrutiny::Scrutiny;
use crate::findings::{Basis, IntervalKind, Key, Shown, Withheld};
use crate::pooling::{Effects, Level, Reason, pool};
use crate::protocol::GapBand::{Numbered, UnderProtocol};
use crate::units::{Hundredths, SpeedUnit, TensionUnit, Units};
use crate::vocabulary::{Direction, ShotClass, Stroke};
use ndarray::Array1;

mod answer;

fn bands() -> GapBands {
    let edges = [500, 800, 1200].map(Hundredths::from_count);
    GapBands::new(TensionUnit::Pound, edges.to_vec()).unwrap()
}

fn range(low: f64, high: f64) -> Interval {
    Interval { low, high }
}

/// A finding over two players whose figures are replaced by the given ones.
fn finding(ordinary: (f64, f64), any_time: (f64, f64)) -> Finding {
    Finding {
        pooled: pool(&two_effects(), Level::NINETY_FIVE),
        shown: Ok(Shown {
            estimate: (ordinary.0 + ordinary.1) / 2.0,
            interval: range(ordinary.0, ordinary.1),
            kind: IntervalKind::HartungKnappSafe,
            p: Err(Reason::OutOfRange),
            prediction: Ok(range(-8.0, 12.0)),
        }),
        any_time: Ok(AnyTime {
            estimate: (ordinary.0 + ordinary.1) / 2.0,
            interval: range(any_time.0, any_time.1),
            k: 2,
        }),
        bootstrap_prediction: Err(Reason::OutOfRange),
    }
}

fn two_effects() -> Effects {
    let column = |values: [f64; 2]| Array1::from(values.to_vec());
    Effects::new(column([1.0, 2.0]).view(), column([1.0, 1.0]).view(), None).unwrap()
}

/// The same analysis with another certainty.
fn with_certainty(analysis: Analysis, level: CertaintyLevel) -> Analysis {
    let mut scrutiny = Scrutiny::of_table(&two_effects(), Level::NINETY_FIVE);
    scrutiny.certainty = Some(Certainty {
        level,
        reasons: vec![CertaintyReason::SelfReported],
    });
    Analysis {
        scrutiny: Some(Box::new(scrutiny)),
        ..analysis
    }
}

fn analysis(outcome: Outcome, band: GapBand, result: Result<Finding, Withheld>) -> Analysis {
    Analysis {
        key: Key {
            outcome,
            class: ShotClass {
                stroke: Stroke::Forehand,
                direction: Direction::All,
            },
            band,
        },
        primary: band != UnderProtocol,
        smallest_worthwhile: None,
        basis: Basis::All,
        corrected_at_least: 0,
        dominated: false,
        result,
        without_imputed: None,
        adjusted_p: None,
        scrutiny: None,
        said: None,
    }
}

fn said(outcome: Outcome, ordinary: (f64, f64), any_time: (f64, f64)) -> String {
    let finding = finding(ordinary, any_time);
    sentence(&analysis(outcome, Numbered(0), Ok(finding)), &bands())
}

#[test]
fn a_range_that_spans_zero_is_that_we_cannot_tell() {
    assert_eq!(
        said(Outcome::Speed, (-0.5, 1.5), (-1.3, 1.7)),
        "At a gap of 5 to under 8 lb, we cannot tell which string bed is faster: looser minus \
         tighter is +0.5\u{A0}km/h, 95\u{A0}% range \u{2212}1.3 to 1.7; 2 pairs, 2 players. For \
         another pair of sessions by another such player it could be from \u{2212}8 to 12 km/h."
    );
}

#[test]
fn nothing_is_said_of_another_player_where_the_range_is_that_of_the_mean_again() {
    for (prediction, is_told) in [
        ((-0.5, 1.5), false),
        ((-0.52, 1.53), false),
        ((-0.5, 3.0), true),
    ] {
        let mut finding = finding((-0.5, 1.5), (-1.3, 1.7));
        let shown = finding.shown.as_mut().unwrap();
        shown.prediction = Ok(range(prediction.0, prediction.1));
        assert_eq!(shown.another().is_some(), is_told, "{prediction:?}");
        let said = sentence(
            &analysis(Outcome::Speed, Numbered(0), Ok(finding)),
            &bands(),
        );
        assert_eq!(said.contains("another such player"), is_told, "{said}");
    }
}

#[test]
fn every_outcome_has_its_words_for_both_directions() {
    for (outcome, more, less, question) in [
        (
            Outcome::Speed,
            "make the ball faster",
            "make the ball slower",
            "which string bed is faster",
        ),
        (
            Outcome::DeepShare,
            "land deep a larger share of the balls that are in",
            "land deep a smaller share of the balls that are in",
            "with which string bed a larger share of the balls that are in lands deep",
        ),
        (
            Outcome::InShare,
            "keep a larger share of balls in",
            "keep a smaller share of balls in",
            "which string bed keeps a larger share of balls in",
        ),
    ] {
        let unit = unit_words(outcome);
        let up = said(outcome, (1.0, 3.0), (0.5, 3.5));
        assert!(
            up.contains(&format!("the looser string bed may {more}: ")),
            "{up}"
        );
        assert!(
            up.contains(&format!("is +2.0\u{A0}{unit}, 95\u{A0}% range 0.5 to 3.5")),
            "{up}"
        );
        let down = said(outcome, (-3.0, -1.0), (-3.5, -0.5));
        assert!(
            down.contains(&format!("the looser string bed may {less}: ")),
            "{down}"
        );
        assert!(
            down.contains(&format!("is \u{2212}2.0\u{A0}{unit}, ")),
            "{down}"
        );
        let open = said(outcome, (-1.0, 3.0), (-2.0, 4.0));
        assert!(
            open.contains(&format!("we cannot tell {question}: ")),
            "{open}"
        );
        for sentence in [up, down, open] {
            assert!(!sentence.contains("no difference") && !sentence.contains("significant"));
        }
    }
}

#[test]
fn no_claim_is_stronger_than_either_of_its_ranges() {
    let verdict_of = |ordinary, any_time| verdict(&finding(ordinary, any_time), None);
    assert_eq!(verdict_of((1.0, 3.0), (0.5, 3.5)), Verdict::LooserMore);
    assert_eq!(verdict_of((-3.0, -1.0), (-3.5, -0.5)), Verdict::LooserLess);
    assert_eq!(verdict_of((1.0, 3.0), (-0.5, 3.5)), Verdict::CannotTell);
    assert_eq!(verdict_of((-0.1, 3.0), (0.5, 3.5)), Verdict::CannotTell);
    assert_eq!(verdict_of((-3.0, -1.0), (0.5, 3.5)), Verdict::CannotTell);
    assert_eq!(verdict_of((0.0, 3.0), (0.0, 3.5)), Verdict::CannotTell);
}

#[test]
fn without_the_range_for_any_time_there_is_no_claim() {
    let mut few = finding((1.0, 3.0), (0.5, 3.5));
    few.any_time = Err(Reason::FewerThanTenClusters);
    assert_eq!(verdict(&few, None), Verdict::TooFew);
    let few = analysis(Outcome::Speed, Numbered(2), Ok(few));
    assert_eq!(
        sentence(&few, &bands()),
        "At a gap of 12 lb and over, too few players for a claim yet (2 pairs, 2 players)."
    );
    assert_eq!(
        answer(Outcome::Speed, &[&few], &bands()),
        "Too few players so far to tell which string bed is faster."
    );
}

#[test]
fn a_withheld_analysis_says_nothing_but_the_minimum() {
    let withheld = analysis(
        Outcome::InShare,
        Numbered(1),
        Err(Withheld { minimum_players: 5 }),
    );
    assert_eq!(
        sentence(&withheld, &bands()),
        "At a gap of 8 to under 12 lb, fewer than 5 players so far, so nothing is shown."
    );
}

#[test]
fn a_range_that_leaves_zero_out_is_not_rounded_to_it() {
    let near = said(Outcome::Speed, (1.0, 5.0), (0.04, 5.2));
    assert!(near.contains("range just above 0 to 5.2"), "{near}");
}

#[test]
fn the_verb_comes_from_certainty() {
    let more = analysis(
        Outcome::Speed,
        Numbered(0),
        Ok(finding((1.0, 3.0), (0.5, 3.5))),
    );
    for (level, said) in [
        (
            CertaintyLevel::High,
            "the looser string bed makes the ball faster: ",
        ),
        (
            CertaintyLevel::Moderate,
            "the looser string bed probably makes the ball faster: ",
        ),
        (
            CertaintyLevel::Low,
            "the looser string bed may make the ball faster: ",
        ),
        (
            CertaintyLevel::VeryLow,
            "we are very unsure whether the looser string bed makes the ball faster: ",
        ),
    ] {
        let sure = with_certainty(more.clone(), level);
        let sentence = sentence(&sure, &bands());
        assert!(sentence.contains(said), "{sentence}");
        // The answer over all gaps says no more than the sentence of one.
        let answer = answer(Outcome::Speed, &[&sure], &bands()).to_lowercase();
        assert!(answer.starts_with(said.trim_end_matches(": ")), "{answer}");
    }
}

#[test]
fn a_range_inside_the_smallest_worthwhile_difference_is_too_small_to_matter() {
    let small = finding((-0.2, 0.4), (-0.5, 0.7));
    assert_eq!(verdict(&small, Some(1.0)), Verdict::TooSmall);
    assert_eq!(verdict(&small, Some(0.7)), Verdict::CannotTell);
    assert_eq!(verdict(&small, None), Verdict::CannotTell);
    let surely_small = finding((0.2, 0.4), (0.1, 0.6));
    assert_eq!(verdict(&surely_small, Some(1.0)), Verdict::TooSmall);
    let small = Analysis {
        smallest_worthwhile: Some(1.0),
        ..analysis(Outcome::Speed, Numbered(0), Ok(small))
    };
    let said = sentence(&small, &bands());
    assert!(
        said.contains("the difference may be too small to matter: looser minus tighter is +0.1"),
        "{said}"
    );
    assert!(
        answer(Outcome::Speed, &[&small], &bands())
            .starts_with("The difference may be too small to matter at a gap of 5 to under 8 lb (")
    );
}

#[test]
fn a_sentence_is_told_in_the_units_of_its_reader() {
    let bands = bands();
    let wording = Wording {
        bands: &bands,
        units: Units {
            speed: SpeedUnit::MilePerHour,
            tension: TensionUnit::Kilogram,
        },
    };
    let open = |outcome| analysis(outcome, Numbered(0), Ok(finding((-0.5, 1.5), (-1.3, 1.7))));
    // 0.5, 1.3, 1.7, 8 and 12 km/h over 1.609344.
    assert_eq!(
        sentence(&open(Outcome::Speed), wording),
        "At a gap of 2.3 to under 3.6 kg, we cannot tell which string bed is faster: looser minus \
         tighter is +0.3\u{A0}mph, 95\u{A0}% range \u{2212}0.8 to 1.1; 2 pairs, 2 players. For \
         another pair of sessions by another such player it could be from \u{2212}5.0 to 7.5 mph."
    );
    let share = sentence(&open(Outcome::InShare), wording);
    assert!(
        share.contains("is +0.5\u{A0}points, 95\u{A0}% range \u{2212}1.3 to 1.7"),
        "{share}"
    );
    let faster = analysis(
        Outcome::Speed,
        Numbered(2),
        Ok(finding((1.0, 3.0), (0.5, 3.5))),
    );
    assert_eq!(
        answer(Outcome::Speed, &[&faster], wording),
        "The looser string bed may make the ball faster at a gap of 5.4 kg and over \
         (+1.2\u{A0}mph, 95\u{A0}% range 0.3 to 2.2; 2 pairs, 2 players)."
    );
}

#[test]
fn figures_beside_a_sentence_show_no_more_than_it_says() {
    let beside = |ordinary, any_time| {
        let analysis = analysis(Outcome::Speed, Numbered(0), Ok(finding(ordinary, any_time)));
        let verdict = verdict(analysis.result.as_ref().unwrap(), None);
        (verdict, figures_beside(&analysis).unwrap().interval)
    };
    // A claim has the figures that its sentence names.
    assert_eq!(
        beside((0.1, 3.0), (0.5, 3.5)),
        (Verdict::LooserMore, range(0.5, 3.5))
    );
    // Where one range leaves out zero and the other does not, the picture spans zero.
    assert_eq!(
        beside((-0.1, 3.0), (0.5, 3.5)),
        (Verdict::CannotTell, range(-0.1, 3.5))
    );
    assert_eq!(
        beside((0.1, 3.0), (-0.5, 2.5)),
        (Verdict::CannotTell, range(-0.5, 3.0))
    );
    assert_eq!(
        beside((0.1, 3.0), (-3.5, -0.5)),
        (Verdict::CannotTell, range(-3.5, 3.0))
    );
}

#[test]
fn nothing_stands_beside_a_finding_without_a_range_to_rest_on() {
    let mut few = finding((1.0, 3.0), (0.5, 3.5));
    few.any_time = Err(Reason::FewerThanTenClusters);
    let few = analysis(Outcome::Speed, Numbered(0), Ok(few));
    let withheld = analysis(
        Outcome::Speed,
        Numbered(0),
        Err(Withheld { minimum_players: 5 }),
    );
    assert_eq!(figures_beside(&few), None);
    assert_eq!(figures_beside(&withheld), None);
    // A share cannot change by more than 100 points.
    let wide = finding((-90.0, 90.0), (-120.0, 130.0));
    let wide = analysis(Outcome::InShare, Numbered(0), Ok(wide));
    assert_eq!(
        figures_beside(&wide).unwrap().interval,
        range(-100.0, 100.0)
    );
}
