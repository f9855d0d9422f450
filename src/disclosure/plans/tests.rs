use super::*;
use crate::protocol::GapBands;
use crate::units::{Hundredths, TensionUnit};

fn rules() -> AnalysisRules {
    AnalysisRules {
        bands: GapBands::new(TensionUnit::Pound, vec![Hundredths::from_count(500)]).unwrap(),
        primary: Vec::new(),
        minimum_players: 5,
    }
}

fn flow(drawn: usize, opened: usize, sent: usize, withdrawn: usize) -> Flow {
    Flow {
        drawn,
        opened,
        sent,
        withdrawn,
    }
}

#[test]
fn nothing_is_told_of_fewer_than_the_minimum_of_opened_plans() {
    assert_eq!(plan_counts(&[], &rules()), None);
    let few = [
        (Sequence::LooserTighter, flow(90, 2, 2, 0)),
        (Sequence::TighterLooser, flow(90, 2, 0, 0)),
    ];
    assert_eq!(plan_counts(&few, &rules()), None);
}

#[test]
fn an_order_below_the_minimum_looks_like_one_without_any() {
    let with = |opened: usize| {
        let flows = [
            (Sequence::LooserTighter, flow(12, 11, 10, 0)),
            (Sequence::TighterLooser, flow(opened, opened, 0, 0)),
        ];
        plan_counts(&flows, &rules()).unwrap()
    };
    assert_eq!(with(0), with(2));
    assert_eq!(with(4).tighter_first, PlansOfOrder::default());
    assert_eq!(with(5).tighter_first.opened, 5);
}

#[test]
fn counts_are_multiples_of_the_minimum_and_every_order_is_rounded_once() {
    let flows = [
        (Sequence::LooserTighter, flow(14, 13, 7, 3)),
        (Sequence::TighterLooser, flow(14, 13, 4, 0)),
        (Sequence::LooserTighterTighterLooser, flow(4, 4, 4, 1)),
        (Sequence::TighterLooserLooserTighter, flow(3, 2, 1, 0)),
    ];
    let counts = plan_counts(&flows, &rules()).unwrap();
    let order = |drawn, opened, sent, unsent| PlansOfOrder {
        drawn,
        opened,
        sent,
        unsent,
    };
    assert_eq!(counts.looser_first, order(10, 10, 5, 5));
    assert_eq!(counts.tighter_first, order(10, 10, 0, 5));
    assert_eq!(counts.balanced, order(5, 5, 5, 0));
    // 35 drawn, 32 opened, 16 sent, 16 not.
    assert_eq!(counts.every_order, order(35, 30, 15, 15));
}

#[test]
fn who_withdrew_shows_in_no_count() {
    let with = |withdrawn| {
        let flows = [(Sequence::LooserTighter, flow(20, 20, 12, withdrawn))];
        plan_counts(&flows, &rules())
    };
    assert_eq!(with(0), with(12));
}
