use super::*;

const HASH: [u8; 32] = [7; 32];

fn with_draft() -> Store {
    let store = Store::open_in_memory().unwrap();
    store.add_study("one", b"first", 10).unwrap();
    store
}

fn found(store: &Store) -> StoredStudy {
    store.stored_study("one").unwrap().unwrap()
}

fn second<'a>() -> NewProtocol<'a> {
    NewProtocol {
        version: 2,
        document: b"second",
        made_at_ms: 40,
        reason: "Deep is measured otherwise.",
    }
}

#[test]
fn a_draft_is_replaced_and_an_open_study_gets_further_versions() {
    let store = with_draft();
    assert!(matches!(
        store.add_study("one", b"again", 11),
        Err(StoreError::StudyExists(_))
    ));
    assert!(!store.add_protocol("one", &second()).unwrap());
    assert!(store.replace_draft("one", b"better", 20).unwrap());
    assert!(!store.replace_draft("two", b"better", 20).unwrap());
    assert_eq!(found(&store).state, StudyState::Draft);
    assert!(store.open_recruiting("one", &HASH, 30).unwrap());
    assert!(!store.open_recruiting("one", &HASH, 31).unwrap());
    assert!(!store.replace_draft("one", b"late", 35).unwrap());
    let far = NewProtocol {
        version: 3,
        ..second()
    };
    assert!(!store.add_protocol("one", &far).unwrap());
    assert!(store.add_protocol("one", &second()).unwrap());
    assert!(!store.add_protocol("one", &second()).unwrap());
    let study = found(&store);
    assert_eq!(store.studies().unwrap(), std::slice::from_ref(&study));
    assert_eq!((study.opened_at_ms, study.closed_at_ms), (Some(30), None));
    assert_eq!(study.plan_hash, Some(HASH));
    let expected = [
        (1, b"better".to_vec(), 30, None),
        (2, b"second".to_vec(), 40, Some(second().reason.to_owned())),
    ];
    let kept = study.protocols.into_iter();
    let kept: Vec<_> = kept
        .map(|kept| (kept.version, kept.document, kept.made_at_ms, kept.reason))
        .collect();
    assert_eq!(kept, expected);
}

#[test]
fn recruiting_closes_once_and_only_when_it_is_open() {
    let store = with_draft();
    assert!(!store.close_recruiting("one", 20).unwrap());
    store.open_recruiting("one", &HASH, 30).unwrap();
    assert!(store.close_recruiting("one", 50).unwrap());
    assert!(!store.close_recruiting("one", 60).unwrap());
    let study = found(&store);
    assert_eq!(study.state, StudyState::Closed);
    assert_eq!(study.closed_at_ms, Some(50));
    assert!(store.add_protocol("one", &second()).unwrap());
}

#[test]
fn a_hash_that_is_kept_is_not_replaced() {
    let store = with_draft();
    store.keep_plan_hash("one", &[1; 32]).unwrap();
    assert_eq!(found(&store).plan_hash, None);
    store.open_recruiting("one", &HASH, 30).unwrap();
    store.keep_plan_hash("one", &[1; 32]).unwrap();
    assert_eq!(found(&store).plan_hash, Some(HASH));
}
