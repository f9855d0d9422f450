use super::super::tests::{
    CROWDS, LAYOUTS, LONG, assert_golden, assert_sound, attribute, description, group, heading,
    speed, spread,
};
use super::*;

fn plot(n: u32) -> Funnel {
    let points = spread(n, 1.5, 0.7)
        .into_iter()
        .zip(spread(n + 5, 0.0, 1.1).into_iter().skip(5))
        .map(|(error, noise)| {
            let standard_error = 0.3 + error.abs();
            FunnelPoint {
                estimate: 1.2 + noise * standard_error,
                standard_error,
            }
        })
        .collect();
    Funnel {
        heading: heading("funnel", "Surer and less sure pairs: ball speed, forehand"),
        sides: speed(),
        points,
        pooled: Some(1.2),
        withheld: None,
    }
}

#[test]
fn any_number_of_pairs_is_drawn_between_two_lines() {
    for n in CROWDS.into_iter().skip(1) {
        for layout in LAYOUTS {
            let svg = funnel(&plot(n), layout);
            assert_sound(&svg);
            assert!(group(&svg, "mark-point").len() <= 150 + 2, "{n}");
            assert_eq!(group(&svg, "mark-guide").len(), 2 + 1);
        }
    }
}

#[test]
fn the_surest_pairs_stand_at_the_top() {
    let mut two = plot(2);
    (two.points[0].standard_error, two.points[0].estimate) = (0.5, -1.0);
    (two.points[1].standard_error, two.points[1].estimate) = (2.0, 3.0);
    for layout in LAYOUTS {
        let svg = funnel(&two, layout);
        let circles = group(&svg, "mark-point");
        let (left, right) = (circles[0], circles[1]);
        assert!(attribute(left, "cx") < attribute(right, "cx"));
        assert!(attribute(left, "cy") < attribute(right, "cy"));
    }
}

#[test]
fn the_limits_are_those_of_the_normal_distribution() {
    let mut one = plot(1);
    one.points[0] = FunnelPoint {
        estimate: 1.2 + 1.96 * 2.0,
        standard_error: 2.0,
    };
    let svg = funnel(&one, Layout::Wide);
    let circle = group(&svg, "mark-point")[0];
    let (x, y) = (attribute(circle, "cx"), attribute(circle, "cy"));
    let ends = format!("{x},{y}\"");
    assert!(
        svg.contains(&ends),
        "the limit ends where the pair stands: {ends}"
    );
}

#[test]
fn the_description_counts_pairs_between_the_lines() {
    let mut four = plot(4);
    for (point, estimate) in four.points.iter_mut().zip([1.2, 1.0, 9.0, -9.0]) {
        (point.estimate, point.standard_error) = (estimate, 1.0);
    }
    let said = description(&funnel(&four, Layout::Wide));
    assert!(
        said.contains("2 of 4 pairs lie between the lines"),
        "{said}"
    );
}

#[test]
fn pairs_without_a_place_are_counted_and_break_nothing() {
    let mut wild = plot(8);
    wild.points[0].estimate = f64::NAN;
    wild.points[1].standard_error = f64::INFINITY;
    wild.points[2].standard_error = 0.0;
    wild.points[3].standard_error = -1.0;
    wild.points[4].standard_error = 4e7;
    wild.sides.positive_words = LONG.to_owned();
    for layout in LAYOUTS {
        let svg = funnel(&wild, layout);
        assert_sound(&svg);
        assert!(description(&svg).contains("4 pairs lie outside the picture."));
    }
}

#[test]
fn without_a_pooled_estimate_there_are_no_lines() {
    let mut bare = plot(6);
    for pooled in [None, Some(f64::NAN)] {
        bare.pooled = pooled;
        for layout in LAYOUTS {
            let svg = funnel(&bare, layout);
            assert_sound(&svg);
            assert!(group(&svg, "mark-guide").is_empty());
            assert!(group(&svg, "mark-curve").is_empty());
        }
    }
}

#[test]
fn what_is_withheld_or_missing_is_said_and_no_mark_is_drawn() {
    let mut withheld = plot(40);
    withheld.withheld = Some("Fewer than 5 players so far".to_owned());
    for layout in LAYOUTS {
        for (plot, said) in [(&withheld, "Fewer than 5"), (&plot(0), NOTHING)] {
            let svg = funnel(plot, layout);
            assert_sound(&svg);
            assert!(svg.contains(said) && group(&svg, "mark-axis").is_empty());
        }
    }
}

#[test]
fn the_pictures_are_those_that_were_looked_at() {
    assert_golden("funnel-wide.svg", &funnel(&plot(40), Layout::Wide));
    assert_golden("funnel-narrow.svg", &funnel(&plot(300), Layout::Narrow));
}
