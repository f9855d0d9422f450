//! A disk that is really full: what is answered meanwhile, and afterwards.

use super::contribution;
use super::disk::{Disk, How};
use crate::form::{CONSENT, up_to_send};
use crate::harness::{self, STUDY, STUDY_FILE, Server, wait_until};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// A disk of 8 MiB in memory, as long as it lives.
struct Small(TempDir);

impl Small {
    /// `None` where this process may not mount anything.
    fn mounted() -> Option<Self> {
        let place = tempfile::tempdir().unwrap();
        let mounting = Command::new("mount")
            .args(["-t", "tmpfs", "-o", "size=8m,mode=700", "tmpfs"])
            .arg(place.path())
            .output();
        let is_mounted = mounting.is_ok_and(|mounting| mounting.status.success());
        is_mounted.then(|| Self(place))
    }

    fn path(&self) -> &Path {
        self.0.path()
    }
}

impl Drop for Small {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(self.path()).status();
    }
}

/// Fills a disk but for so many bytes. Gives the file to remove.
fn fill(disk: &Path, but_for: u64) -> PathBuf {
    let ballast = disk.join("ballast");
    let mut file = File::create(&ballast).unwrap();
    let block = [1; 64 * 1024];
    let mut written = 0;
    while let Ok(n) = file.write(&block) {
        written += n as u64;
    }
    file.set_len(written.saturating_sub(but_for)).unwrap();
    ballast
}

fn send(server: &Server, note: &str) -> harness::Answer {
    let key = format!("\"{note}\"");
    server.post_bytes(contribution(note).as_bytes(), &[("idempotency-key", &key)])
}

/// Where nothing can be mounted, the limit on the size of files stands in for it
/// (`a_full_disk_is_said_and_loses_nothing_that_was_acknowledged`), and `disk.c` for what follows.
#[test]
fn a_full_disk_is_healthy_and_not_ready_and_goes_on_once_there_is_room() {
    let Some(small) = Small::mounted() else {
        return;
    };
    let data = small.path().join("data");
    let added = harness::add_study(STUDY_FILE, &data);
    assert!(added.status.success(), "{added:?}");
    let mut server = Server::serve(&data, &[]);
    server.get("/ready").expect(200);
    let mut acknowledged = BTreeMap::new();
    let mut keep = |note: &str, reply: &Value| {
        acknowledged.insert(note.to_owned(), reply["contribution"].clone());
    };
    keep("first", &send(&server, "first").expect(201).json());
    let ballast = fill(small.path(), 200 * 1024);
    wait_until("it is not ready", || server.get("/ready").status == 503);
    let problem = server.get("/ready").expect_problem(503, "not-ready");
    let detail = "The disk that holds the data has less than 4 MiB left.";
    assert_eq!(problem["detail"], detail);
    let refused = (0..1000)
        .map(|number| format!("number-{number}"))
        .find(|note| {
            let answer = send(&server, note);
            if answer.status == 503 {
                answer.expect_problem(503, "unavailable");
                return true;
            }
            keep(note, &answer.expect(201).json());
            false
        })
        .expect("the disk never filled");
    server.get("/health").expect(200);
    server.get(&format!("/studies/{STUDY}")).expect(200);
    wait_until("no write goes through", || {
        let problem = server.get("/ready").expect_problem(503, "not-ready");
        problem["detail"] != detail
    });
    fs::remove_file(ballast).unwrap();
    assert!(server.is_up());
    keep(&refused, &send(&server, &refused).expect(201).json());
    wait_until("it is ready again", || server.get("/ready").status == 200);
    drop(server);
    let exported = harness::exported(&data);
    let kept = exported.iter().map(|kept| {
        let document: Value = serde_json::from_str(kept["document"].as_str().unwrap()).unwrap();
        let note = document["note"].as_str().unwrap().to_owned();
        (note, kept["contribution"].clone())
    });
    assert_eq!(kept.collect::<BTreeMap<_, _>>(), acknowledged);
    assert_eq!(exported.len(), acknowledged.len());
}

#[test]
fn a_form_that_cannot_be_stored_keeps_what_was_typed_and_says_when_to_send_it_again() {
    let folder = harness::folder();
    let disk = Disk::below(folder.path());
    let server = Server::serve_among(folder.path(), &[], &disk.environment()).unwrap();
    let mut page = up_to_send(&server);
    page.fill_all(CONSENT);
    disk.fail(1, How::Full, true);
    let refused = page.press(&server, "send").expect(503);
    assert_eq!(refused.header("retry-after"), "30");
    assert!(
        refused
            .text()
            .contains("Nothing can be stored at the moment")
    );
    disk.mend();
    page.press(&server, "send").expect(201);
    page.press(&server, "send").expect(201);
    drop(server);
    assert_eq!(harness::exported(folder.path()).len(), 1);
}
