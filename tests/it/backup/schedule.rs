//! Scheduled backups: made when due, removed by age, never the last one and never another folder's.

use super::{check, refusal, restore};
use crate::harness::{self, Server, contribution, run, varied};
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};
use tautpool::backup::{self, Schedule};

const HOUR_MS: i64 = 3_600_000;
const DAY_MS: i64 = 24 * HOUR_MS;
const NOW_MS: i64 = 1_800_000_000_000;

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn backups_are_made_when_due_and_go_by_age() {
    let folder = harness::folder();
    let to = tempfile::tempdir().unwrap();
    let schedule = Schedule::new(to.path(), 24, 7).unwrap();
    let look = |now_ms| schedule.look(folder.path(), now_ms).unwrap();
    assert!(look(NOW_MS).made.is_some());
    assert!(look(NOW_MS + DAY_MS - 1).made.is_none());
    for day in 1..=20 {
        let done = look(NOW_MS + day * DAY_MS);
        assert!(done.made.is_some());
        assert_eq!(done.removed.len(), usize::from(7 < day), "day {day}");
    }
    let kept = names(to.path());
    assert_eq!(
        kept.len(),
        8,
        "seven days and the one that is made: {kept:?}"
    );
    for name in kept {
        assert!(check(&to.path().join(name)).status.success());
    }
    // A clock that was set back does not stop it.
    assert!(look(NOW_MS).made.is_some());
}

#[test]
fn the_newest_stays_when_no_newer_one_can_be_made() {
    let folder = harness::folder();
    let to = tempfile::tempdir().unwrap();
    let schedule = Schedule::new(to.path(), 24, 7).unwrap();
    for day in [0, 1] {
        schedule.look(folder.path(), NOW_MS + day * DAY_MS).unwrap();
    }
    let database = folder.path().join("tautpool.sqlite");
    fs::write(&database, vec![b'x'; 8192]).unwrap();
    let failed = schedule.look(folder.path(), NOW_MS + 100 * DAY_MS);
    assert!(failed.is_err());
    let kept = names(to.path());
    assert_eq!(
        kept.len(),
        1,
        "the older one is gone all the same: {kept:?}"
    );
    assert!(check(&to.path().join(&kept[0])).status.success());
}

#[test]
fn unfinished_backups_count_for_nothing_and_go_after_a_day() {
    let folder = harness::folder();
    let to = tempfile::tempdir().unwrap();
    let schedule = Schedule::new(to.path(), 24, 7).unwrap();
    let made = backup::make(folder.path(), to.path(), NOW_MS).unwrap();
    let partial = made.folder.with_extension("partial");
    fs::rename(&made.folder, &partial).unwrap();
    fs::remove_file(partial.join("SHA256SUMS")).unwrap();
    let data = tempfile::tempdir().unwrap();
    assert!(refusal(&restore(&partial, data.path())).contains("not finished"));
    let done = schedule.look(folder.path(), NOW_MS + HOUR_MS).unwrap();
    assert!(
        done.made.is_some(),
        "the unfinished one is not taken for one"
    );
    assert!(partial.exists(), "somebody may still be writing it");
    schedule.look(folder.path(), NOW_MS + 25 * HOUR_MS).unwrap();
    assert!(!partial.exists());
}

#[test]
fn backups_of_another_folder_and_other_files_are_left_alone() {
    let (one, other) = (harness::folder(), harness::folder());
    let to = tempfile::tempdir().unwrap();
    for (day, folder) in [(0, &other), (1, &other), (2, &one), (3, &one)] {
        backup::make(folder.path(), to.path(), NOW_MS + day * DAY_MS).unwrap();
    }
    fs::create_dir(to.path().join("tautpool-mine")).unwrap();
    fs::write(to.path().join("notes.txt"), b"mine").unwrap();
    let schedule = Schedule::new(to.path(), 24, 7).unwrap();
    let done = schedule.look(one.path(), NOW_MS + 100 * DAY_MS).unwrap();
    assert_eq!(done.removed.len(), 2);
    assert_eq!(names(to.path()).len(), 2 + 2 + 1);
}

#[test]
fn the_server_makes_the_first_backup_at_once_and_refuses_a_schedule_that_keeps_none() {
    let folder = harness::folder();
    let to = tempfile::tempdir().unwrap();
    let backups = to.path().to_str().unwrap();
    let server = Server::serve(folder.path(), &["--backup-to", backups]);
    let answer = server.post(&contribution(varied(1))).expect(201).json();
    let deadline = Instant::now() + Duration::from_secs(60);
    while names(to.path()).iter().all(|name| !name.ends_with('Z')) {
        assert!(Instant::now() < deadline, "{}", server.log());
        std::thread::sleep(Duration::from_millis(50));
    }
    let made = to.path().join(&names(to.path())[0]);
    assert!(check(&made).status.success());
    assert!(answer["receipt"].is_string());
    assert_eq!(server.log(), "", "a backup is nothing to warn of");
    drop(server);
    let data = folder.path().to_str().unwrap();
    let arguments = ["serve", "--data", data, "--listen", "127.0.0.1:0"];
    let more = [
        "--backup-to",
        backups,
        "--backup-every",
        "48",
        "--backups-kept",
        "1",
    ];
    let output = run(&[&arguments[..], &more].concat(), b"");
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(String::from_utf8_lossy(&output.stderr).contains("keep them longer"));
}

#[test]
fn a_backup_that_cannot_be_made_is_logged_and_the_service_goes_on() {
    let folder = harness::folder();
    let to = tempfile::tempdir().unwrap();
    let not_a_folder = to.path().join("file");
    fs::write(&not_a_folder, b"").unwrap();
    let path = not_a_folder.to_str().unwrap();
    let server = Server::serve(folder.path(), &["--backup-to", path]);
    let deadline = Instant::now() + Duration::from_secs(60);
    while !server.log().contains("could not be made") {
        assert!(Instant::now() < deadline, "{}", server.log());
        std::thread::sleep(Duration::from_millis(50));
    }
    server.post(&contribution(varied(1))).expect(201);
}
