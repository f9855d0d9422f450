use super::*;
use crate::store::{Durability, Store};
use std::sync::Barrier;
use std::sync::atomic::AtomicUsize;
use std::thread;
use std::time::Duration;

/// A store on disk with a table of its own.
fn store() -> (tempfile::TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path(), Durability::Full).unwrap();
    store
        .lock()
        .execute_batch("CREATE TABLE line (n INTEGER NOT NULL)")
        .unwrap();
    (folder, store)
}

fn add(store: &Store, n: i64) -> Result<(), StoreError> {
    store.together(|writing| {
        writing
            .connection
            .execute("INSERT INTO line (n) VALUES (?1)", [n])?;
        Ok(())
    })
}

fn lines(connection: &Connection) -> Vec<i64> {
    let mut statement = connection.prepare("SELECT n FROM line ORDER BY n").unwrap();
    let rows = statement.query_map([], |row| row.get(0)).unwrap();
    rows.collect::<Result<_, _>>().unwrap()
}

/// Waits until so many are in line.
fn until_in_line(store: &Store, n: usize) {
    while store.writer.in_line.load(Ordering::SeqCst) < n {
        thread::sleep(Duration::from_millis(1));
    }
}

#[test]
fn those_in_line_share_one_transaction_and_each_is_synced_when_it_returns() {
    let (_folder, store) = store();
    let commits = AtomicUsize::new(0);
    thread::scope(|scope| {
        let first = store.lock();
        for n in 0..8 {
            let (store, commits) = (&store, &commits);
            scope.spawn(move || {
                add(store, n).unwrap();
                assert!(lines(&store.read()).contains(&n), "{n} is not committed");
                commits.fetch_add(1, Ordering::Relaxed);
            });
        }
        until_in_line(&store, 8);
        let before: i64 = pages_in_log(&store);
        drop(first);
        while commits.load(Ordering::Relaxed) < 8 {
            thread::sleep(Duration::from_millis(1));
        }
        // Eight transactions would have written the page of the table eight times.
        assert_eq!(pages_in_log(&store) - before, 1);
    });
    assert_eq!(lines(&store.read()), (0..8).collect::<Vec<_>>());
}

/// Pages that the write-ahead log holds.
fn pages_in_log(store: &Store) -> i64 {
    let folder = store.folder.as_ref().unwrap();
    let log = folder.join(format!("{}-wal", Store::FILE));
    let bytes = std::fs::metadata(log).unwrap().len();
    i64::try_from(bytes.saturating_sub(32) / (4096 + 24)).unwrap()
}

#[test]
fn whoever_fails_undoes_nothing_of_the_others() {
    let (_folder, store) = store();
    thread::scope(|scope| {
        let first = store.lock();
        for n in 0..6 {
            let store = &store;
            scope.spawn(move || {
                let done: Result<(), StoreError> = store.together(|writing| {
                    writing
                        .connection
                        .execute("INSERT INTO line (n) VALUES (?1)", [n])?;
                    if n % 2 == 0 {
                        Ok(())
                    } else {
                        Err(StoreError::Unreadable("made up".to_owned()))
                    }
                });
                assert_eq!(done.is_ok(), n % 2 == 0);
            });
        }
        until_in_line(&store, 6);
        drop(first);
    });
    assert_eq!(lines(&store.read()), [0, 2, 4]);
}

#[test]
fn a_panic_leaves_nobody_waiting_and_undoes_its_own_part_alone() {
    let (_folder, store) = store();
    thread::scope(|scope| {
        let first = store.lock();
        for n in 0..6 {
            let store = &store;
            scope.spawn(move || {
                let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
                    store.together(|writing| {
                        writing
                            .connection
                            .execute("INSERT INTO line (n) VALUES (?1)", [n])?;
                        assert_ne!(n, 3, "made up");
                        Ok::<(), StoreError>(())
                    })
                }));
                assert_eq!(done.is_err(), n == 3);
            });
        }
        until_in_line(&store, 6);
        drop(first);
    });
    assert_eq!(lines(&store.read()), [0, 1, 2, 4, 5]);
}

#[test]
fn a_transaction_that_the_database_gives_up_is_told_to_everybody_in_it() {
    let (_folder, store) = store();
    let told = AtomicUsize::new(0);
    thread::scope(|scope| {
        let first = store.lock();
        for n in 0..4 {
            let (store, told) = (&store, &told);
            scope.spawn(move || {
                let done: Result<(), StoreError> = store.together(|writing| {
                    writing
                        .connection
                        .execute("INSERT INTO line (n) VALUES (?1)", [n])?;
                    // As SQLite does by itself when the disk is full.
                    if store.writer.in_line.load(Ordering::SeqCst) == 0 {
                        writing.connection.execute_batch("ROLLBACK")?;
                    }
                    Ok(())
                });
                told.fetch_add(usize::from(done.is_err()), Ordering::Relaxed);
            });
        }
        until_in_line(&store, 4);
        drop(first);
    });
    assert_eq!(told.load(Ordering::Relaxed), 4);
    assert_eq!(lines(&store.read()), [0_i64; 0]);
    add(&store, 9).unwrap();
    assert_eq!(lines(&store.read()), [9]);
}

#[test]
fn readers_see_what_is_committed_and_wait_for_nobody() {
    let (_folder, store) = store();
    add(&store, 1).unwrap();
    let (begun, seen) = (Barrier::new(2), Barrier::new(2));
    thread::scope(|scope| {
        scope.spawn(|| {
            store
                .together(|writing| {
                    writing
                        .connection
                        .execute("INSERT INTO line (n) VALUES (2)", [])?;
                    begun.wait();
                    seen.wait();
                    Ok::<(), StoreError>(())
                })
                .unwrap();
        });
        begun.wait();
        assert_eq!(lines(&store.read()), [1]);
        seen.wait();
    });
    assert_eq!(lines(&store.read()), [1, 2]);
    let mut all: Vec<_> = (0..READERS).map(|_| store.read()).collect();
    assert!(all.iter_mut().all(|reader| lines(reader) == [1, 2]));
    let refused = all[0].execute("DELETE FROM line", []);
    assert!(refused.is_err(), "a reader wrote");
}

#[test]
fn in_memory_one_connection_does_for_all() {
    let store = Store::open_in_memory().unwrap();
    store
        .lock()
        .execute_batch("CREATE TABLE line (n INTEGER NOT NULL)")
        .unwrap();
    add(&store, 1).unwrap();
    assert_eq!(lines(&store.read()), [1]);
}

#[test]
fn whoever_finds_too_many_in_line_is_told_at_once_and_the_others_are_stored() {
    let (_folder, store) = store();
    thread::scope(|scope| {
        let first = store.lock();
        for n in 0..MOST_IN_LINE {
            let store = &store;
            scope.spawn(move || add(store, i64::try_from(n).unwrap()).unwrap());
        }
        until_in_line(&store, MOST_IN_LINE);
        assert!(matches!(add(&store, -1), Err(StoreError::Crowded)));
        drop(first);
    });
    let all = i64::try_from(MOST_IN_LINE).unwrap();
    assert!(lines(&store.read()).into_iter().eq(0..all));
    add(&store, -1).unwrap();
}
