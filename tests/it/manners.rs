//! Manners of the command line: help with examples that hold, a manual and completions that their
//! readers accept, JSON for programs with the keys that the README lists, and no surprise when
//! standard output is closed, no terminal, or one without colours.

#![expect(
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod documents;
mod manual;
mod terminal;

use clap::{Command, CommandFactory};
use std::path::{Path, PathBuf};
use tautpool::cli::Cli;

/// Every command that does something, with the words that name it.
fn leaves() -> Vec<(Vec<String>, Command)> {
    fn below(words: &[String], command: &Command) -> Vec<(Vec<String>, Command)> {
        let commands = command
            .get_subcommands()
            .filter(|one| one.get_name() != "help");
        let found: Vec<_> = commands
            .flat_map(|one| below(&[words, &[one.get_name().to_owned()]].concat(), one))
            .collect();
        if found.is_empty() {
            vec![(words.to_vec(), command.clone())]
        } else {
            found
        }
    }
    let leaves = below(&[], &Cli::command());
    assert!(20 <= leaves.len());
    leaves
}

fn fixture(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(path)
}

/// Words as a shell divides them, as far as examples go: quotation marks, nothing behind a pipe or an
/// arrow.
fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut word = String::new();
    let mut quote = None;
    for character in line.chars() {
        match (quote, character) {
            (None, '\'' | '"') => quote = Some(character),
            (Some(open), _) if open == character => quote = None,
            (None, ' ') => words.push(std::mem::take(&mut word)),
            (_, character) => word.push(character),
        }
    }
    words.push(word);
    words.retain(|word| !word.is_empty());
    let end = words
        .iter()
        .position(|word| ["|", ">", "2>"].contains(&word.as_str()));
    words.truncate(end.unwrap_or(words.len()));
    words
}

#[test]
fn every_command_has_examples_which_it_takes() {
    for (name, command) in leaves() {
        let called = format!("tautpool {}", name.join(" "));
        let help = command
            .get_after_help()
            .map(ToString::to_string)
            .unwrap_or_default();
        let lines = help.lines().filter_map(|line| {
            let line = line.trim_start();
            let from = line.find("tautpool ")?;
            line.starts_with("tautpool ")
                .then_some(&line[from..])
                .or_else(|| line.split_once("| ").map(|(_, rest)| rest))
        });
        let examples: Vec<&str> = lines.filter(|line| line.starts_with(&called)).collect();
        assert!(
            help.contains("Example") && !examples.is_empty(),
            "{called}: {help}"
        );
        for example in examples {
            // A hash is 64 digits; the example has a word in its place.
            let line = words(&example.replace("HEX", &"0".repeat(64)));
            let taken = Cli::command().try_get_matches_from(&line);
            assert!(taken.is_ok(), "{example}: {}", taken.unwrap_err());
        }
    }
}

#[test]
fn every_option_has_a_variable_and_says_what_it_is_for() {
    for (name, command) in leaves() {
        for argument in command.get_arguments() {
            let named = format!("{} {}", name.join(" "), argument.get_id());
            assert!(argument.get_help().is_some(), "{named} says nothing");
            assert_eq!(
                argument.is_positional(),
                argument.get_env().is_none(),
                "{named}"
            );
        }
    }
}

#[test]
fn the_help_tells_how_the_program_ends_and_it_ends_so() {
    let output = crate::harness::run(&["--help"], b"");
    let help = String::from_utf8(output.stdout).unwrap();
    assert!(
        help.contains("Exit codes: 0 done; 1 the input has faults"),
        "{help}"
    );
    for (arguments, code) in [
        (vec!["--version"], 0),
        (vec!["check", "-"], 1),
        (vec!["backup", "--data", "no/such", "--to", "nowhere"], 1),
        (vec!["no-such-command"], 2),
        (vec!["serve"], 2),
        (vec!["serve", "--data", "x", "--workers", "0"], 2),
    ] {
        let output = crate::harness::run(&arguments, b"{}");
        assert_eq!(output.status.code(), Some(code), "{arguments:?}");
    }
}
