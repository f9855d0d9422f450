use super::super::tests::{
    LAYOUTS, LONG, assert_golden, assert_sound, attribute, description, group, heading,
};
use super::*;

fn line(label: &str, worthwhile: bool, percent: f64, half: f64) -> GainLine {
    GainLine {
        label: label.to_owned(),
        worthwhile,
        share: Ok(GainShare {
            percent,
            low: percent - half,
            high: percent + half,
            numbers: format!("{percent} % ({} to {})", percent - half, percent + half),
        }),
    }
}

fn band(label: &str, percent: f64) -> GainGroup {
    GainGroup {
        label: label.to_owned(),
        counts: "84 pairs, 78 players".to_owned(),
        lines: Ok(vec![
            line("looser faster at all", false, percent, 11.0),
            line("by 1 km/h or more", true, percent - 18.0, 14.0),
        ]),
    }
}

fn plot(groups: Vec<GainGroup>) -> Gains {
    Gains {
        heading: heading("gains", "Who gains: ball speed, forehand"),
        interval_words: "95 % range".to_owned(),
        share_of: "players".to_owned(),
        groups,
    }
}

#[test]
fn the_two_thresholds_are_told_apart_by_shape() {
    for layout in LAYOUTS {
        let svg = gains(&plot(vec![band("5 to under 8 lb", 62.0)]), layout);
        assert_sound(&svg);
        assert_eq!(group(&svg, "mark-part").len(), 2 * 2);
        assert_eq!(group(&svg, "mark-part-apart").len(), 2 * 2);
        assert!(svg.contains(">share of players, %</text>"));
        assert!(description(&svg).contains(
            "5 to under 8 lb, 84 pairs, 78 players: looser faster at all: 62 % (51 to 73); \
             by 1 km/h or more: 44 % (30 to 58)."
        ));
    }
}

#[test]
fn the_axis_goes_from_none_to_all_whatever_the_shares() {
    for layout in LAYOUTS {
        let svg = gains(&plot(vec![band("a", 60.0)]), layout);
        let written = group(&svg, "mark-text");
        for tick in [">0</text>", ">20</text>", ">100</text>"] {
            assert!(written.iter().any(|text| text.ends_with(tick)), "{tick}");
        }
        assert!(!written.iter().any(|text| text.ends_with(">120</text>")));
    }
}

#[test]
fn a_share_at_an_edge_is_drawn_and_one_that_is_no_share_is_not() {
    let mut edges = band("a", 50.0);
    edges.lines = Ok(vec![
        line("all", false, 100.0, 0.0),
        line("none", false, 0.0, 0.0),
        line("too much", false, 150.0, 10.0),
        line("nothing", true, f64::NAN, 10.0),
    ]);
    for group in edges.lines.iter_mut().flatten() {
        if let Ok(share) = &mut group.share {
            share.numbers = "not to be said".to_owned();
        }
    }
    for layout in LAYOUTS {
        let svg = gains(&plot(vec![edges.clone()]), layout);
        assert_sound(&svg);
        let squares: Vec<&str> = group(&svg, "mark-part")
            .into_iter()
            .filter(|element| element.starts_with("<rect"))
            .collect();
        assert_eq!(squares.len(), 2 + 1);
        assert!(attribute(squares[1], "x") < attribute(squares[0], "x"));
    }
}

#[test]
fn a_group_or_a_share_that_is_missing_says_why() {
    let mut withheld = band("16 lb and over", 0.0);
    withheld.lines = Err("Fewer than 5 players so far".to_owned());
    withheld.counts = String::new();
    let mut partly = band(LONG, 50.0);
    if let Ok(lines) = &mut partly.lines {
        lines[1].label = LONG.to_owned();
        lines[1].share =
            Err("Not to be told while players differ no more than by chance".to_owned());
    }
    for layout in LAYOUTS {
        let svg = gains(&plot(vec![partly.clone(), withheld.clone()]), layout);
        assert_sound(&svg);
        assert!(description(&svg).contains("16 lb and over: Fewer than 5 players so far."));
        let none = gains(&plot(vec![withheld.clone()]), layout);
        assert_sound(&none);
        assert!(group(&none, "mark-axis").is_empty());
    }
}

#[test]
fn the_pictures_are_those_that_were_looked_at() {
    let mut missing = band("12 to under 16 lb", 50.0);
    if let Ok(lines) = &mut missing.lines {
        lines[1].share =
            Err("Not to be told while players differ no more than by chance".to_owned());
    }
    let mut withheld = band("16 lb and over", 0.0);
    withheld.lines = Err("Fewer than 5 players so far".to_owned());
    withheld.counts = String::new();
    let whole = plot(vec![
        band("5 to under 8 lb", 62.0),
        band("8 to under 12 lb", 71.0),
        missing,
        withheld,
    ]);
    assert_golden("gains-wide.svg", &gains(&whole, Layout::Wide));
    assert_golden("gains-narrow.svg", &gains(&whole, Layout::Narrow));
}
