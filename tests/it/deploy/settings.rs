//! The file of settings has every setting of `serve`, and none that there is not, with its default.

use super::text;
use clap::CommandFactory;
use std::collections::BTreeMap;
use tautpool::cli::Cli;

/// Variables of a command with their defaults.
fn taken(command: &clap::Command) -> BTreeMap<String, String> {
    let arguments = command.get_arguments();
    let with_variable = arguments.filter_map(|argument| {
        let name = argument.get_env()?.to_str()?.to_owned();
        let defaults: Vec<_> = argument
            .get_default_values()
            .iter()
            .map(|value| value.to_str().unwrap())
            .collect();
        let is_flag = !argument.get_action().takes_values();
        let default = if is_flag {
            "0".to_owned()
        } else {
            defaults.join(",")
        };
        Some((name, default))
    });
    with_variable.collect()
}

/// What is commented out in the file.
fn told(file: &str) -> BTreeMap<String, String> {
    let lines = file
        .lines()
        .filter_map(|line| line.strip_prefix("#TAUTPOOL_"));
    let settings = lines.map(|line| line.split_once('=').unwrap());
    let named = settings.map(|(name, value)| (format!("TAUTPOOL_{name}"), value.to_owned()));
    named.collect()
}

#[test]
fn the_file_of_settings_has_those_of_serve_and_of_backup_with_their_defaults() {
    let program = Cli::command();
    let of = |name| taken(program.find_subcommand(name).unwrap());
    let mut wanted = of("serve");
    // Of the other commands a host needs where backups go, which is the same name.
    let backup = of("backup");
    assert!(wanted.contains_key("TAUTPOOL_BACKUP_TO") && backup.contains_key("TAUTPOOL_BACKUP_TO"));
    assert!(15 < wanted.len(), "{wanted:?}");
    let found = told(&text("tautpool.env"));
    assert_eq!(found, wanted);
    wanted.remove("TAUTPOOL_LISTEN");
    assert_ne!(found, wanted, "a setting that is missing is noticed");
}

#[test]
fn nothing_in_it_is_set_until_the_host_sets_it() {
    for line in text("tautpool.env").lines() {
        assert!(line.is_empty() || line.starts_with('#'), "{line}");
    }
}

/// Every variable of the program that a text names.
fn named(text: &str) -> impl Iterator<Item = &str> {
    let is_end = |c: char| !(c.is_ascii_uppercase() || c == '_');
    let places = text.match_indices("TAUTPOOL_");
    places.map(move |(place, _)| {
        let rest = &text[place..];
        &rest[..rest.find(is_end).unwrap_or(rest.len())]
    })
}

#[test]
fn no_file_for_hosts_names_a_setting_that_there_is_not() {
    let program = Cli::command();
    let commands = program.get_subcommands();
    let known: Vec<String> = commands.flat_map(|one| taken(one).into_keys()).collect();
    let mut n_named = 0;
    for entry in std::fs::read_dir(super::file("")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        for variable in named(&text(&name)) {
            assert!(
                known.iter().any(|one| one == variable),
                "{name}: {variable}"
            );
            n_named += 1;
        }
    }
    assert!(30 < n_named, "{n_named}");
}
