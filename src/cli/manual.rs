//! `tautpool completions` and `tautpool man`: both made from the definitions of the commands, so that
//! they say what the program takes.

use super::{Cli, Completions, Failure, Man, wrong_use};
use clap::{Command, CommandFactory};
use clap_mangen::Man as Page;
use std::fs;
use std::io::{self, Write};
use std::path::Path;
use std::process::ExitCode;

pub(super) fn completions(options: &Completions) -> Result<ExitCode, Failure> {
    // Written at once: the generator stops the program where it cannot write.
    let mut script = Vec::new();
    clap_complete::generate(options.shell, &mut Cli::command(), "tautpool", &mut script);
    io::stdout().lock().write_all(&script)?;
    Ok(ExitCode::SUCCESS)
}

pub(super) fn man(options: &Man) -> Result<ExitCode, Failure> {
    let mut program = Cli::command();
    program.build();
    match &options.to {
        Some(folder) => {
            let n_pages = write_all(&program, folder)?;
            writeln!(
                io::stdout().lock(),
                "{n_pages} pages are in {}: man {}/tautpool.1",
                folder.display(),
                folder.display()
            )?;
        }
        None => {
            let page = page(named(&program, &options.of)?)?;
            io::stdout().lock().write_all(&page)?;
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// The command that is called so, word by word.
fn named<'a>(program: &'a Command, words: &[String]) -> Result<&'a Command, Failure> {
    let mut command = program;
    for word in words {
        command = command.find_subcommand(word).ok_or_else(|| {
            let words = words.join(" ");
            wrong_use(format!("there is no command {words}: see tautpool help"))
        })?;
    }
    Ok(command)
}

fn page(command: &Command) -> io::Result<Vec<u8>> {
    let mut page = Vec::new();
    Page::new(command.clone())
        .source(concat!("tautpool ", env!("CARGO_PKG_VERSION")))
        .render(&mut page)?;
    Ok(page)
}

/// Writes the page of a command and of every one below it; answers how many.
fn write_all(command: &Command, folder: &Path) -> Result<usize, Failure> {
    let name = command.get_display_name().unwrap_or("tautpool");
    let path = folder.join(format!("{name}.1"));
    fs::write(&path, page(command)?).map_err(|error| format!("{}: {error}", path.display()))?;
    let mut n_pages = 1;
    for below in command.get_subcommands() {
        if below.get_name() != "help" {
            n_pages += write_all(below, folder)?;
        }
    }
    Ok(n_pages)
}
