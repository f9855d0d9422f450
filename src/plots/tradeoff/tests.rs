use super::super::tests::{
    CROWDS, LAYOUTS, LONG, assert_golden, assert_sound, description, group, heading, speed, spread,
};
use super::*;

/// An ellipse around the mean with the given half widths, tilted down to the right.
fn outline(half_across: f64, half_up: f64) -> Vec<(f64, f64)> {
    (0..72_u32)
        .map(|idx| {
            let (sine, cosine) = (f64::from(idx) * std::f64::consts::TAU / 72.0).sin_cos();
            (
                1.2 + half_across * cosine,
                -0.8 + half_up * (0.8 * sine - 0.6 * cosine),
            )
        })
        .collect()
}

fn plot(n: u32) -> Tradeoff {
    let points = spread(n, 1.2, 2.4)
        .into_iter()
        .zip(spread(n + 11, -0.8, 5.0).into_iter().skip(11))
        .zip(0_u32..)
        .map(|((across, up), idx)| TradeoffPoint {
            across,
            up: up - 0.6 * across,
            weight: f64::from(1 + idx % 4) / f64::from(2 * n),
        })
        .collect();
    Tradeoff {
        heading: heading("tradeoff", "Speed against control: forehand"),
        interval_words: "95 % region".to_owned(),
        across: speed(),
        across_name: "ball speed".to_owned(),
        up: Sides {
            unit: "points".to_owned(),
            negative_words: "tighter more in".to_owned(),
            positive_words: "looser more in".to_owned(),
        },
        up_name: "balls in".to_owned(),
        corners: Corners {
            upper_left: "looser: slower, more in".to_owned(),
            upper_right: "looser: faster, more in".to_owned(),
            lower_left: "looser: slower, fewer in".to_owned(),
            lower_right: "looser: faster, fewer in".to_owned(),
        },
        points,
        mean: Some(JointMean {
            across: 1.2,
            up: -0.8,
            ellipse: outline(0.6, 1.1),
            prediction: outline(4.6, 9.8),
            numbers:
                "ball speed 1.2 (0.6 to 1.8) km/h, balls in \u{2212}0.8 (\u{2212}1.9 to 0.3) points"
                    .to_owned(),
        }),
        withheld: None,
    }
}

#[test]
fn any_number_of_pairs_is_drawn_with_its_mean() {
    for n in CROWDS {
        for layout in LAYOUTS {
            let svg = tradeoff(&plot(n), layout);
            assert_sound(&svg);
            assert!(group(&svg, "mark-point").len() <= 150 + 2, "{n}");
            assert_eq!(group(&svg, "mark-pooled").len(), 2);
            assert_eq!(group(&svg, "mark-expected-edge").len(), 2);
            assert_eq!(group(&svg, "mark-zero").len(), 2);
        }
    }
}

#[test]
fn the_four_corners_are_named_in_the_picture_and_in_words() {
    for layout in LAYOUTS {
        let svg = tradeoff(&plot(6), layout);
        let written = group(&svg, "mark-text").join("\n");
        for words in [
            "slower, more in",
            "faster, more in",
            "slower, fewer in",
            "faster, fewer in",
        ] {
            assert!(
                written.contains(words) || layout == Layout::Narrow,
                "{words}"
            );
            assert!(description(&svg).contains(words));
        }
        assert!(description(&svg).contains("Mean of all pairs: ball speed 1.2 (0.6 to 1.8) km/h"));
    }
}

#[test]
fn a_mean_without_regions_or_no_mean_is_no_trouble() {
    let mut bare = plot(6);
    if let Some(mean) = &mut bare.mean {
        mean.ellipse.clear();
        mean.prediction.clear();
    }
    let mut alone = plot(0);
    alone.points.clear();
    let mut none = plot(6);
    none.mean = None;
    for layout in LAYOUTS {
        let svg = tradeoff(&bare, layout);
        assert_sound(&svg);
        assert!(group(&svg, "mark-expected-edge").is_empty());
        assert_sound(&tradeoff(&alone, layout));
        let svg = tradeoff(&none, layout);
        assert_sound(&svg);
        assert!(group(&svg, "mark-pooled").is_empty());
    }
}

#[test]
fn extreme_values_and_long_words_stay_inside() {
    let mut wild = plot(8);
    wild.points[0].across = f64::NAN;
    wild.points[1].up = 1e300;
    wild.points[2].up = -3e6;
    wild.corners.upper_left = LONG.to_owned();
    wild.corners.lower_right = LONG.to_owned();
    wild.across_name = LONG.to_owned();
    if let Some(mean) = &mut wild.mean {
        mean.ellipse[5] = (f64::NAN, 1.0);
        mean.prediction[5] = (f64::INFINITY, 1.0);
    }
    for layout in LAYOUTS {
        let svg = tradeoff(&wild, layout);
        assert_sound(&svg);
        assert!(description(&svg).contains("2 pairs lie outside the picture."));
    }
}

#[test]
fn what_is_withheld_or_missing_is_said_and_no_mark_is_drawn() {
    let mut withheld = plot(40);
    withheld.withheld = Some("Fewer than 5 players so far".to_owned());
    let mut empty = plot(0);
    empty.mean = None;
    for layout in LAYOUTS {
        for (plot, said) in [(&withheld, "Fewer than 5"), (&empty, NOTHING)] {
            let svg = tradeoff(plot, layout);
            assert_sound(&svg);
            assert!(svg.contains(said) && group(&svg, "mark-axis").is_empty());
            assert!(!svg.contains("1.2 (0.6"));
        }
    }
}

#[test]
fn the_pictures_are_those_that_were_looked_at() {
    assert_golden("tradeoff-wide.svg", &tradeoff(&plot(40), Layout::Wide));
    assert_golden("tradeoff-narrow.svg", &tradeoff(&plot(300), Layout::Narrow));
}
