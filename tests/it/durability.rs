//! What was acknowledged is on disk: seen in the system calls, after faults at every write, after
//! power cuts and after kills.
//!
//! - here: the order of system calls, and a disk that fills up;
//! - `disk`: a disk that fails on demand and writes down every call;
//! - `scenario`: everything that is acknowledged, and what is kept of it;
//! - `faults`: a fault at every write;
//! - `full`: a disk that is really full;
//! - `replay`: what a power cut may leave at any moment;
//! - `kills`: the process killed at random moments, under load.

#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at what it did not expect"
)]

mod disk;
mod faults;
mod full;
mod kills;
mod replay;
mod scenario;

use crate::harness::{self, Pair, STUDY};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};
use tautpool::http::Front;
use tautpool::service::Service;
use tautpool::store::{Durability, Store};

/// Names the folder that the unsynced server of the counter-check serves.
const UNSYNCED_FOLDER: &str = "TAUTPOOL_TEST_UNSYNCED_FOLDER";

/// What a traced server did, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Step {
    /// Wrote to the write-ahead log.
    LogWritten,
    /// Synced the write-ahead log to disk.
    LogSynced,
    /// Sent the 201.
    Acknowledged,
}

/// A contribution that a note tells from every other. Its standard deviations are its own, so its
/// effects do not depend on what others sent.
fn contribution(note: &str) -> String {
    edited(Pair::default(), note)
}

/// The document of a pair with a note.
fn edited(pair: Pair, note: &str) -> String {
    let mut document = harness::contribution(pair);
    document["note"] = json!(note);
    document.to_string()
}

/// The note in a document; null when there is none.
fn note_of(document: &[u8]) -> Value {
    serde_json::from_slice::<Value>(document).unwrap()["note"].take()
}

/// Whether every page of the database is as it should be, and every reference leads somewhere.
fn is_sound(data: &Path) -> bool {
    let asked = || -> rusqlite::Result<(String, i64)> {
        let connection = rusqlite::Connection::open(data.join(Store::FILE))?;
        let one = |sql: &str| connection.query_row(sql, [], |row| row.get(0));
        let dangling = "SELECT count(*) FROM pragma_foreign_key_check";
        let dangling = connection.query_row(dangling, [], |row| row.get(0))?;
        Ok((one("PRAGMA integrity_check")?, dangling))
    };
    asked().is_ok_and(|(said, dangling)| said == "ok" && dangling == 0)
}

#[track_caller]
fn assert_sound(data: &Path) {
    assert!(is_sound(data), "the database is not sound");
}

/// Sends a contribution under a key; `None` when no answer came.
fn post(address: &str, note: &str) -> Option<(u16, Value)> {
    let agent: ureq::Agent = ureq::Agent::config_builder()
        .http_status_as_error(false)
        .timeout_global(Some(harness::ANSWER_WITHIN))
        .build()
        .into();
    let mut answer = agent
        .post(format!(
            "http://{address}/api/v1/studies/{STUDY}/contributions"
        ))
        .header("content-type", "application/json")
        .header("idempotency-key", note)
        .send(contribution(note))
        .ok()?;
    let text = answer.body_mut().read_to_string().ok()?;
    Some((answer.status().as_u16(), serde_json::from_str(&text).ok()?))
}

/// Reads the steps out of a trace by `strace -f -y`. A call that another thread interrupts stands
/// on two lines, and counts when it returns.
fn steps(trace: &str) -> Vec<Step> {
    let mut syncing: Vec<&str> = Vec::new();
    let mut steps = Vec::new();
    for line in trace.lines() {
        let (thread, call) = line.split_once(' ').unwrap_or((line, ""));
        let call = call.trim_start();
        let on_log = call.contains("-wal>");
        let is_sync = call.starts_with("fdatasync(") || call.starts_with("fsync(");
        if is_sync && on_log && call.contains("<unfinished") {
            syncing.push(thread);
        } else if (is_sync && on_log && call.ends_with("= 0"))
            || (call.contains("sync resumed>") && syncing.contains(&thread))
        {
            syncing.retain(|other| *other != thread);
            steps.push(Step::LogSynced);
        } else if call.starts_with("pwrite64(") && on_log {
            steps.push(Step::LogWritten);
        } else if call.contains("HTTP/1.1 201") {
            steps.push(Step::Acknowledged);
        }
    }
    steps
}

/// Whether every acknowledgement comes after a sync that comes after the last write to the log.
fn every_acknowledgement_is_synced(steps: &[Step]) -> bool {
    let mut unsynced_write = false;
    let mut written = false;
    for step in steps {
        match step {
            Step::LogWritten => (written, unsynced_write) = (true, true),
            Step::LogSynced => unsynced_write = false,
            Step::Acknowledged if unsynced_write || !written => return false,
            Step::Acknowledged => written = false,
        }
    }
    true
}

/// A traced server. It ends with this value, and strace with it.
struct Traced(Child);

impl Drop for Traced {
    fn drop(&mut self) {
        let strace = self.0.id().to_string();
        let _ = Command::new("pkill")
            .args(["-KILL", "-P", &strace])
            .status();
        let _ = self.0.wait();
    }
}

/// Starts a command under strace and returns it once it has written its address to a file or
/// printed it.
fn traced(command: &[&str], folder: &Path, trace: &Path) -> (Traced, String) {
    let address = folder.join("address");
    let printed = fs::File::create(&address).unwrap();
    let spawned = Command::new("strace")
        .args([
            "-f",
            "-y",
            "-s",
            "40",
            "-e",
            "trace=pwrite64,fsync,fdatasync,write,writev,sendto,sendmsg",
            "-o",
        ])
        .arg(trace)
        .args(command)
        .env(UNSYNCED_FOLDER, folder)
        .stdout(printed)
        .stderr(Stdio::null())
        .spawn();
    let traced = Traced(spawned.expect("strace is installed by tests/run"));
    (traced, wait_for_address(&address))
}

/// Waits until a server has printed its address into a file.
fn wait_for_address(printed: &Path) -> String {
    let deadline = Instant::now() + Duration::from_secs(60);
    while Instant::now() < deadline {
        let text = fs::read_to_string(printed).unwrap();
        if let Some((_, rest)) = text.split_once("http://")
            && let Some((address, _)) = rest.split_once('\n')
        {
            return address.to_owned();
        }
        thread::sleep(Duration::from_millis(20));
    }
    panic!("the server did not say where it listens");
}

/// Sends three contributions to a traced server and returns the steps it took.
fn trace_of_three(command: &[&str], folder: &Path) -> Vec<Step> {
    let trace = folder.join("trace");
    let (server, address) = traced(command, folder, &trace);
    for number in 0..3 {
        let (status, answer) = post(&address, &format!("traced-{number}")).unwrap();
        assert_eq!(status, 201, "{answer}");
    }
    drop(server);
    let steps = steps(&fs::read_to_string(trace).unwrap());
    let acknowledged = steps.iter().filter(|step| **step == Step::Acknowledged);
    assert_eq!(acknowledged.count(), 3, "{steps:?}");
    steps
}

#[test]
fn every_201_follows_the_sync_of_the_log_it_speaks_of() {
    let folder = harness::folder();
    let data = folder.path().display().to_string();
    let program = env!("CARGO_BIN_EXE_tautpool");
    let command = [program, "serve", "--data", &data, "--listen", "127.0.0.1:0"];
    let steps = trace_of_three(&command, folder.path());
    assert!(every_acknowledgement_is_synced(&steps), "{steps:?}");
}

#[test]
fn the_trace_notices_a_server_that_does_not_sync() {
    let folder = harness::folder();
    let this = std::env::current_exe().unwrap().display().to_string();
    let command = [
        &this,
        "--exact",
        "--nocapture",
        "durability::unsynced_server_for_the_trace",
    ];
    let steps = trace_of_three(&command, folder.path());
    assert!(!every_acknowledgement_is_synced(&steps), "{steps:?}");
}

/// Not a test of its own: the traced child of the test above, a server whose commits are not
/// synced. Without the variable that names its folder it does nothing.
#[test]
fn unsynced_server_for_the_trace() {
    let Ok(folder) = std::env::var(UNSYNCED_FOLDER) else {
        return;
    };
    let service = Service::open(Path::new(&folder), Durability::None).unwrap();
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    println!("http://{}", listener.local_addr().unwrap());
    actix_web::rt::System::new()
        .block_on(async {
            tautpool::http::server(Arc::new(service), listener, 1, Front::Nothing, 0, None)?.await
        })
        .unwrap();
}

#[test]
fn the_reading_of_a_trace_follows_interrupted_calls() {
    let trace = "7  pwrite64(9</d/tautpool.sqlite-wal>, \"x\", 24, 0) = 24\n\
                 7  fdatasync(9</d/tautpool.sqlite-wal> <unfinished ...>\n\
                 8  write(5<socket>, \"HTTP/1.1 200\", 12) = 12\n\
                 7  <... fdatasync resumed>)           = 0\n\
                 8  sendto(5<socket>, \"HTTP/1.1 201 Created\", 20, 0) = 20\n";
    let steps = steps(trace);
    assert_eq!(
        steps,
        [Step::LogWritten, Step::LogSynced, Step::Acknowledged]
    );
    assert!(every_acknowledgement_is_synced(&steps));
    assert!(!every_acknowledgement_is_synced(&[
        Step::LogWritten,
        Step::Acknowledged,
        Step::LogSynced
    ]));
}

#[test]
fn a_full_disk_is_said_and_loses_nothing_that_was_acknowledged() {
    let folder = harness::folder();
    let address = folder.path().join("address");
    // No file may grow beyond 600 blocks of the shell; with the signal ignored, writing beyond
    // fails as on a full disk.
    let program = env!("CARGO_BIN_EXE_tautpool");
    let script = format!(
        "trap '' XFSZ; ulimit -f 600; exec '{program}' serve --data '{}' --listen 127.0.0.1:0",
        folder.path().display()
    );
    let child = Command::new("sh")
        .args(["-c", &script])
        .stdout(fs::File::create(&address).unwrap())
        .stderr(Stdio::null())
        .spawn();
    let mut server = Ended(child.unwrap());
    let url = wait_for_address(&address);
    let mut acknowledged = Vec::new();
    let mut refused = None;
    for number in 0..2000 {
        let (status, answer) = post(&url, &format!("full-{number}")).unwrap();
        match status {
            201 => acknowledged.push(answer["contribution"].clone()),
            _ => {
                refused = Some((status, answer));
                break;
            }
        }
    }
    let (status, problem) = refused.expect("the disk never filled");
    assert_eq!(
        (status, problem["type"].as_str()),
        (503, Some("/problems#unavailable")),
        "{problem}"
    );
    assert!(!acknowledged.is_empty());
    server.0.kill().unwrap();
    drop(server);
    let kept: Vec<Value> = harness::exported(folder.path())
        .iter()
        .map(|kept| kept["contribution"].clone())
        .collect();
    assert_eq!(kept, acknowledged);
}

/// A child that ends with this value.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}
