use super::super::tests::{LAYOUTS, assert_golden, attribute, group};
use super::*;

/// A block of `n` rows spread evenly over −10..10 with equal weights.
fn block(n: u32) -> Block {
    let rows = (0..n)
        .map(|idx| Row {
            estimate: -10.0 + 20.0 * (f64::from(idx) + 0.5) / f64::from(n),
            weight: 1.0 / f64::from(n),
        })
        .collect();
    Block {
        label: "5 to under 8 lb".to_owned(),
        counts: format!("{n} pairs, {n} players"),
        rows,
        summary: Some(Summary {
            estimate: 1.2,
            low: 0.3,
            high: 2.1,
            prediction: Some((-3.0, 5.4)),
            numbers: "1.2 (0.3 to 2.1)".to_owned(),
            prediction_numbers: Some("\u{2212}3.0 to 5.4".to_owned()),
        }),
        withheld: None,
        apart: None,
    }
}

fn plot(blocks: Vec<Block>) -> Forest {
    Forest {
        id: "speed".to_owned(),
        title: "Ball speed".to_owned(),
        notice: None,
        description: "Looser minus tighter.".to_owned(),
        unit: "km/h".to_owned(),
        left_words: "tighter faster".to_owned(),
        right_words: "looser faster".to_owned(),
        interval_words: "95 % range".to_owned(),
        blocks,
    }
}

#[test]
fn the_same_values_give_the_same_bytes_in_any_order_of_rows() {
    let forward = plot(vec![block(90)]);
    let mut backward = forward.clone();
    backward.blocks[0].rows.reverse();
    for layout in LAYOUTS {
        assert_eq!(forest(&forward, layout), forest(&backward, layout));
    }
}

#[test]
fn every_row_is_a_square_or_an_arrowhead_that_is_counted_in_words() {
    let mut wild = block(300);
    for (idx, row) in wild.rows.iter_mut().enumerate() {
        if idx < 3 {
            row.estimate = if idx == 0 { -400.0 } else { 400.0 };
        }
    }
    for layout in LAYOUTS {
        let svg = forest(&plot(vec![wild.clone()]), layout);
        // Two squares are specimens in the key.
        assert_eq!(group(&svg, "mark-row").len(), 297 + 2);
        assert_eq!(group(&svg, "mark-outside").len(), 3);
        assert!(
            svg.contains("3 pairs lie outside the picture."),
            "in the description"
        );
        assert!(svg.contains(">3 pairs lie outside"), "in the picture");
    }
}

#[test]
fn a_row_that_is_not_a_number_is_counted_and_breaks_nothing() {
    let mut broken = block(8);
    broken.rows[0].estimate = f64::NAN;
    broken.rows[1].weight = f64::NAN;
    for layout in LAYOUTS {
        let svg = forest(&plot(vec![broken.clone()]), layout);
        assert!(svg.contains("1 pair lies outside the picture"));
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
    }
}

#[test]
fn every_mark_lies_inside_the_picture() {
    for n in [1, 8, 12, 90, 300] {
        for (layout, width) in [(Layout::Wide, 1000.0), (Layout::Narrow, 340.0)] {
            let svg = forest(&plot(vec![block(n), block(2)]), layout);
            for square in group(&svg, "mark-row") {
                let side = attribute(square, "width");
                assert!(0.0 <= attribute(square, "x"), "{square}");
                assert!(attribute(square, "x") + side <= width, "{square}");
            }
            for text in group(&svg, "mark-text") {
                assert!(
                    0.0 <= attribute(text, "x") && attribute(text, "x") <= width,
                    "{text}"
                );
            }
        }
    }
}

#[test]
fn text_is_escaped_and_nothing_needs_a_style_or_a_script() {
    let mut hostile = block(8);
    hostile.label = "<script>&\"".to_owned();
    let mut whole = plot(vec![hostile]);
    whole.title = "</title><b>".to_owned();
    for layout in LAYOUTS {
        let svg = forest(&whole, layout);
        assert!(!svg.contains("<script") && !svg.contains("<b>"));
        assert!(!svg.contains("style=") && !svg.contains("<style") && !svg.contains("href"));
    }
}

#[test]
fn a_picture_has_a_name_and_a_description_with_ids_of_its_own() {
    let whole = plot(vec![block(8)]);
    let wide = forest(&whole, Layout::Wide);
    let narrow = forest(&whole, Layout::Narrow);
    assert!(wide.contains(
        "role=\"img\" aria-labelledby=\"speed-wide-title\" aria-describedby=\"speed-wide-desc\""
    ));
    for svg in [&wide, &narrow] {
        assert!(svg.contains(">Ball speed</text>"), "the title is drawn too");
    }
    assert!(narrow.contains("<title id=\"speed-narrow-title\">Ball speed</title>"));
    assert!(wide.contains(
        "5 to under 8 lb, 8 pairs, 8 players: 1.2 (0.3 to 2.1) km/h; \
         another such player: \u{2212}3.0 to 5.4 km/h."
    ));
}

#[test]
fn a_withheld_block_shows_its_sentence_and_no_mark() {
    let mut few = block(4);
    few.withheld = Some("Fewer than 5 players so far.".to_owned());
    for layout in LAYOUTS {
        let svg = forest(&plot(vec![few.clone()]), layout);
        assert!(svg.contains(">Fewer than 5 players so far.</text>"));
        for class in [
            "mark-row",
            "mark-pooled",
            "mark-expected",
            "mark-axis",
            "mark-zero",
        ] {
            assert!(group(&svg, class).is_empty(), "{class}");
        }
        assert!(!svg.contains("1.2 (0.3"));
    }
}

#[test]
fn a_summary_without_rows_or_prediction_still_has_its_diamond() {
    let mut bare = block(0);
    if let Some(summary) = &mut bare.summary {
        summary.prediction = None;
        summary.prediction_numbers = None;
    }
    for layout in LAYOUTS {
        let svg = forest(&plot(vec![bare.clone()]), layout);
        // One diamond is the specimen in the key.
        assert_eq!(group(&svg, "mark-pooled").len(), 2);
        assert!(group(&svg, "mark-row").is_empty());
        assert!(!svg.contains(PREDICTION_WORDS));
    }
}

#[test]
fn an_area_is_proportional_to_a_weight() {
    let mut uneven = block(2);
    uneven.rows[0].weight = 0.2;
    uneven.rows[1].weight = 0.8;
    let svg = forest(&plot(vec![uneven]), Layout::Wide);
    let sides: Vec<f64> = group(&svg, "mark-row")
        .iter()
        .map(|square| attribute(square, "width"))
        .collect();
    // Sides are rounded to a tenth, so their ratio is 2 to within one part in seventy.
    assert!((sides[1] / sides[0] - 2.0).abs() < 0.03, "{sides:?}");
}

#[test]
fn a_notice_is_written_in_the_picture_and_in_its_description() {
    let mut invented = plot(vec![block(8)]);
    invented.notice = Some("Invented data.".to_owned());
    for layout in LAYOUTS {
        let svg = forest(&invented, layout);
        assert!(svg.contains(">Invented data.</text>"));
        assert!(svg.contains("Looser minus tighter. Invented data. 5 to under 8 lb"));
    }
}

#[test]
fn a_block_set_apart_says_why_and_has_a_hollow_diamond() {
    let mut apart = block(8);
    apart.apart = Some("Not part of the answer.".to_owned());
    for layout in LAYOUTS {
        let svg = forest(&plot(vec![block(8), apart.clone()]), layout);
        // One filled diamond is the first block's, one the specimen in the key.
        assert_eq!(group(&svg, "mark-pooled").len(), 2);
        assert_eq!(group(&svg, "mark-pooled-apart").len(), 1);
        assert!(svg.contains(">Not part of the answer.</text>"));
    }
}

#[test]
fn the_pictures_are_those_that_were_looked_at() {
    let mut outlying = block(90);
    outlying.rows[0].estimate = f64::NAN;
    let mut withheld = block(0);
    withheld.label = "8 to under 12 lb".to_owned();
    withheld.counts = String::new();
    withheld.withheld = Some("Fewer than 5 players so far".to_owned());
    let mut uneven = block(12);
    uneven.label = "12 lb and over".to_owned();
    for (row, weight) in uneven.rows.iter_mut().zip(1_u32..) {
        row.weight = f64::from(weight) / 78.0;
    }
    let mut apart = block(6);
    apart.label = "under 5 lb".to_owned();
    apart.apart = Some("Smaller gap than the protocol asks, not part of the answer".to_owned());
    let mut whole = plot(vec![outlying, withheld, uneven, apart]);
    whole.notice = Some("Invented data: nobody hit these balls.".to_owned());
    assert_golden("forest-wide.svg", &forest(&whole, Layout::Wide));
    assert_golden("forest-narrow.svg", &forest(&whole, Layout::Narrow));
}
