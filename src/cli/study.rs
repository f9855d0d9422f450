//! `tautpool host study …`: what a host does with studies from the command line.

use super::check::{list_faults, printable};
use super::{Data, Failure, HostStudy, read};
use crate::clock;
use crate::intake;
use crate::service::{Life, NotChanged, Service};
use crate::store::Durability;
use std::io::{self, Write};
use std::path::Path;
use std::process::ExitCode;

pub(super) fn run(command: &HostStudy) -> Result<ExitCode, Failure> {
    match command {
        HostStudy::Add { file, data } => add(file, data),
        HostStudy::Open { name, data } => open(name, data),
        HostStudy::Amend {
            name,
            file,
            reason,
            data,
        } => amend(name, file, reason.as_deref(), data),
        HostStudy::Close { name, data } => close(name, data),
        HostStudy::List { data } => list(data),
    }
}

fn add(file: &Path, data: &Data) -> Result<ExitCode, Failure> {
    let document = read(file)?;
    let mut out = io::stdout().lock();
    // A faulty study makes no folder.
    if let Err(rejection) = intake::study(&document) {
        list_faults(&mut out, &rejection)?;
        return Ok(ExitCode::FAILURE);
    }
    let service = Service::open_or_make(&data.data, Durability::Full)?;
    let study = service.add_study(&document, clock::now_ms())?;
    let slug = &study.label.slug;
    writeln!(
        out,
        "Added study {slug} as a draft, which nobody else sees. Open it with: tautpool host study open {slug} --data {}",
        data.data.display()
    )?;
    Ok(ExitCode::SUCCESS)
}

fn open(name: &str, data: &Data) -> Result<ExitCode, Failure> {
    tell(
        service(data)?.open_recruiting(name, clock::now_ms()),
        |life| {
            format!(
                "Recruiting is open. Its analysis plan is frozen: SHA-256 {}",
                life.plan_hash_now()
            )
        },
    )
}

fn amend(name: &str, file: &Path, reason: Option<&str>, data: &Data) -> Result<ExitCode, Failure> {
    let document = read(file)?;
    tell(
        service(data)?.amend(name, &document, reason, clock::now_ms()),
        |life| {
            let version = life.newest.version;
            match life.newest.reason {
                None => "The draft is changed.".to_owned(),
                Some(_) if life.is_plan_changed(&life.newest) => format!(
                    "Version {version} is in force. Its analysis plan is not the one that was frozen when recruiting opened, and readers are told so."
                ),
                Some(_) => format!("Version {version} is in force."),
            }
        },
    )
}

fn close(name: &str, data: &Data) -> Result<ExitCode, Failure> {
    tell(
        service(data)?.close_recruiting(name, clock::now_ms()),
        |_| "Recruiting is closed. Receipts still open what they opened.".to_owned(),
    )
}

fn list(data: &Data) -> Result<ExitCode, Failure> {
    let mut out = io::stdout().lock();
    for life in service(data)?.desk()? {
        let label = &life.newest.study.label;
        writeln!(
            out,
            "{}\t{}\tversion {}\t{}",
            label.slug,
            life.state.code(),
            life.newest.version,
            printable(&label.question)
        )?;
    }
    Ok(ExitCode::SUCCESS)
}

fn service(data: &Data) -> Result<Service, Failure> {
    Ok(Service::open(&data.data, Durability::Full)?)
}

/// Says what became of a change, or lists what is to be mended in the study's document.
fn tell(
    changed: Result<Life, NotChanged>,
    words: impl Fn(&Life) -> String,
) -> Result<ExitCode, Failure> {
    let mut out = io::stdout().lock();
    match changed {
        Ok(life) => {
            writeln!(out, "{}", words(&life))?;
            Ok(ExitCode::SUCCESS)
        }
        Err(NotChanged::Document(rejection)) => {
            list_faults(&mut out, &rejection)?;
            Ok(ExitCode::FAILURE)
        }
        Err(other) => Err(other.into()),
    }
}
