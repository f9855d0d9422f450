use super::*;
use crate::protocol::{GapBand, GapBands, PrimaryOutcome};
use crate::units::{Hundredths, TensionUnit};
use crate::vocabulary::Outcome;

fn key(stroke: Stroke, direction: Direction) -> Key {
    Key {
        outcome: Outcome::Speed,
        class: ShotClass { stroke, direction },
        band: GapBand::Numbered(0),
    }
}

/// Rules whose one primary outcome is the speed of a class.
fn rules(declared: Key) -> AnalysisRules {
    let edges = vec![Hundredths::from_count(500)];
    AnalysisRules {
        bands: GapBands::new(TensionUnit::Pound, edges).unwrap(),
        primary: vec![PrimaryOutcome {
            outcome: declared.outcome,
            class: declared.class,
            smallest_worthwhile: None,
        }],
        minimum_players: 5,
    }
}

fn opened(counts: &[(Key, usize)], declared: Key) -> Vec<Key> {
    let players = counts.iter().copied().collect();
    open(&players, &rules(declared)).open.into_iter().collect()
}

const ALL: (Stroke, Direction) = (Stroke::Forehand, Direction::All);

#[test]
fn too_few_players_have_no_rows() {
    let (few, enough) = (key(Stroke::Serve, Direction::All), key(ALL.0, ALL.1));
    assert_eq!(opened(&[(few, 4), (enough, 5)], enough), [enough]);
}

#[test]
fn the_one_part_that_is_missing_of_a_sum_is_not_left_to_be_worked_out() {
    let [all, across, along, middle] = [
        Direction::All,
        Direction::Crosscourt,
        Direction::DownTheLine,
        Direction::Middle,
    ]
    .map(|direction| key(Stroke::Forehand, direction));
    // Down the line is suppressed; the smallest other part goes with it.
    let counts = [(all, 30), (across, 20), (along, 3), (middle, 9)];
    assert_eq!(opened(&counts, all), [across, all]);
    // Where the only other part is what the protocol asks, the total goes.
    let counts = [(all, 30), (across, 20), (along, 3)];
    assert_eq!(opened(&counts, across), [across]);
    assert_eq!(opened(&counts, all), [all]);
    // Two that are missing cannot be told apart, and a total alone says nothing of parts.
    let counts = [(all, 30), (across, 20), (along, 3), (middle, 2)];
    assert_eq!(opened(&counts, all), [across, all]);
    assert_eq!(opened(&[(all, 30), (along, 3)], all), [all]);
}

#[test]
fn strokes_add_up_too_and_one_suppression_may_lead_to_another() {
    let forehand = |direction| key(Stroke::Forehand, direction);
    let backhand = |direction| key(Stroke::Backhand, direction);
    let every = |direction| key(Stroke::All, direction);
    let counts = [
        (every(Direction::All), 40),
        (forehand(Direction::All), 40),
        (backhand(Direction::All), 6),
        (key(Stroke::Serve, Direction::All), 2),
        (backhand(Direction::Crosscourt), 6),
        (backhand(Direction::DownTheLine), 5),
    ];
    // Serves are suppressed, hence all backhands; of these both directions stay, since their total
    // is gone.
    let open = opened(&counts, forehand(Direction::All));
    assert!(!open.contains(&backhand(Direction::All)));
    assert!(open.contains(&every(Direction::All)));
    assert!(open.contains(&backhand(Direction::Crosscourt)));
}
