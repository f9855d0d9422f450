use super::super::tests::{
    CROWDS, LAYOUTS, assert_golden, assert_sound, attribute, description, group, heading, pooled,
    speed, spread, strokes,
};
use super::*;

fn plot(n: u32) -> Ranked {
    let pairs = spread(n, 1.2, 3.0)
        .into_iter()
        .zip(spread(n + 7, 3.0, 0.8).into_iter().skip(7))
        .map(|(estimate, half)| RankedPair {
            estimate,
            low: estimate - half.abs(),
            high: estimate + half.abs(),
        })
        .collect();
    Ranked {
        heading: heading("ranked", "Every pair by rank: ball speed, forehand"),
        sides: speed(),
        interval_words: "95 % range".to_owned(),
        pairs,
        summary: Some(pooled(1.2, 0.4, 3.4)),
        worthwhile: Some(1.0),
        withheld: None,
    }
}

fn dots(svg: &str) -> Vec<(f64, f64, f64)> {
    let paths = group(svg, "mark-dot");
    paths.first().map(|path| strokes(path)).unwrap_or_default()
}

#[test]
fn any_number_of_pairs_has_bounded_height_and_bytes_and_all_its_points() {
    for n in CROWDS {
        for layout in LAYOUTS {
            let svg = ranked(&plot(n), layout);
            assert_sound(&svg);
            let n_outside = group(&svg, "mark-outside").len();
            let n_drawn = (n as usize).div_ceil(step(n as usize));
            assert!(n_drawn.abs_diff(dots(&svg).len() + n_outside) <= 1, "{n}");
            assert!(svg.len() < 20_000, "{n}: {} bytes", svg.len());
            let (head, _) = svg.split_once('\n').unwrap();
            let (_, height) = head.split_once("viewBox=\"0 0 ").unwrap();
            let height: f64 = height.split([' ', '"']).nth(1).unwrap().parse().unwrap();
            assert!(height < 720.0, "{n}: {height}");
        }
    }
}

#[test]
fn of_more_pairs_than_have_room_one_in_so_many_is_drawn_and_the_picture_says_so() {
    assert_eq!(
        [1, 300, 301, 600, 601, 4_000].map(step),
        [1, 1, 2, 2, 3, 14]
    );
    let crowd = plot(4_000);
    let sorted = in_order(&crowd.pairs);
    let middles = sorted.chunks(14).map(|chunk| chunk[7]);
    assert!(drawn(&crowd.pairs).into_iter().eq(middles));
    let said = description(&ranked(&crowd, LAYOUTS[0])).replace('\u{202F}', " ");
    assert!(said.contains("One pair in 14 is drawn."), "{said}");
    assert!(said.contains("4 000 pairs"), "{said}");
    assert!(!description(&ranked(&plot(300), LAYOUTS[0])).contains("is drawn"));
}

#[test]
fn pairs_stand_by_rank_whatever_their_order() {
    let forward = plot(40);
    let mut backward = forward.clone();
    backward.pairs.reverse();
    for layout in LAYOUTS {
        let svg = ranked(&forward, layout);
        assert_eq!(svg, ranked(&backward, layout));
        let dots = dots(&svg);
        assert!(dots.is_sorted_by(|a, b| a.0 <= b.0 && a.1 < b.1));
    }
}

#[test]
fn equal_pairs_and_pairs_that_are_not_numbers_break_nothing() {
    let mut equal = plot(8);
    for pair in &mut equal.pairs {
        (pair.low, pair.estimate, pair.high) = (0.0, 0.0, 0.0);
    }
    equal.summary = None;
    let mut broken = plot(8);
    broken.pairs[0].estimate = f64::NAN;
    broken.pairs[1].estimate = f64::INFINITY;
    broken.pairs[2].low = f64::NAN;
    broken.pairs[3].high = 1e300;
    for layout in LAYOUTS {
        assert_sound(&ranked(&equal, layout));
        let svg = ranked(&broken, layout);
        assert_sound(&svg);
        assert!(svg.contains(">2 pairs lie outside the picture.</text>"));
        assert!(description(&svg).ends_with("2 pairs lie outside the picture."));
    }
}

#[test]
fn a_range_that_goes_on_beyond_the_picture_ends_at_its_edge() {
    let mut far = plot(300);
    far.pairs[0].low = -1e6;
    for (layout, width) in [(Layout::Wide, 1000.0), (Layout::Narrow, 340.0)] {
        let svg = ranked(&far, layout);
        let path = group(&svg, "mark-ranges")[0];
        let leftmost =
            strokes(path).iter().fold(
                width,
                |least, stroke| {
                    if stroke.0 < least { stroke.0 } else { least }
                },
            );
        assert!((leftmost - MARGIN).abs() < 0.1, "{leftmost}");
    }
}

#[test]
fn the_pooled_mean_is_a_line_through_all_pairs_and_a_diamond() {
    let svg = ranked(&plot(40), Layout::Wide);
    let line = group(&svg, "mark-curve")[0];
    assert!((attribute(line, "x1") - attribute(line, "x2")).abs() < 0.01);
    assert_eq!(group(&svg, "mark-pooled").len(), 2);
}

#[test]
fn what_is_withheld_or_missing_is_said_and_no_mark_is_drawn() {
    let mut withheld = plot(40);
    withheld.withheld = Some("Fewer than 5 players so far".to_owned());
    let mut empty = plot(0);
    empty.summary = None;
    for layout in LAYOUTS {
        for (plot, said) in [(&withheld, "Fewer than 5"), (&empty, NOTHING)] {
            let svg = ranked(plot, layout);
            assert_sound(&svg);
            assert!(svg.contains(said));
            assert!(group(&svg, "mark-dot").is_empty() && group(&svg, "mark-axis").is_empty());
            assert!(!svg.contains("1.2 (0.8"));
        }
    }
}

#[test]
fn the_pictures_are_those_that_were_looked_at() {
    assert_golden("ranked-wide.svg", &ranked(&plot(40), Layout::Wide));
    assert_golden("ranked-narrow.svg", &ranked(&plot(300), Layout::Narrow));
}
