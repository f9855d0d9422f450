use super::super::tests::{
    CROWDS, LAYOUTS, LONG, assert_golden, assert_sound, attribute, description, group, heading,
    speed, spread,
};
use super::*;

fn curve() -> Vec<DoseCurve> {
    (0..=18_u32)
        .map(f64::from)
        .map(|gap| {
            let (estimate, half, reach) = (0.17 * gap, 0.05 * gap + 0.1, 2.6 + 0.05 * gap);
            DoseCurve {
                gap,
                estimate,
                interval: Some((estimate - half, estimate + half)),
                prediction: Some((estimate - reach, estimate + reach)),
            }
        })
        .collect()
}

fn plot(n: u32) -> Dose {
    let points = spread(n, 0.0, 2.0)
        .into_iter()
        .zip(0_u32..)
        .map(|(noise, idx)| {
            let gap = f64::from(4 + idx * 5 % 14);
            DosePoint {
                gap,
                estimate: 0.17 * gap + noise,
                weight: f64::from(1 + idx % 5) / f64::from(3 * n),
            }
        })
        .collect();
    Dose {
        heading: heading("dose", "Ball speed and the size of the gap"),
        sides: speed(),
        interval_words: "95 % range".to_owned(),
        gap_unit: "lb".to_owned(),
        points,
        curve: curve(),
        edges: vec![5.0, 8.0, 12.0, 16.0],
        withheld: None,
    }
}

/// Circles that stand for pairs: all but the two specimens in the key.
fn n_circles(svg: &str) -> usize {
    group(svg, "mark-point").len().saturating_sub(2)
}

#[test]
fn few_pairs_have_a_circle_each_and_many_share_them() {
    for n in CROWDS {
        for layout in LAYOUTS {
            let svg = dose(&plot(n), layout);
            assert_sound(&svg);
            let outside = description(&svg).contains("outside the picture");
            if n <= 40 {
                assert!(!outside);
                assert_eq!(n_circles(&svg), n as usize);
            }
            if 300 <= n {
                assert!(n_circles(&svg) <= 150, "{}", n_circles(&svg));
                assert!(svg.contains("one for all"));
                assert!(svg.contains(">pairs near each other, area by weight</text>"));
            }
        }
    }
}

#[test]
fn the_order_of_pairs_leaves_no_trace() {
    for n in [40, 300] {
        let forward = plot(n);
        let mut backward = forward.clone();
        backward.points.reverse();
        for layout in LAYOUTS {
            assert_eq!(dose(&forward, layout), dose(&backward, layout));
        }
    }
}

#[test]
fn areas_are_proportional_to_weights() {
    let mut two = plot(2);
    two.points[0].weight = 0.2;
    two.points[1].weight = 0.8;
    let svg = dose(&two, Layout::Wide);
    let radius = |idx: usize| attribute(group(&svg, "mark-point")[idx], "r");
    assert!((radius(0) / radius(1) - 2.0).abs() < 0.03, "largest first");
}

#[test]
fn band_curve_and_outline_are_drawn_where_they_are_known() {
    let mut partly = plot(6);
    for at in partly.curve.iter_mut().take(3) {
        (at.interval, at.prediction) = (None, None);
    }
    let mut bare = plot(6);
    bare.curve.clear();
    for layout in LAYOUTS {
        let svg = dose(&partly, layout);
        assert_sound(&svg);
        // The band and, in the key, its specimen; the two edges and the specimen.
        assert_eq!(group(&svg, "mark-band").len(), 2);
        assert_eq!(group(&svg, "mark-expected-edge").len(), 3);
        assert_eq!(group(&svg, "mark-curve").len(), 2);
        let svg = dose(&bare, layout);
        assert_sound(&svg);
        assert!(group(&svg, "mark-curve").is_empty());
        assert!(!svg.contains("another such player"));
    }
}

#[test]
fn values_that_are_not_numbers_are_counted_and_break_nothing() {
    let mut broken = plot(8);
    broken.points[0].estimate = f64::NAN;
    broken.points[1].gap = f64::INFINITY;
    broken.points[2].weight = f64::NAN;
    broken.curve[4].estimate = f64::NAN;
    broken.curve[9].interval = Some((f64::NEG_INFINITY, f64::INFINITY));
    let mut huge = plot(8);
    huge.points[0].estimate = 5e8;
    huge.sides.negative_words = LONG.to_owned();
    huge.gap_unit = LONG.to_owned();
    for layout in LAYOUTS {
        let svg = dose(&broken, layout);
        assert!(!svg.contains("NaN") && !svg.contains("inf\""));
        assert!(description(&svg).contains("2 pairs lie outside the picture."));
        assert_sound(&dose(&huge, layout));
    }
}

#[test]
fn one_gap_alone_or_nothing_at_all_is_no_trouble() {
    let mut same = plot(6);
    for point in &mut same.points {
        (point.gap, point.estimate) = (5.0, 0.0);
    }
    same.curve.clear();
    let mut nothing = same.clone();
    nothing.points.clear();
    let mut withheld = plot(6);
    withheld.withheld = Some("Fewer than 5 players so far".to_owned());
    for layout in LAYOUTS {
        assert_sound(&dose(&same, layout));
        for (plot, said) in [
            (&nothing, NOTHING),
            (&withheld, "Fewer than 5 players so far"),
        ] {
            let svg = dose(plot, layout);
            assert_sound(&svg);
            assert!(svg.contains(said) && group(&svg, "mark-point").is_empty());
            assert!(!description(&svg).contains("At a gap"));
        }
    }
}

#[test]
fn the_description_tells_the_curve_at_three_gaps() {
    let said = description(&dose(&plot(6), Layout::Wide));
    for told in [
        "At a gap of 0 lb: 0.00 (\u{2212}0.10 to 0.10) km/h; another such player: \u{2212}2.6 to 2.6 km/h.",
        "At a gap of 9 lb: 1.5 (1.0 to 2.1) km/h;",
        "At a gap of 18 lb: 3.1 (2.1 to 4.1) km/h;",
    ] {
        assert!(said.contains(told), "{told}: {said}");
    }
}

#[test]
fn the_pictures_are_those_that_were_looked_at() {
    assert_golden("dose-wide.svg", &dose(&plot(40), Layout::Wide));
    assert_golden("dose-narrow.svg", &dose(&plot(300), Layout::Narrow));
}
