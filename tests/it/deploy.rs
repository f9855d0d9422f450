//! What `deploy/` has for a host: the guide's commands as they stand there, the units, the settings,
//! and the program behind nginx. Only what needs a running systemd, a container engine or names of the
//! internet is left out, and a list says what that is.

#![expect(
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod guide;
mod proxy;
mod settings;
mod units;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A file of `deploy/`.
fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("deploy")
        .join(name)
}

fn text(name: &str) -> String {
    fs::read_to_string(file(name)).unwrap()
}

/// What a command says, which has to be done by it.
#[track_caller]
fn done(command: &mut Command) -> Output {
    let output = command.output().unwrap();
    assert!(
        output.status.success(),
        "{command:?}: {}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    output
}

/// Values of a setting of a unit, in order.
fn of_unit(unit: &str, name: &str) -> Vec<String> {
    let lines = unit.lines().filter_map(|line| line.split_once('='));
    let values = lines.filter(|(known, _)| *known == name);
    values.map(|(_, value)| value.to_owned()).collect()
}
