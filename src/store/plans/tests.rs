use super::*;

const STUDY: &str = "one";

fn store() -> Store {
    let store = Store::open_in_memory().unwrap();
    for slug in [STUDY, "other"] {
        store.add_study(slug, b"{}", 0).unwrap();
    }
    store
}

/// The orders by turns.
fn by_turns(position: u64) -> Sequence {
    let [first, second] = Kind::TwoSessions.sequences();
    if position.is_multiple_of(2) {
        first
    } else {
        second
    }
}

fn draw(store: &Store, bits: u64, key: Option<u8>) -> Drawn {
    let new = NewPlan {
        study: STUDY,
        kind: Kind::TwoSessions,
        code: &Code::from_bits(bits),
        key_hash: key.map(|byte| [byte; 32]),
        drawn_at_ms: 10,
        only_again: false,
    };
    store.draw_plan(&new, by_turns).unwrap()
}

fn plan(drawn: Drawn) -> StoredPlan {
    match drawn {
        Drawn::Plan(plan) => plan,
        other => panic!("{other:?}"),
    }
}

#[test]
fn plans_take_one_position_after_another_by_kind_and_study() {
    let store = store();
    let drawn: Vec<Sequence> = (0..4)
        .map(|bits| plan(draw(&store, bits, None)).sequence)
        .collect();
    assert_eq!(drawn, (0..4).map(by_turns).collect::<Vec<_>>());
    for (study, kind) in [(STUDY, Kind::FourSessions), ("other", Kind::TwoSessions)] {
        let new = NewPlan {
            study,
            kind,
            code: &Code::from_bits(100 + kind as u64),
            key_hash: None,
            drawn_at_ms: 10,
            only_again: false,
        };
        let first = store.draw_plan(&new, |position| {
            assert_eq!(position, 0);
            kind.sequences()[1]
        });
        assert_eq!(plan(first.unwrap()).sequence, kind.sequences()[1]);
    }
}

#[test]
fn the_same_request_draws_the_same_plan() {
    let store = store();
    let first = plan(draw(&store, 1, Some(7)));
    assert_eq!(plan(draw(&store, 2, Some(7))), first);
    assert_ne!(plan(draw(&store, 3, Some(8))), first);
    let other = NewPlan {
        study: STUDY,
        kind: Kind::FourSessions,
        code: &Code::from_bits(4),
        key_hash: Some([7; 32]),
        drawn_at_ms: 10,
        only_again: false,
    };
    let drawn = store.draw_plan(&other, by_turns).unwrap();
    assert_eq!(drawn, Drawn::KeyUsedOtherwise);
    let last = NewPlan {
        kind: Kind::TwoSessions,
        only_again: true,
        ..other
    };
    let drawn = store.draw_plan(&last, by_turns).unwrap();
    assert_eq!(plan(drawn), first);
    let late = NewPlan {
        key_hash: Some([9; 32]),
        ..last
    };
    let drawn = store.draw_plan(&late, by_turns).unwrap();
    assert_eq!(drawn, Drawn::NotAgain);
    let nowhere = NewPlan {
        study: "none",
        ..late
    };
    let drawn = store.draw_plan(&nowhere, by_turns).unwrap();
    assert_eq!(drawn, Drawn::StudyUnknown);
}

#[test]
fn the_first_opening_is_remembered() {
    let store = store();
    let drawn = plan(draw(&store, 1, None));
    assert_eq!(drawn.opened_at_ms, None);
    let open = |study: &str, code: &Code, now_ms| store.open_plan(study, code, now_ms).unwrap();
    let opened = open(STUDY, &drawn.code, 20).unwrap();
    assert_eq!(opened.opened_at_ms, Some(20));
    assert_eq!(open(STUDY, &drawn.code, 30), Some(opened));
    assert_eq!(open("other", &drawn.code, 30), None);
    assert_eq!(open("none", &drawn.code, 30), None);
    assert_eq!(open(STUDY, &Code::from_bits(2), 30), None);
}

#[test]
fn plans_are_counted_up_to_a_time() {
    let store = store();
    for bits in 0..5 {
        draw(&store, bits, None);
    }
    for (bits, at) in [(0, 20), (1, 30), (2, 40)] {
        store
            .open_plan(STUDY, &Code::from_bits(bits), at)
            .unwrap()
            .unwrap();
    }
    let counts = |until_ms| -> Vec<(usize, usize, usize)> {
        let flows = store.plan_flow(STUDY, until_ms).unwrap();
        let counts = flows
            .iter()
            .map(|(_, flow)| (flow.drawn, flow.opened, flow.sent));
        counts.collect()
    };
    assert_eq!(counts(None), [(3, 2, 0), (2, 1, 0)]);
    assert_eq!(counts(Some(30)), [(3, 1, 0), (2, 1, 0)]);
    assert_eq!(counts(Some(20)), [(3, 1, 0), (2, 0, 0)]);
    assert_eq!(counts(Some(9)), []);
    assert_eq!(store.plan_flow("other", None).unwrap(), []);
}

#[test]
fn no_two_plans_have_one_code() {
    let store = store();
    draw(&store, 1, None);
    let again = NewPlan {
        study: "other",
        kind: Kind::TwoSessions,
        code: &Code::from_bits(1),
        key_hash: None,
        drawn_at_ms: 10,
        only_again: false,
    };
    assert!(store.draw_plan(&again, by_turns).is_err());
}
