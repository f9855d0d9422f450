//! The tables as an analyst reads them: in Python with pandas, by the very lines of the README, and
//! through a validator of Data Packages that knows nothing of this project. `tests/run` installs
//! what `tests/notebook/requirements.txt` pins.

#![expect(clippy::panic, reason = "a test stops at what it did not expect")]

use super::{LIVE, RELEASED, released};
use crate::harness::{Server, server};
use std::path::Path;
use std::process::Command;

/// Where tests/run puts Python's packages, below the project's root.
const PYTHON: &str = "target/reference-python/bin/python";

/// Runs a script of `tests/notebook`.
fn python(script: &str, arguments: &[&str]) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let output = Command::new(root.join(PYTHON))
        .arg(root.join("tests/notebook").join(script))
        .args(arguments)
        .output()
        .unwrap_or_else(|error| panic!("{PYTHON}: {error}: tests/run installs it"));
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let trouble = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}{trouble}");
    said
}

#[test]
fn the_lines_of_the_readme_read_the_demo_and_its_rows_give_its_pooled_figures() {
    let demo = Server::start(&["demo"], |line| line.contains(" --send "));
    let said = python("pool.py", &[&demo.address]);
    assert!(said.contains("analyses agree"), "{said}");
}

#[test]
fn a_general_validator_finds_the_packages_valid_and_spoiled_ones_not() {
    let filled = released();
    let (_empty, empty) = server();
    let address = |server: &Server, base: &str| format!("http://{}{base}", server.address);
    let bases = [
        address(&filled.server, LIVE),
        address(&filled.server, RELEASED),
        address(&empty, LIVE),
    ];
    let said = python("validate.py", &bases.each_ref().map(String::as_str));
    assert_eq!(said.matches("valid: ").count(), bases.len(), "{said}");
}
