//! Whether `serve` would start with the settings that are given.

use super::super::{Cli, Command, Failure, Serve, serve};
use super::Findings;
use clap::{ArgAction, CommandFactory, Parser};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

const CHECK: &str = "settings";

/// How every variable of the program begins.
const PREFIX: &str = "TAUTPOOL_";

/// How many letters a name may be off and still be a typing mistake.
const NEAR: usize = 3;

/// What of the settings the other checks need.
#[derive(Debug)]
pub(super) struct Asked {
    pub(super) data: Option<PathBuf>,
    pub(super) backups: Option<Backups>,
}

/// The schedule of backups.
#[derive(Debug)]
pub(super) struct Backups {
    pub(super) into: PathBuf,
    pub(super) every_hours: u16,
}

type Values = BTreeMap<String, String>;

pub(super) fn look(
    findings: &mut Findings,
    file: Option<&Path>,
    data: Option<&Path>,
) -> Result<Asked, Failure> {
    let mut values = of_environment();
    if let Some(file) = file {
        let text = String::from_utf8_lossy(&super::super::read(file)?).into_owned();
        values.extend(of_text(findings, &text));
    }
    look_at_names(findings, values.keys());
    if let Some(data) = data {
        values.insert("TAUTPOOL_DATA".to_owned(), data.display().to_string());
    }
    let named = values.get("TAUTPOOL_DATA").filter(|data| !data.is_empty());
    let mut asked = Asked {
        data: named.map(PathBuf::from),
        backups: None,
    };
    match parsed(&values) {
        Ok(options) => {
            asked.backups = options.backups.backup_to.as_ref().map(|into| Backups {
                into: into.clone(),
                every_hours: options.backups.backup_every,
            });
            look_at_serve(findings, &options);
        }
        Err(words) => findings.fault(
            CHECK,
            words,
            "mend this setting; README.md lists what each takes",
        ),
    }
    Ok(asked)
}

fn of_environment() -> Values {
    let variables = std::env::vars_os();
    let texts = variables.filter_map(|(name, value)| {
        Some((
            name.into_string().ok()?,
            value.to_string_lossy().into_owned(),
        ))
    });
    texts.filter(|(name, _)| name.starts_with(PREFIX)).collect()
}

/// A file as `EnvironmentFile=` takes it (systemd.exec(5)), as far as one line holds one setting.
fn of_text(findings: &mut Findings, text: &str) -> Values {
    let mut values = Values::new();
    for (place, line) in text.lines().enumerate() {
        let line = line.trim();
        if line.is_empty() || line.starts_with(['#', ';']) {
            continue;
        }
        match line.split_once('=') {
            Some((name, value)) => {
                values.insert(name.trim().to_owned(), unquoted(value.trim()).to_owned());
            }
            None => findings.fault(
                CHECK,
                format!("line {} of the file is no NAME=VALUE", place + 1),
                "write one setting a line",
            ),
        }
    }
    values
}

fn unquoted(value: &str) -> &str {
    let inside = |quote| value.strip_prefix(quote)?.strip_suffix(quote);
    inside('"').or_else(|| inside('\'')).unwrap_or(value)
}

/// Names that no command has.
fn look_at_names<'a>(findings: &mut Findings, names: impl Iterator<Item = &'a String>) {
    let known = variables(&Cli::command());
    for name in names.filter(|name| !known.contains(*name)) {
        let distance = |known: &&String| strsim::damerau_levenshtein(known, name);
        let nearest = known.iter().min_by_key(distance);
        let found = format!("{name} is no setting of this program, so it does nothing");
        match nearest.filter(|known| distance(known) <= NEAR) {
            Some(near) => findings.fault(CHECK, found, format!("write {near}")),
            None => findings.look(
                CHECK,
                found,
                "take it out, or look its name up in README.md",
            ),
        }
    }
}

/// Every variable that the program or one of its commands takes.
fn variables(command: &clap::Command) -> BTreeSet<String> {
    let own = command.get_arguments().filter_map(clap::Arg::get_env);
    let own = own.map(|name| name.to_string_lossy().into_owned());
    let below = command.get_subcommands().flat_map(variables);
    own.chain(below).collect()
}

/// The settings as `serve` would read them.
fn parsed(values: &Values) -> Result<Serve, String> {
    let command = Cli::command();
    let arguments = command
        .find_subcommand("serve")
        .map(|serve| serve.get_arguments().collect::<Vec<_>>());
    let mut line = vec!["tautpool".to_owned(), "serve".to_owned()];
    for argument in arguments.unwrap_or_default() {
        let name = argument.get_env().map(|name| name.to_string_lossy());
        let value = name.and_then(|name| values.get(&*name));
        let (Some(value), Some(long)) = (value, argument.get_long()) else {
            continue;
        };
        if matches!(argument.get_action(), ArgAction::SetTrue) {
            if is_yes(value) {
                line.push(format!("--{long}"));
            }
        } else {
            line.push(format!("--{long}={value}"));
        }
    }
    match Cli::try_parse_from(line) {
        Ok(Cli {
            command: Command::Serve(options),
        }) => Ok(options),
        Ok(_) => Err("the settings are those of another command".to_owned()),
        Err(error) => Err(in_one_line(&error)),
    }
}

/// As clap reads the variable of a flag.
fn is_yes(value: &str) -> bool {
    let no = ["", "n", "no", "f", "false", "off", "0"];
    !no.contains(&value.to_lowercase().as_str())
}

/// What clap says, without the usage below it.
fn in_one_line(error: &clap::Error) -> String {
    let text = error.render().to_string();
    let said = text.split("\n\n").next().unwrap_or_default();
    let said = said.trim_start_matches("error: ");
    said.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What `serve` itself would refuse, and what it would do without.
fn look_at_serve(findings: &mut Findings, options: &Serve) {
    let before = findings.0.len();
    for refusal in serve::refusals(options) {
        let (found, mend) = refusal
            .rsplit_once(": ")
            .unwrap_or((refusal.as_str(), "mend this setting"));
        findings.fault(CHECK, found, mend);
    }
    match &options.public_url {
        None => findings.look(
            CHECK,
            "without TAUTPOOL_PUBLIC_URL nothing can be released",
            "set it to what readers call the service, such as https://pool.example",
        ),
        Some(url) if options.behind_tls_proxy && !url.to_string().starts_with("https://") => {
            findings.look(
                CHECK,
                format!("TAUTPOOL_PUBLIC_URL is {url}, which this machine alone reaches, though a proxy is in front"),
                "write what readers call it, such as https://pool.example: releases carry it for good",
            );
        }
        Some(_) => {}
    }
    if findings.0.len() == before {
        findings.good(CHECK, "serve would start with them");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_read_as_systemd_reads_it() {
        let mut findings = Findings::default();
        let text = "# note\n; note\n\nA=1\n B = two words \nC=\"quoted\"\nD='it'\nE=\nodd\n";
        let values = of_text(&mut findings, text);
        let wanted = [
            ("A", "1"),
            ("B", "two words"),
            ("C", "quoted"),
            ("D", "it"),
            ("E", ""),
        ];
        let wanted = wanted.map(|(name, value)| (name.to_owned(), value.to_owned()));
        assert_eq!(values, wanted.into());
        assert!(findings.has_fault() && findings.0[0].found.contains("line 9"));
    }

    #[test]
    fn flags_are_read_as_the_command_line_reads_them() {
        for (text, yes) in [
            ("1", true),
            ("true", true),
            ("Off", false),
            ("", false),
            ("0", false),
        ] {
            assert_eq!(is_yes(text), yes, "{text}");
        }
    }

    #[test]
    fn a_typing_mistake_is_told_from_a_name_of_something_else() {
        let mut findings = Findings::default();
        let names = ["LISTEN", "LISTNE", "SOMETHING_ELSE"].map(|name| format!("{PREFIX}{name}"));
        look_at_names(&mut findings, names.iter());
        let found: Vec<_> = findings.0.iter().map(|one| one.outcome.code()).collect();
        assert_eq!(found, ["fault", "look"]);
        assert_eq!(findings.0[0].mend.as_deref(), Some("write TAUTPOOL_LISTEN"));
    }
}
