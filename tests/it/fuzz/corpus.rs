//! Inputs that are kept: one a line, with what is not visible ASCII escaped as in Rust.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Most inputs of a target that are kept, so that a short run reads all of them at once.
const MOST: usize = 400;

/// Longest input that is kept: it has to be read by people too.
const LONGEST: usize = 2_000;

fn file(target: &str) -> PathBuf {
    let name = target.replace(' ', "-");
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("fixtures/fuzz/{name}.txt"))
}

/// Every input that is kept of a target.
pub(super) fn of(target: &str) -> Vec<Vec<u8>> {
    let text = fs::read_to_string(file(target)).unwrap_or_default();
    text.lines().map(unescaped).collect()
}

pub(super) fn is_blessed() -> bool {
    std::env::var("TAUTPOOL_BLESS").is_ok_and(|value| value == "1")
}

/// Adds inputs to those that are kept.
pub(super) fn add(target: &str, inputs: Vec<Vec<u8>>) {
    let mut lines: BTreeSet<String> = of(target).iter().map(|kept| escaped(kept)).collect();
    for input in inputs {
        if input.len() <= LONGEST && lines.len() < MOST {
            lines.insert(escaped(&input));
        }
    }
    let text: String = lines.iter().map(|line| format!("{line}\n")).collect();
    fs::write(file(target), text).unwrap();
}

/// Leaves an input that breaks a law where a person finds it.
pub(super) fn keep_failure(target: &str, input: &[u8]) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/fuzz-failures");
    fs::create_dir_all(&folder).unwrap();
    let name = target.replace(' ', "-");
    fs::write(folder.join(&name), input).unwrap();
    format!("target/fuzz-failures/{name}: {}", escaped(input))
}

fn escaped(bytes: &[u8]) -> String {
    bytes.escape_ascii().to_string()
}

fn unescaped(line: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut rest = line.bytes();
    while let Some(byte) = rest.next() {
        if byte != b'\\' {
            bytes.push(byte);
            continue;
        }
        bytes.push(match rest.next().unwrap() {
            b'n' => b'\n',
            b'r' => b'\r',
            b't' => b'\t',
            b'x' => {
                let digits = [rest.next().unwrap(), rest.next().unwrap()];
                let digits = std::str::from_utf8(&digits).unwrap().to_owned();
                u8::from_str_radix(&digits, 16).unwrap()
            }
            other => other,
        });
    }
    bytes
}

#[test]
fn any_bytes_can_be_kept_on_a_line() {
    let all: Vec<u8> = (0..=255).chain(*b"\\x41 \\n").collect();
    let line = escaped(&all);
    assert!(line.is_ascii() && line.lines().count() == 1);
    assert_eq!(unescaped(&line), all);
}
