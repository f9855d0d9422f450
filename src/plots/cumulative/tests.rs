use super::super::tests::{
    LAYOUTS, LONG, assert_golden, assert_sound, description, group, heading, speed,
};
use super::*;

fn step(n: u32) -> CumulativeStep {
    let half = 6.0 / f64::from(n).sqrt();
    let estimate = 1.2 + half * f64::from(n).sin() / 2.0;
    let (low, high) = (estimate - half, estimate + half);
    CumulativeStep {
        label: format!("{n} players"),
        result: Ok(CumulativeMean {
            estimate,
            low,
            high,
            numbers: numbers::estimate_and_interval(estimate, low, high),
        }),
    }
}

fn plot(steps: Vec<CumulativeStep>) -> Cumulative {
    Cumulative {
        heading: heading("cumulative", "As players arrived: ball speed, forehand"),
        sides: speed(),
        interval_words: "95 % range".to_owned(),
        steps,
        worthwhile: Some(1.0),
        withheld: None,
    }
}

fn n_squares(svg: &str) -> usize {
    let squares = group(svg, "mark-part").into_iter();
    squares
        .filter(|element| element.starts_with("<rect"))
        .count()
        .saturating_sub(1)
}

#[test]
fn every_step_is_a_square_and_the_last_a_diamond() {
    for layout in LAYOUTS {
        let svg = cumulative(&plot((1..=8).map(|n| step(10 * n)).collect()), layout);
        assert_sound(&svg);
        assert_eq!(n_squares(&svg), 7);
        assert_eq!(group(&svg, "mark-pooled").len(), 2);
        let one = cumulative(&plot(vec![step(10)]), layout);
        assert_sound(&one);
        assert!(group(&one, "mark-part").is_empty());
    }
}

#[test]
fn of_very_many_steps_some_are_drawn_always_the_last_and_that_is_said() {
    for n in [17, 40, 200] {
        for layout in LAYOUTS {
            let svg = cumulative(&plot((1..=n).map(|n| step(5 * n)).collect()), layout);
            assert_sound(&svg);
            assert!(n_squares(&svg) < MOST_STEPS, "{n}");
            assert!(svg.contains(&format!(">{} players</text>", 5 * n)));
            assert!(svg.contains(&format!("of {n} steps are shown.</text>")));
        }
    }
}

#[test]
fn a_step_without_a_mean_says_why() {
    let missing = CumulativeStep {
        label: LONG.to_owned(),
        result: Err("Fewer than 5 players so far".to_owned()),
    };
    let mut broken = step(9);
    if let Ok(mean) = &mut broken.result {
        (mean.low, mean.high) = (f64::NAN, 1e300);
    }
    let mut huge = step(11);
    if let Ok(mean) = &mut huge.result {
        (mean.low, mean.high) = (-8e7, 8e7);
    }
    for layout in LAYOUTS {
        let svg = cumulative(
            &plot(vec![
                missing.clone(),
                broken.clone(),
                huge.clone(),
                step(40),
            ]),
            layout,
        );
        assert_sound(&svg);
        assert!(description(&svg).contains("Fewer than 5 players so far."));
        let none = cumulative(&plot(vec![missing.clone()]), layout);
        assert_sound(&none);
        assert!(group(&none, "mark-axis").is_empty());
    }
}

#[test]
fn what_is_withheld_or_missing_is_said_and_no_mark_is_drawn() {
    let mut withheld = plot(vec![step(40)]);
    withheld.withheld = Some("Fewer than 5 players so far".to_owned());
    for layout in LAYOUTS {
        for (plot, said) in [(&withheld, "Fewer than 5"), (&plot(Vec::new()), NOTHING)] {
            let svg = cumulative(plot, layout);
            assert_sound(&svg);
            assert!(svg.contains(said) && group(&svg, "mark-axis").is_empty());
        }
    }
}

#[test]
fn the_pictures_are_those_that_were_looked_at() {
    let steps = [8, 16, 24, 33, 41, 52, 64, 78].map(step).to_vec();
    let whole = plot(steps);
    assert_golden("cumulative-wide.svg", &cumulative(&whole, Layout::Wide));
    assert_golden("cumulative-narrow.svg", &cumulative(&whole, Layout::Narrow));
}
