use super::super::tests::{
    LAYOUTS, LONG, assert_golden, assert_sound, attribute, description, group, heading, pooled,
    speed,
};
use super::*;

fn line(label: &str, weight: f64) -> SummaryLine {
    SummaryLine {
        label: label.to_owned(),
        counts: "84 pairs, 78 players".to_owned(),
        weight: Some(weight),
        result: Ok(pooled(1.2, 0.9, 3.8)),
        apart: None,
    }
}

fn plot(lines: Vec<SummaryLine>) -> SummaryForest {
    SummaryForest {
        heading: heading("bands", "Ball speed, forehand, by tension gap"),
        sides: speed(),
        interval_words: "95 % range".to_owned(),
        worthwhile: Some(1.0),
        lines,
        pooled: None,
    }
}

#[test]
fn each_line_is_a_square_with_its_interval_and_the_whole_a_diamond() {
    let mut whole = plot(vec![
        line("5 to under 8 lb", 0.2),
        line("8 to under 12 lb", 0.8),
    ]);
    whole.pooled = Some(line("all gaps", 1.0));
    for layout in LAYOUTS {
        let svg = summary(&whole, layout);
        assert_sound(&svg);
        // Line and square of both, and of the specimen in the key.
        assert_eq!(group(&svg, "mark-part").len(), 2 * 3);
        assert_eq!(group(&svg, "mark-pooled").len(), 2);
        assert_eq!(group(&svg, "mark-expected").len(), 3 * 4);
        let sides: Vec<f64> = group(&svg, "mark-part")
            .iter()
            .filter(|element| element.starts_with("<rect"))
            .map(|square| attribute(square, "width") + 2.0)
            .collect();
        assert!((sides[1] / sides[0] - 2.0).abs() < 0.03, "{sides:?}");
    }
}

#[test]
fn without_weights_all_squares_are_alike() {
    let mut other = line("b", 0.0);
    other.weight = None;
    for layout in LAYOUTS {
        let svg = summary(&plot(vec![line("a", 0.9), other.clone()]), layout);
        assert!(!svg.contains("by weight"));
        let mut squares = group(&svg, "mark-part");
        squares.retain(|element| element.starts_with("<rect"));
        let sides: Vec<f64> = squares.iter().map(|s| attribute(s, "width")).collect();
        assert!(sides.iter().all(|side| (side - sides[0]).abs() < 0.01));
    }
}

#[test]
fn a_line_without_an_estimate_says_why_and_one_set_apart_is_hollow() {
    let mut withheld = line("12 to under 16 lb", 0.0);
    withheld.counts = String::new();
    withheld.result = Err("Fewer than 5 players so far".to_owned());
    let mut apart = line("under 5 lb", 0.1);
    apart.apart = Some("Smaller gap than the protocol asks, not part of the answer".to_owned());
    for layout in LAYOUTS {
        let svg = summary(
            &plot(vec![line("a", 0.9), withheld.clone(), apart.clone()]),
            layout,
        );
        assert_sound(&svg);
        assert!(svg.contains("Fewer than 5 players"));
        assert_eq!(group(&svg, "mark-part-apart").len(), 2 * 2);
        assert!(description(&svg).contains("12 to under 16 lb: Fewer than 5 players so far."));
    }
}

#[test]
fn nothing_but_sentences_has_no_axis() {
    let mut withheld = line("a", 0.0);
    withheld.result = Err("Fewer than 5 players so far".to_owned());
    for layout in LAYOUTS {
        for lines in [Vec::new(), vec![withheld.clone()]] {
            let svg = summary(&plot(lines), layout);
            assert_sound(&svg);
            assert!(group(&svg, "mark-axis").is_empty());
            assert!(group(&svg, "mark-zone").is_empty());
        }
    }
}

#[test]
fn extreme_values_and_long_words_stay_inside() {
    let mut huge = line(LONG, 0.5);
    huge.result = Ok(pooled(40_000.0, 90_000.0, 200_000.0));
    huge.counts = "1\u{202F}234 pairs, 1\u{202F}111 players".to_owned();
    let mut broken = line("broken", f64::NAN);
    if let Ok(summary) = &mut broken.result {
        (summary.low, summary.high) = (f64::NAN, f64::INFINITY);
    }
    let mut whole = plot(vec![huge.clone(), broken, line("b", 0.5)]);
    whole.heading.title = LONG.to_owned();
    whole.sides.negative_words = "tighter bed: more balls land deep in the court".to_owned();
    whole.sides.positive_words = "looser bed: more balls land deep in the court".to_owned();
    whole.sides.unit = "percentage points of all balls hit".to_owned();
    for layout in LAYOUTS {
        assert_sound(&summary(&whole, layout));
    }
}

#[test]
fn the_description_has_every_number() {
    let svg = summary(&plot(vec![line("5 to under 8 lb", 1.0)]), Layout::Wide);
    assert_eq!(
        description(&svg),
        "Looser minus tighter. Invented data: nobody hit these balls. Left of zero: tighter faster; \
         right of zero: looser faster. A difference under 1 km/h is smaller than the host calls \
         worthwhile. 5 to under 8 lb, 84 pairs, 78 players: 1.2 (0.3 to 2.1) km/h; another such \
         player: \u{2212}2.6 to 5.0 km/h."
    );
}

#[test]
fn the_pictures_are_those_that_were_looked_at() {
    let mut middle = line("8 to under 12 lb", 0.5);
    middle.result = Ok(pooled(2.0, 0.7, 3.1));
    let mut wide = line("12 to under 16 lb", 0.2);
    wide.result = Ok(pooled(1.6, 1.8, 4.9));
    let mut few = line("16 lb and over", 0.0);
    few.counts = String::new();
    few.result = Err("Fewer than 5 players so far".to_owned());
    let mut apart = line("under 5 lb", 0.1);
    apart.result = Ok(pooled(0.3, 1.2, 3.0));
    apart.apart = Some("Smaller gap than the protocol asks, not part of the answer".to_owned());
    let mut whole = plot(vec![line("5 to under 8 lb", 0.3), middle, wide, few, apart]);
    let mut all = line("all gaps from 5 lb", 1.0);
    all.result = Ok(pooled(1.7, 0.5, 3.4));
    whole.pooled = Some(all);
    assert_golden("summary-wide.svg", &summary(&whole, Layout::Wide));
    assert_golden("summary-narrow.svg", &summary(&whole, Layout::Narrow));
}
