use super::*;
use crate::store::Store;

fn store() -> Store {
    let store = Store::open_in_memory().unwrap();
    store.add_study("one", b"{}", 1).unwrap();
    store.add_study("two", b"{}", 2).unwrap();
    store
}

fn new(study: &str, number: i64) -> NewRelease<'_> {
    NewRelease {
        study,
        number,
        kind: if number == 1 {
            ReleaseKind::First
        } else {
            ReleaseKind::Correction
        },
        reason: (number != 1).then_some("a slip"),
        address: match (study, number) {
            ("one", 1) => "https://pool.example/1",
            ("one", 2) => "https://pool.example/2",
            ("one", _) => "https://pool.example/3",
            _ => "https://pool.example/other",
        },
        document: b"{\"a\":1}",
        sha256: [7; 32],
        made_at_ms: 9,
    }
}

#[test]
fn releases_are_numbered_one_after_another_within_their_study() {
    let store = store();
    assert!(!store.add_release(&new("one", 2)).unwrap());
    assert!(store.add_release(&new("one", 1)).unwrap());
    assert!(!store.add_release(&new("one", 1)).unwrap());
    assert!(!store.add_release(&new("one", 3)).unwrap());
    assert!(store.add_release(&new("one", 2)).unwrap());
    assert!(store.add_release(&new("two", 1)).unwrap());
    assert!(!store.add_release(&new("none", 1)).unwrap());
    let releases = store.releases("one").unwrap();
    let numbers: Vec<i64> = releases.iter().map(|release| release.number).collect();
    assert_eq!(numbers, [1, 2]);
    assert_eq!(releases[0].bytes, 7);
    assert_eq!(releases[1].reason.as_deref(), Some("a slip"));
    let document = store.release_document("one", 2).unwrap();
    assert_eq!(document.as_deref(), Some(b"{\"a\":1}".as_slice()));
    assert_eq!(store.release_document("one", 3).unwrap(), None);
    assert_eq!(store.releases("none").unwrap(), []);
}

#[test]
fn the_database_itself_refuses_to_change_or_delete_a_release() {
    let store = store();
    store.add_release(&new("one", 1)).unwrap();
    let before = store.releases("one").unwrap();
    let connection = store.lock();
    for (statement, said) in [
        ("UPDATE release SET document = x'00'", "never changed"),
        ("UPDATE release SET number = 5", "never changed"),
        ("UPDATE release SET reason = reason", "never changed"),
        ("DELETE FROM release", "never deleted"),
        (
            "INSERT OR REPLACE INTO release SELECT study_id, number, kind, reason, 'x', x'00', sha256, 0 FROM release",
            "one after another",
        ),
        (
            "INSERT INTO release SELECT study_id, 7, kind, reason, 'x', x'00', sha256, 0 FROM release",
            "one after another",
        ),
        (
            "UPDATE OR REPLACE release SET document = x'00'",
            "never changed",
        ),
    ] {
        let refused = connection.execute(statement, []).unwrap_err();
        assert!(refused.to_string().contains(said), "{statement}: {refused}");
    }
    // A study with a release cannot go either.
    assert!(connection.execute("DELETE FROM study", []).is_err());
    drop(connection);
    assert_eq!(store.releases("one").unwrap(), before);
}
