use super::super::tests::{
    LAYOUTS, LONG, assert_golden, assert_sound, attribute, description, group, heading,
};
use super::*;

fn leaving(label: &str, count: &str, reasons: &[(&str, &str)]) -> Leaving {
    Leaving {
        label: label.to_owned(),
        count: count.to_owned(),
        reasons: reasons
            .iter()
            .map(|(label, count)| Reason {
                label: (*label).to_owned(),
                count: (*count).to_owned(),
            })
            .collect(),
    }
}

fn stage(label: &str, count: &str, leaving: Vec<Leaving>) -> Stage {
    Stage {
        label: label.to_owned(),
        count: count.to_owned(),
        leaving,
    }
}

fn plot() -> Flow {
    Flow {
        heading: heading("flow", "From the first plan to the pool"),
        stages: vec![
            stage(
                "Plans opened",
                "at least 160 plans",
                vec![leaving("Nothing sent", "at least 35 plans", &[])],
            ),
            stage(
                "Sent",
                "125 contributions from 118 players",
                vec![
                    leaving("Held", "4 contributions wait for a decision", &[]),
                    leaving(
                        "Declined",
                        "7 contributions",
                        &[
                            ("Unit of the speeds could not be settled", "3"),
                            ("The same file sent twice", "3"),
                            ("Other", "1"),
                        ],
                    ),
                    leaving("Withdrawn", "2 contributions", &[]),
                ],
            ),
            stage("Pooled", "112 pairs from 107 players", Vec::new()),
        ],
    }
}

#[test]
fn every_count_is_in_a_box_and_in_words() {
    for layout in LAYOUTS {
        let svg = flow(&plot(), layout);
        assert_sound(&svg);
        assert_eq!(group(&svg, "mark-box").len(), 3 + 4);
        // A head for each box that is led to.
        assert_eq!(group(&svg, "mark-outside").len(), 2 + 4);
        assert!(description(&svg).contains(
            "Declined: 7 contributions (Unit of the speeds could not be settled: 3, The same file \
             sent twice: 3, Other: 1); Withdrawn: 2 contributions. Pooled: 112 pairs from 107 players."
        ));
    }
}

#[test]
fn boxes_do_not_overlap_and_hold_their_words_however_long() {
    let mut long = plot();
    long.stages[0].label = LONG.to_owned();
    long.stages[1].count = LONG.to_owned();
    long.stages[1].leaving[1].reasons[0].label = LONG.to_owned();
    long.stages[2]
        .leaving
        .push(leaving(LONG, LONG, &[(LONG, "3")]));
    for layout in LAYOUTS {
        for plot in [plot(), long.clone()] {
            let svg = flow(&plot, layout);
            assert_sound(&svg);
            let mut edges: Vec<(f64, f64)> = group(&svg, "mark-box")
                .iter()
                .map(|shape| {
                    let top = attribute(shape, "y");
                    (top, top + attribute(shape, "height"))
                })
                .collect();
            edges.sort_by(|a, b| a.0.total_cmp(&b.0));
            assert!(edges.windows(2).all(|two| two[0].1 < two[1].0));
            let heights = group(&svg, "mark-text");
            let below_title = heights
                .iter()
                .map(|text| attribute(text, "y"))
                .filter(|y| edges[0].0 < *y);
            for y in below_title {
                assert!(edges.iter().any(|(top, bottom)| *top < y && y < *bottom));
            }
        }
    }
}

#[test]
fn one_stage_or_none_is_no_trouble() {
    let mut one = plot();
    one.stages.truncate(1);
    let mut none = plot();
    none.stages.clear();
    for layout in LAYOUTS {
        let svg = flow(&one, layout);
        assert_sound(&svg);
        assert_eq!(group(&svg, "mark-box").len(), 2);
        let svg = flow(&none, layout);
        assert_sound(&svg);
        assert!(svg.contains(NOTHING) && group(&svg, "mark-box").is_empty());
    }
}

#[test]
fn the_pictures_are_those_that_were_looked_at() {
    assert_golden("flow-wide.svg", &flow(&plot(), Layout::Wide));
    assert_golden("flow-narrow.svg", &flow(&plot(), Layout::Narrow));
}
