use super::super::tests::{
    LAYOUTS, LONG, assert_golden, assert_sound, attribute, description, group, heading,
};
use super::*;

fn half_width(players: u32) -> HalfWidth {
    HalfWidth {
        players: f64::from(players),
        half_width: 6.0 / f64::from(players).sqrt() * (1.0 + 3.0 / f64::from(players)),
    }
}

fn panel(label: &str) -> Precision {
    Precision {
        label: label.to_owned(),
        unit: "km/h".to_owned(),
        reached: (1..=11).map(|n| half_width(4 * n)).collect(),
        expected: (0..=4).map(|n| half_width(44 + 25 * n)).collect(),
        target: Some(0.6),
        said: "About 60 more players".to_owned(),
        withheld: None,
    }
}

fn plot() -> Progress {
    Progress {
        heading: heading("progress", "How the study gets on"),
        precision: vec![panel("Ball speed, forehand, 5 to under 8 lb")],
        arrivals: Some(Arrivals {
            label: "Contributors over time".to_owned(),
            days: [
                (0, 1),
                (2, 3),
                (3, 9),
                (9, 12),
                (10, 21),
                (24, 30),
                (40, 44),
            ]
            .map(|(day, contributors)| Arrived {
                day: f64::from(day),
                contributors,
            })
            .to_vec(),
            since: "days since recruiting opened on 3 March 2025".to_owned(),
        }),
    }
}

#[test]
fn widths_so_far_and_to_come_and_the_target_are_told_apart() {
    for layout in LAYOUTS {
        let svg = progress(&plot(), layout);
        assert_sound(&svg);
        // The curve of the widths, that of the contributors, and the specimen.
        assert_eq!(group(&svg, "mark-step").len(), 3);
        assert_eq!(group(&svg, "mark-guide").len(), 2);
        assert_eq!(group(&svg, "mark-curve").len(), 2);
        assert!(description(&svg).contains(
            "Ball speed, forehand, 5 to under 8 lb; half the width of the range is 1.0 km/h with 44 \
             players; to be expected: 0.5 km/h with 144 players; target 0.6 km/h; About 60 more \
             players. Contributors over time: 44 after 40 days since recruiting opened on 3 March \
             2025."
        ));
    }
}

#[test]
fn widths_of_the_first_few_do_not_press_the_rest_flat() {
    let mut early = plot();
    early.precision[0].reached.insert(
        0,
        HalfWidth {
            players: 2.0,
            half_width: 90.0,
        },
    );
    for layout in LAYOUTS {
        let svg = progress(&early, layout);
        assert_sound(&svg);
        assert!(svg.contains("With the first few players"));
        let target = group(&svg, "mark-curve")[0];
        let axis = group(&svg, "mark-axis")[0];
        let height = attribute(axis, "y1") - attribute(axis, "y2");
        assert!(0.1 * height < attribute(axis, "y1") - attribute(target, "y1"));
    }
}

#[test]
fn counts_have_whole_ticks() {
    let mut few = plot();
    few.precision.clear();
    if let Some(arrivals) = &mut few.arrivals {
        arrivals.days.truncate(1);
    }
    for layout in LAYOUTS {
        let svg = progress(&few, layout);
        assert_sound(&svg);
        assert!(
            !group(&svg, "mark-text")
                .iter()
                .any(|text| text.contains(">0.5<"))
        );
    }
}

#[test]
fn what_is_missing_is_said_and_what_is_no_number_is_not_drawn() {
    let mut few = plot();
    few.precision[0].withheld = Some("Fewer than 5 players so far".to_owned());
    few.arrivals = None;
    let mut broken = plot();
    broken.precision[0].reached = vec![HalfWidth {
        players: f64::NAN,
        half_width: 1.0,
    }];
    broken.precision[0].expected.clear();
    broken.precision[0].label = LONG.to_owned();
    broken.arrivals = Some(Arrivals {
        label: LONG.to_owned(),
        days: Vec::new(),
        since: LONG.to_owned(),
    });
    let mut one = plot();
    one.precision[0].reached.truncate(1);
    one.precision[0].expected.clear();
    one.precision[0].target = Some(-1.0);
    let mut none = plot();
    none.precision.clear();
    none.arrivals = None;
    for layout in LAYOUTS {
        let svg = progress(&few, layout);
        assert_sound(&svg);
        assert!(svg.contains("Fewer than 5 players so far") && group(&svg, "mark-axis").is_empty());
        assert_sound(&progress(&broken, layout));
        assert_sound(&progress(&one, layout));
        let svg = progress(&none, layout);
        assert_sound(&svg);
        assert!(svg.contains(NOTHING));
    }
}

#[test]
fn the_pictures_are_those_that_were_looked_at() {
    let mut whole = plot();
    let mut other = panel("Balls in, forehand, 5 to under 8 lb");
    other.unit = "points".to_owned();
    other.target = None;
    other.said = String::new();
    whole.precision.push(other);
    assert_golden("progress-wide.svg", &progress(&whole, Layout::Wide));
    assert_golden("progress-narrow.svg", &progress(&whole, Layout::Narrow));
}
