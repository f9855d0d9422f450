//! Screening of whole contributions, through the real door.

use super::likeness::Likeness;
use super::*;
use crate::effects::of_pair;
use crate::effects::spread::CrowdSpread;
use crate::intake;
use crate::protocol::Study;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

fn study() -> Study {
    intake::study(include_bytes!("../../fixtures/demo/study.json")).unwrap()
}

fn line(figures: [f64; 6]) -> Value {
    let [hit, landed_in, deep, mean, sd, max] = figures;
    json!({
        "stroke": "forehand", "direction": "all", "hit": hit, "in": landed_in, "deep": deep,
        "speed_mean": mean, "speed_sd": sd, "sd_divisor": "n-1", "speed_max": max,
        "speed_n": hit, "speed_unit": "km/h", "speed_over": "all",
    })
}

const LOOSER: [f64; 6] = [87.0, 61.0, 23.0, 99.4, 12.7, 133.8];
const TIGHTER: [f64; 6] = [93.0, 72.0, 31.0, 97.8, 14.1, 129.6];

fn document(looser: Value, tighter: Value) -> Value {
    let session = |arm: &str, mains: i64, line: Value| json!({"arm": arm, "tension": {"mains": mains, "unit": "lb"}, "shots": [line]});
    json!({
        "study": "looser-or-tighter",
        "consent": {"text_version": "demo-4", "adult": true, "scope": "pooling"},
        "sessions": [session("looser", 46, looser), session("tighter", 54, tighter)],
    })
}

fn pair(looser: [f64; 6], tighter: [f64; 6]) -> Value {
    document(line(looser), line(tighter))
}

fn screened(document: &Value, likeness: &[Likeness]) -> Screening {
    looked(document).beside(likeness)
}

fn looked(document: &Value) -> ByItself {
    let study = study();
    let admitted = intake::contribution(document.to_string().as_bytes(), &study).unwrap();
    let pair = of_pair(
        &admitted.contribution,
        &study.protocol,
        &CrowdSpread::default(),
    )
    .unwrap();
    by_itself(&Given {
        contribution: &admitted.contribution,
        pair: &pair,
        noticed: &admitted.flags,
        published: None,
    })
}

fn rules(screening: &Screening) -> Vec<(Rule, bool)> {
    let flags = screening.flags.iter();
    flags.map(|flag| (flag.rule, flag.holds)).collect()
}

fn found(looser: [f64; 6], tighter: [f64; 6]) -> Vec<(Rule, bool)> {
    rules(&screened(&pair(looser, tighter), &[]))
}

/// The looser session with some of its figures changed.
fn looser_with(changes: &[(usize, f64)]) -> [f64; 6] {
    let mut figures = LOOSER;
    for (place, value) in changes {
        figures[*place] = *value;
    }
    figures
}

#[test]
fn an_ordinary_pair_has_no_flag() {
    assert_eq!(found(LOOSER, TIGHTER), []);
}

#[test]
fn a_session_entered_twice_is_held_also_when_its_speeds_were_shifted() {
    assert_eq!(found(LOOSER, LOOSER), [(Rule::SessionsAlike, true)]);
    let faster = looser_with(&[(3, 105.4), (5, 139.8)]);
    assert_eq!(found(faster, LOOSER)[0], (Rule::SessionsAlike, true));
    let only_mean = looser_with(&[(3, 103.9)]);
    assert_eq!(found(only_mean, LOOSER)[0], (Rule::SessionsAlike, true));
}

#[test]
fn one_figure_in_common_is_nothing() {
    assert_eq!(
        found(LOOSER, {
            let mut t = TIGHTER;
            t[4] = LOOSER[4];
            t
        }),
        []
    );
    assert_eq!(
        found(LOOSER, {
            let mut t = TIGHTER;
            t[1] = 65.0;
            t
        }),
        []
    );
}

#[test]
fn two_impossible_percentages_hold_and_one_does_not() {
    let percents = |landed_in: f64, deep: f64| {
        json!({
            "stroke": "forehand", "direction": "all", "hit": 26, "in_percent": landed_in,
            "deep_percent": deep, "deep_percent_of": "hit", "speed_mean": 97.8,
            "speed_n": 26, "speed_unit": "km/h", "speed_over": "all",
        })
    };
    // Of 26 shots 18 make 69 %, 6 make 23 % and 8 make 31 %; no count makes 64 % or 22 %.
    let one = screened(&document(percents(69.0, 23.0), percents(64.0, 31.0)), &[]);
    assert_eq!(rules(&one), [(Rule::PercentImpossible, false)]);
    let two = screened(&document(percents(69.0, 22.0), percents(64.0, 31.0)), &[]);
    assert_eq!(rules(&two), [(Rule::PercentImpossible, true)]);
    assert_eq!(two.flags[0].figure.as_deref(), Some("2 of 4 percentages"));
    assert_eq!(two.flags[0].places.len(), 2);
}

#[test]
fn round_figures_hold_when_nearly_all_are_round() {
    let found = found(
        [100.0, 80.0, 40.0, 115.0, 10.0, 140.0],
        [100.0, 70.0, 30.0, 90.0, 15.0, 125.0],
    );
    assert!(found.contains(&(Rule::RoundFigures, true)), "{found:?}");
}

#[test]
fn fastest_shots_beyond_the_bounds_of_any_shots_hold() {
    // Samuelson 1968: of 20 shots none is further than 19 / sqrt(20) = 4.249 standard deviations.
    let beyond = |reach: f64| {
        let line = [20.0, 13.0, 4.0, 80.0, 10.0, 80.0 + reach];
        found(line, TIGHTER)
    };
    // A divisor of n is allowed for, and rounding: 10.05 sqrt(20/19) 4.249 + 0.1 = 43.9.
    assert!(!beyond(25.0).iter().any(|(_, holds)| *holds));
    assert_eq!(beyond(44.1), [(Rule::SpeedsInconsistent, true)]);
    // Nor is the fastest nearer than s / sqrt(n) = 2.2.
    assert_eq!(beyond(1.9), [(Rule::SpeedsInconsistent, true)]);
}

#[test]
fn a_fastest_shot_that_hardly_belongs_to_its_spread_holds() {
    // 87 normal shots reach 2.5 standard deviations; 0.8 and 7 are far from it.
    for max in [109.6, 99.4 + 7.0 * 12.7] {
        let odd = looser_with(&[(5, max)]);
        assert_eq!(found(odd, TIGHTER), [(Rule::SpeedsInconsistent, true)]);
    }
}

#[test]
fn spreads_that_no_strokes_have_hold() {
    let narrow = looser_with(&[(4, 1.4), (5, 103.1)]);
    assert!(found(narrow, TIGHTER).contains(&(Rule::SpreadImplausible, true)));
}

#[test]
fn proportions_that_are_worked_out_hold() {
    let of = |mean: f64| {
        let tenth = |value: f64| (value * 10.0).round() / 10.0;
        (mean, tenth(0.1 * mean), tenth(1.3 * mean))
    };
    let with = |mut figures: [f64; 6], mean: f64| {
        (figures[3], figures[4], figures[5]) = of(mean);
        figures
    };
    let found = found(with(LOOSER, 99.4), with(TIGHTER, 93.7));
    assert!(found.contains(&(Rule::SpeedsTooRegular, true)), "{found:?}");
}

#[test]
fn a_speed_beyond_the_level_holds() {
    let mut document = pair(looser_with(&[(3, 116.4), (5, 150.8)]), TIGHTER);
    assert_eq!(rules(&screened(&document, &[])), []);
    document["player"] = json!({"itn": 10});
    let found = screened(&document, &[]);
    assert_eq!(rules(&found), [(Rule::SpeedImplausible, true)]);
}

#[test]
fn what_is_told_is_the_same_whichever_arm_it_is_in() {
    let cases = [
        (LOOSER, TIGHTER),
        (LOOSER, LOOSER),
        (looser_with(&[(4, 1.4), (5, 103.1)]), TIGHTER),
        (looser_with(&[(5, 190.0)]), TIGHTER),
        (
            looser_with(&[(3, 140.0), (5, 171.0)]),
            [93.0, 72.0, 31.0, 120.0, 14.1, 159.6],
        ),
        (
            [100.0, 80.0, 40.0, 115.0, 10.0, 140.0],
            [100.0, 70.0, 30.0, 90.0, 15.0, 125.0],
        ),
    ];
    for (looser, tighter) in cases {
        let told = |one, other| {
            let mut flags = screened(&pair(one, other), &[]).flags;
            flags.iter_mut().for_each(|flag| flag.places.clear());
            flags
        };
        assert_eq!(told(looser, tighter), told(tighter, looser));
    }
}

fn marks_of(document: &Value) -> Vec<Mark> {
    let admitted = intake::contribution(document.to_string().as_bytes(), &study()).unwrap();
    marks(&admitted.contribution)
}

/// What a contribution shares with one that came before.
fn likeness(document: &Value, earlier: &Value, own: bool) -> Likeness {
    let earlier = marks_of(earlier);
    let has = |mark: &Mark| earlier.iter().any(|other| other.text == mark.text);
    let marks = marks_of(document);
    let shared = marks.iter().enumerate().filter(|(_, mark)| has(mark));
    Likeness {
        own,
        shared: shared.map(|(place, _)| place).collect(),
    }
}

#[test]
fn a_copy_is_held_whoever_sends_it_and_however_it_is_ordered() {
    let original = pair(LOOSER, TIGHTER);
    for copy in [
        original.clone(),
        pair(TIGHTER, LOOSER),
        pair(looser_with(&[(3, 104.9)]), TIGHTER),
        pair(looser_with(&[(1, 59.0), (3, 104.9)]), TIGHTER),
    ] {
        for (own, rule) in [
            (true, Rule::DuplicateOfOwn),
            (false, Rule::DuplicateOfAnother),
        ] {
            let likeness = likeness(&copy, &original, own);
            assert_eq!(rules(&screened(&copy, &[likeness])), [(rule, true)]);
        }
    }
}

#[test]
fn a_further_pair_that_shares_a_few_counts_is_not_held() {
    let first = pair(LOOSER, TIGHTER);
    let further = pair(
        [87.0, 61.0, 23.0, 101.2, 13.9, 137.1],
        [93.0, 70.0, 27.0, 99.1, 14.1, 131.0],
    );
    for own in [true, false] {
        let likeness = likeness(&further, &first, own);
        assert_eq!(likeness.shared.len(), 3);
        assert_eq!(rules(&screened(&further, &[likeness])), []);
    }
}

#[test]
fn a_percentage_and_its_count_have_the_same_mark() {
    let mut percent = line(LOOSER);
    let fields = percent.as_object_mut().unwrap();
    fields.remove("in");
    fields.insert("in_percent".to_owned(), json!(70));
    let original = pair(LOOSER, TIGHTER);
    let other = document(percent, line(TIGHTER));
    let all = marks_of(&other).len();
    assert_eq!(likeness(&other, &original, false).shared.len(), all);
}

#[test]
fn words_for_one_who_waits_name_the_reasons_and_no_others() {
    let flags = [
        ScreeningFlag::new(Rule::RoundFigures, true, None, "Why one."),
        ScreeningFlag::new(Rule::TensionUnusual, false, None, "Why not."),
    ];
    let words = waiting_words(&flags);
    assert!(
        words.contains("Why one.") && !words.contains("Why not."),
        "{words}"
    );
    assert!(!waiting_words(&[]).contains("about"), "no reason is known");
}

/// How often others with these sets of marks are passed over, and how often one is found; asserts that
/// nobody who is passed over would be found.
fn passed_over_and_found(looked: &ByItself, sets: impl Iterator<Item = usize>) -> (i32, i32) {
    let n_marks = looked.marks().len();
    let (mut passed_over, mut found) = (0, 0);
    for set in sets {
        let shared: Vec<usize> = (0..n_marks).filter(|place| set >> place & 1 == 1).collect();
        let may_repeat = looked.may_repeat(&shared);
        passed_over += i32::from(!may_repeat);
        for own in [true, false] {
            let shared = shared.clone();
            let besides = looked.clone().beside(&[Likeness { own, shared }]);
            let is_found = !besides.flags.is_empty();
            found += i32::from(is_found);
            assert!(may_repeat || !is_found, "{own} {set:b}");
        }
    }
    (passed_over, found)
}

#[test]
fn whoever_may_repeat_nothing_makes_no_difference() {
    let looked = looked(&pair(LOOSER, TIGHTER));
    assert_eq!(looked.marks().len(), 13);
    let (passed_over, found) = passed_over_and_found(&looked, 0..1 << 13);
    assert!(50 < passed_over && 1000 < found, "{passed_over} {found}");
}

#[test]
fn nor_does_it_among_so_many_figures_that_chances_are_bounded() {
    let backhand = |figures| {
        let mut line = line(figures);
        line["stroke"] = json!("backhand");
        line
    };
    let mut document = pair(LOOSER, TIGHTER);
    for (place, figures) in [
        [71.0, 52.0, 19.0, 88.3, 11.9, 117.2],
        [69.0, 55.0, 23.0, 86.6, 12.3, 114.9],
    ]
    .into_iter()
    .enumerate()
    {
        let shots = document["sessions"][place]["shots"].as_array_mut().unwrap();
        shots.push(backhand(figures));
    }
    let looked = looked(&document);
    assert_eq!(looked.marks().len(), 23);
    // Few marks each, since with many anybody is looked at.
    let mut draw = ChaCha8Rng::seed_from_u64(23);
    let mut few = || (0..3).fold(usize::MAX, |set, _| set & draw.random_range(0..1 << 23));
    let (passed_over, found) = passed_over_and_found(&looked, (0..4000).map(|_| few()));
    assert!(100 < passed_over && 100 < found, "{passed_over} {found}");
}
