//! Backups: taken while the service is under load, restored, served, and compared with what senders
//! were told; spoiled ones are refused in words; old ones go by schedule.

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod drill;
mod schedule;
mod spoiled;

use crate::harness::run;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Output;

/// `tautpool backup` of a data folder; gives the backup's folder and what was said of it.
fn backup(data: &Path, to: &Path) -> (PathBuf, Value) {
    let output = try_backup(data, to);
    assert!(output.status.success(), "{output:?}");
    let said: Value = serde_json::from_slice(&output.stdout).unwrap();
    (PathBuf::from(said["backup"].as_str().unwrap()), said)
}

fn try_backup(data: &Path, to: &Path) -> Output {
    let (data, to) = (data.to_str().unwrap(), to.to_str().unwrap());
    run(&["backup", "--json", "--data", data, "--to", to], b"")
}

/// `tautpool restore`.
fn restore(backup: &Path, data: &Path) -> Output {
    let (backup, data) = (backup.to_str().unwrap(), data.to_str().unwrap());
    run(&["restore", "--json", backup, "--data", data], b"")
}

/// `tautpool restore --check`.
fn check(backup: &Path) -> Output {
    run(&["restore", "--check", backup.to_str().unwrap()], b"")
}

/// The words of a command that ended with 1.
fn refusal(output: &Output) -> String {
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    String::from_utf8(output.stderr.clone()).unwrap()
}
