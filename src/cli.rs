//! The command line: what the program can be asked, and the way from there to the library.
//!
//! Every option can also be given as an environment variable with the prefix `TAUTPOOL_`; the
//! option wins. Exit codes: 0 done, 1 the input has faults or something failed, 2 the command
//! line itself is wrong.

mod arguments;
mod backup;
mod check;
mod demo;
mod export;
mod host;
mod inspect;
mod invitations;
mod manual;
mod pool;
mod progress;
mod release;
mod security;
mod serve;
mod study;
mod telemetry;

use arguments::{
    AsJson, Backups, Check, Completions, Data, Demo, Export, Folder, Host, HostCredential,
    HostInvitations, HostStudy, Inspect, Listen, LogFormat, MakeBackup, MakeRelease, Man, Pool,
    Release, Restore, Serve, sha256,
};
use clap::{Parser, Subcommand};
use serde_json::Value;
use std::io::{self, Read, Write};
use std::path::Path;
use std::process::ExitCode;

/// What the program ends with, as every help says.
const EXIT_CODES: &str = "Exit codes: 0 done; 1 the input has faults, or something failed; 2 the command line or a setting is wrong.\nEvery option can be given as the environment variable beside it; the option wins. NO_COLOR=1 switches colours off.";

/// Pools paired racquet sessions from many players.
#[derive(Debug, Parser)]
#[command(
    name = "tautpool",
    version,
    about,
    propagate_version = true,
    after_help = EXIT_CODES
)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serve an invented study with data, to look around
    Demo(Demo),
    /// Serve the studies of a data folder
    Serve(Serve),
    /// Pool a table of effects (CSV), a downloaded aggregate or a release (JSON)
    Pool(Pool),
    /// Check a contribution offline, with the faults the server would find
    Check(Check),
    /// Write the host's own private copy of contributions and effects
    Export(Export),
    /// Copy a data folder, also while it is served, and check the copy
    Backup(MakeBackup),
    /// Make a data folder of a backup, or only check the backup
    Restore(Restore),
    /// Publish what is public for good, and check what was published
    #[command(subcommand)]
    Release(Release),
    /// What only the host does
    #[command(subcommand)]
    Host(Host),
    /// Say whether settings, folder, database, clock and backups are in order, and what mends them
    Inspect(Inspect),
    /// Write what completes commands and options in a shell
    Completions(Completions),
    /// Write the manual page of the program or of one command
    Man(Man),
}

/// What went wrong, in words for whoever typed the command.
type Failure = Box<dyn std::error::Error + Send + Sync>;

/// What is wrong with the command line or a setting, beyond what the definitions of options refuse.
/// The program ends with 2 then, which the service's unit takes as not worth another start.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
struct WrongUse(String);

/// A failure that is one of use.
fn wrong_use(words: impl Into<String>) -> Failure {
    WrongUse(words.into()).into()
}

/// Runs the program.
#[must_use]
pub fn run() -> ExitCode {
    let result = match Cli::parse().command {
        Command::Demo(options) => demo::run(&options),
        Command::Serve(options) => serve::run(&options),
        Command::Pool(options) => pool::run(&options),
        Command::Check(options) => check::run(&options),
        Command::Export(options) => export::run(&options),
        Command::Host(Host::Study(command)) => study::run(&command),
        Command::Backup(options) => backup::make(&options),
        Command::Restore(options) => backup::restore(&options),
        Command::Host(Host::Invitations(command)) => invitations::run(&command),
        Command::Release(command) => release::run(&command),
        Command::Host(Host::Credential(HostCredential::Make { folder })) => {
            host::make_credential(&folder)
        }
        Command::Inspect(options) => inspect::run(&options),
        Command::Completions(options) => manual::completions(&options),
        Command::Man(options) => manual::man(&options),
    };
    match result {
        Ok(code) => code,
        Err(failure) if is_closed_pipe(failure.as_ref()) => ExitCode::SUCCESS,
        Err(failure) => {
            let _ = writeln!(io::stderr().lock(), "tautpool: {failure}");
            if failure.is::<WrongUse>() {
                ExitCode::from(2)
            } else {
                ExitCode::FAILURE
            }
        }
    }
}

/// Whether the reader of our output went away, as `head` does.
fn is_closed_pipe(failure: &(dyn std::error::Error + 'static)) -> bool {
    failure
        .downcast_ref::<io::Error>()
        .is_some_and(|error| error.kind() == io::ErrorKind::BrokenPipe)
}

/// Reads a file, or standard input for `-`.
fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    if path.as_os_str() == "-" {
        let mut bytes = Vec::new();
        io::stdin().lock().read_to_end(&mut bytes)?;
        return Ok(bytes);
    }
    std::fs::read(path).map_err(|error| format!("{}: {error}", path.display()).into())
}

/// Writes what a program reads: one JSON document on a line.
fn written(document: &Value) -> Result<(), Failure> {
    writeln!(io::stdout().lock(), "{document}")?;
    Ok(())
}
