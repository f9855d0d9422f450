//! What is said of an outcome over all gaps.

use super::*;

#[test]
fn the_answer_names_the_gaps_it_holds_for_and_leaves_out_those_under_protocol() {
    let open = || finding((-1.0, 3.0), (-2.0, 4.0));
    let more = || finding((1.0, 3.0), (0.5, 3.5));
    let analyses = [
        analysis(Outcome::Speed, Numbered(0), Ok(open())),
        analysis(Outcome::Speed, Numbered(1), Ok(more())),
        analysis(Outcome::Speed, Numbered(2), Ok(more())),
        analysis(Outcome::Speed, UnderProtocol, Ok(more())),
    ];
    let all: Vec<&Analysis> = analyses.iter().collect();
    let figures = "+2.0\u{A0}km/h, 95\u{A0}% range 0.5 to 3.5; 2 pairs, 2 players";
    assert_eq!(
        answer(Outcome::Speed, &all, &bands()),
        format!(
            "The looser string bed may make the ball faster at a gap of 8 to under 12 lb \
             ({figures}) and of 12 lb and over ({figures}). At other gaps we cannot tell."
        )
    );
    assert_eq!(
        answer(Outcome::DeepShare, &all[..1], &bands()),
        "We cannot tell with which string bed a larger share of the balls that are in lands deep, \
         at any gap."
    );
    assert!(may_go_either_way(&analyses));
    assert!(!may_go_either_way(&analyses[..1]));
    assert!(!may_go_either_way(&analyses[3..]));
}

#[test]
fn findings_in_both_directions_are_both_said() {
    let analyses = [
        analysis(
            Outcome::InShare,
            Numbered(0),
            Ok(finding((1.0, 3.0), (0.5, 3.5))),
        ),
        analysis(
            Outcome::InShare,
            Numbered(1),
            Ok(finding((-3.0, -1.0), (-3.5, -0.5))),
        ),
    ];
    let all: Vec<&Analysis> = analyses.iter().collect();
    let said = answer(Outcome::InShare, &all, &bands());
    assert!(
        said.contains("may keep a larger share of balls in at a gap of 5 to under 8 lb"),
        "{said}"
    );
    assert!(
        said.contains("may keep a smaller share of balls in at a gap of 8 to under 12 lb"),
        "{said}"
    );
    assert!(!said.contains("At other gaps"), "{said}");
}

#[test]
fn gaps_of_different_certainty_are_said_apart() {
    let more = |band| {
        let more = finding((1.0, 3.0), (0.5, 3.5));
        analysis(Outcome::Speed, Numbered(band), Ok(more))
    };
    let analyses = [
        with_certainty(more(0), CertaintyLevel::VeryLow),
        more(1),
        with_certainty(more(2), CertaintyLevel::VeryLow),
    ];
    let all: Vec<&Analysis> = analyses.iter().collect();
    let said = answer(Outcome::Speed, &all, &bands());
    assert!(
        said.starts_with(
            "We are very unsure whether the looser string bed makes the ball faster at a gap of 5 \
             to under 8 lb ("
        ),
        "{said}"
    );
    assert!(said.contains(") and of 12 lb and over ("), "{said}");
    assert!(
        said.contains(
            " The looser string bed may make the ball faster at a gap of 8 to under 12 lb ("
        ),
        "{said}"
    );
}

#[test]
fn the_answer_in_words_is_the_answer_without_its_figures() {
    let analyses = [
        analysis(
            Outcome::Speed,
            Numbered(0),
            Ok(finding((-1.0, 3.0), (-2.0, 4.0))),
        ),
        analysis(
            Outcome::Speed,
            Numbered(1),
            Ok(finding((1.0, 3.0), (0.5, 3.5))),
        ),
        analysis(
            Outcome::Speed,
            Numbered(2),
            Ok(finding((1.0, 3.0), (0.5, 3.5))),
        ),
    ];
    let all: Vec<&Analysis> = analyses.iter().collect();
    assert_eq!(
        answer_in_words(Outcome::Speed, &all, &bands()),
        "The looser string bed may make the ball faster at a gap of 8 to under 12 lb and of 12 lb \
         and over. At other gaps we cannot tell."
    );
    for said in [&all[..1], &[]] {
        let with_figures = answer(Outcome::Speed, said, &bands());
        assert_eq!(
            answer_in_words(Outcome::Speed, said, &bands()),
            with_figures
        );
    }
}
