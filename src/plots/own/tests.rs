use super::super::tests::{LAYOUTS, assert_golden, attribute, group};
use super::*;

fn panel(label: &str, unit: &str) -> Panel {
    Panel {
        label: label.to_owned(),
        unit: unit.to_owned(),
        left_words: "tighter faster".to_owned(),
        right_words: "looser faster".to_owned(),
        own: Ok(Difference {
            estimate: 2.1,
            low: 0.4,
            high: 3.8,
            numbers: "2.1 (0.4 to 3.8)".to_owned(),
        }),
        pooled: Some(Pooled {
            counts: "84 pairs, 78 players".to_owned(),
            summary: Summary {
                estimate: 1.2,
                low: 0.3,
                high: 2.1,
                prediction: Some((-3.0, 5.4)),
                numbers: "1.2 (0.3 to 2.1)".to_owned(),
                prediction_numbers: Some("\u{2212}3.0 to 5.4".to_owned()),
            },
        }),
    }
}

fn plot(panels: Vec<Panel>) -> Own {
    Own {
        id: "own".to_owned(),
        title: "Your sessions and all pairs".to_owned(),
        notice: None,
        description: "Looser minus tighter.".to_owned(),
        interval_words: "95 % range".to_owned(),
        panels,
    }
}

fn width(layout: Layout) -> f64 {
    match layout {
        Layout::Wide => 1000.0,
        Layout::Narrow => 340.0,
    }
}

#[test]
fn own_and_pooled_have_marks_of_their_own() {
    for layout in LAYOUTS {
        let svg = own(
            &plot(vec![panel("Speed", "km/h"), panel("Deep", "points")]),
            layout,
        );
        // One of each is the specimen in the key; the own mark is a line and a square.
        assert_eq!(group(&svg, "mark-own").len(), 2 * 3);
        assert_eq!(group(&svg, "mark-pooled").len(), 3);
        assert_eq!(group(&svg, "mark-expected").len(), 3 * 3);
        assert_eq!(group(&svg, "mark-zero").len(), 2);
        assert!(svg.contains(">your sessions, 95 % range</text>"));
        assert!(svg.contains(">all pairs, 95 % range</text>"));
    }
}

#[test]
fn each_panel_has_its_own_axis_and_words_at_both_ends() {
    let mut share = panel("Deep share", "points");
    share.left_words = "tighter deeper".to_owned();
    share.right_words = "looser deeper".to_owned();
    for layout in LAYOUTS {
        let svg = own(&plot(vec![panel("Speed", "km/h"), share.clone()]), layout);
        for words in [
            "\u{2190} tighter faster",
            "looser faster \u{2192}",
            "\u{2190} tighter deeper",
            "looser deeper \u{2192}",
            "difference, km/h",
            "difference, points",
        ] {
            assert!(svg.contains(&format!(">{words}</text>")), "{words}");
        }
    }
}

#[test]
fn a_panel_without_a_pool_has_the_own_difference_alone() {
    let mut alone = panel("Speed", "km/h");
    alone.pooled = None;
    for layout in LAYOUTS {
        let svg = own(&plot(vec![alone.clone()]), layout);
        assert!(group(&svg, "mark-pooled").is_empty());
        assert!(group(&svg, "mark-expected").is_empty());
        assert!(
            !svg.contains("all pairs") || svg.matches("all pairs").count() == 2,
            "title"
        );
        assert!(!svg.contains(PREDICTION_WORDS));
    }
}

#[test]
fn a_panel_without_an_own_difference_says_why_and_has_no_mark() {
    let mut missing = panel("Speed", "km/h");
    missing.own = Err("too few shots".to_owned());
    missing.pooled = None;
    for layout in LAYOUTS {
        let svg = own(&plot(vec![missing.clone()]), layout);
        assert!(svg.contains("too few shots</text>"));
        assert!(!svg.contains("mark-own"));
        for class in ["mark-axis", "mark-zero"] {
            assert!(group(&svg, class).is_empty(), "{class}");
        }
    }
}

#[test]
fn extreme_values_stay_inside_and_what_is_not_a_number_is_not_drawn() {
    let mut wild = panel("Speed", "km/h");
    let mut broken = panel("Deep", "points");
    if let (Ok(own), Ok(none)) = (&mut wild.own, &mut broken.own) {
        (own.low, own.estimate, own.high) = (-80_000.0, 100.0, 80_200.0);
        (none.low, none.estimate, none.high) = (f64::NAN, f64::INFINITY, 1e300);
    }
    for layout in LAYOUTS {
        let svg = own(&plot(vec![wild.clone(), broken.clone()]), layout);
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
        assert_eq!(group(&svg, "mark-own").len(), 2 * 2);
        for element in group(&svg, "mark-own") {
            let x = if element.starts_with("<rect") {
                "x"
            } else {
                "x2"
            };
            let x = attribute(element, x);
            assert!(0.0 <= x && x <= width(layout), "{element}");
        }
    }
}

#[test]
fn long_labels_break_into_lines_inside_the_picture() {
    let long = "Share of balls that land deep in the back half of the backcourt, forehand, through the middle";
    for layout in LAYOUTS {
        let svg = own(&plot(vec![panel(long, "percentage points")]), layout);
        assert!(!svg.contains(&format!(">{long}</text>")));
        for text in group(&svg, "mark-text") {
            let x = attribute(text, "x");
            assert!(0.0 <= x && x <= width(layout), "{text}");
        }
    }
}

#[test]
fn text_is_escaped_and_nothing_needs_a_style_or_a_script() {
    let mut hostile = plot(vec![panel("<script>&\"", "</desc>")]);
    hostile.title = "</title><b>".to_owned();
    for layout in LAYOUTS {
        let svg = own(&hostile, layout);
        assert!(!svg.contains("<script") && !svg.contains("<b>"));
        assert_eq!(svg.matches("</desc>").count(), 1);
        assert!(!svg.contains("style=") && !svg.contains("<style") && !svg.contains("href"));
    }
}

#[test]
fn the_description_has_every_number_and_the_notice_is_drawn_too() {
    let mut whole = plot(vec![panel("Speed", "km/h")]);
    whole.notice = Some("Everybody else is invented.".to_owned());
    for layout in LAYOUTS {
        let svg = own(&whole, layout);
        assert!(svg.contains(
            "Looser minus tighter. Everybody else is invented. Speed, left of zero tighter faster, \
             right of zero looser faster: your sessions: 2.1 (0.4 to 3.8) km/h; 84 pairs, 78 \
             players: 1.2 (0.3 to 2.1) km/h; another such player: \u{2212}3.0 to 5.4 km/h."
        ));
        assert!(svg.contains(">Everybody else is invented.</text>"));
    }
}

#[test]
fn the_pictures_are_those_that_were_looked_at() {
    let mut share = panel("Deep share, forehand", "points");
    share.left_words = "tighter deeper".to_owned();
    share.right_words = "looser deeper".to_owned();
    if let (Ok(own), Some(pooled)) = (&mut share.own, &mut share.pooled) {
        (own.low, own.estimate, own.high) = (-14.0, -3.0, 8.0);
        own.numbers = "\u{2212}3 (\u{2212}14 to 8)".to_owned();
        pooled.summary.prediction = None;
        pooled.summary.prediction_numbers = None;
    }
    let mut alone = panel("Cross-court share, forehand", "points");
    alone.pooled = None;
    let mut missing = panel("In share, forehand", "points");
    missing.own =
        Err("No difference, because an arm has fewer shots than the protocol asks.".to_owned());
    missing.pooled = None;
    let speed = panel("Mean ball speed, forehand", "km/h");
    let mut whole = plot(vec![speed, share, alone, missing]);
    whole.notice = Some("Everybody else’s figures are invented.".to_owned());
    assert_golden("own-wide.svg", &own(&whole, Layout::Wide));
    assert_golden("own-narrow.svg", &own(&whole, Layout::Narrow));
}
