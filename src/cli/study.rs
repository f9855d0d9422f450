//! `tautpool host study …`: what a host does with studies from the command line.

use super::check::{list_faults, printable};
use super::{AsJson, Data, Failure, Folder, HostStudy, read, written};
use crate::clock;
use crate::intake::{self, Rejection};
use crate::service::{Life, NotChanged, Service};
use crate::store::Durability;
use crate::wire::problem;
use serde_json::{Value, json};
use std::io::{self, Write};
use std::path::Path;
use std::process::ExitCode;

pub(super) fn run(command: &HostStudy) -> Result<ExitCode, Failure> {
    match command {
        HostStudy::Add { file, folder } => add(file, folder),
        HostStudy::Open { name, folder } => open(name, folder),
        HostStudy::Amend {
            name,
            file,
            reason,
            folder,
        } => amend(name, file, reason.as_deref(), folder),
        HostStudy::Close { name, folder } => close(name, folder),
        HostStudy::List { folder } => list(folder),
    }
}

fn add(file: &Path, Folder { data, json }: &Folder) -> Result<ExitCode, Failure> {
    let document = read(file)?;
    // A faulty study makes no folder.
    if let Err(rejection) = intake::study(&document) {
        return at_fault(&rejection, *json);
    }
    let service = Service::open_or_make(&data.data, Durability::Full)?;
    let study = service.add_study(&document, clock::now_ms())?;
    let slug = &study.label.slug;
    let life = service.desk()?;
    let life = life
        .iter()
        .find(|life| life.newest.study.label.slug == *slug);
    tell(life, *json, |_| {
        format!(
            "Added study {slug} as a draft, which nobody else sees. Open it with: tautpool host study open {slug} --data {}",
            data.data.display()
        )
    })
}

fn open(name: &str, Folder { data, json }: &Folder) -> Result<ExitCode, Failure> {
    let changed = service(data)?.open_recruiting(name, clock::now_ms());
    tell_change(changed, *json, |life| {
        format!(
            "Recruiting is open. Its analysis plan is frozen: SHA-256 {}",
            life.plan_hash_now()
        )
    })
}

fn amend(
    name: &str,
    file: &Path,
    reason: Option<&str>,
    Folder { data, json }: &Folder,
) -> Result<ExitCode, Failure> {
    let document = read(file)?;
    let changed = service(data)?.amend(name, &document, reason, clock::now_ms());
    tell_change(changed, *json, |life| {
        let version = life.newest.version;
        match life.newest.reason {
            None => "The draft is changed.".to_owned(),
            Some(_) if life.is_plan_changed(&life.newest) => format!(
                "Version {version} is in force. Its analysis plan is not the one that was frozen when recruiting opened, and readers are told so."
            ),
            Some(_) => format!("Version {version} is in force."),
        }
    })
}

fn close(name: &str, Folder { data, json }: &Folder) -> Result<ExitCode, Failure> {
    let changed = service(data)?.close_recruiting(name, clock::now_ms());
    tell_change(changed, *json, |_| {
        "Recruiting is closed. Receipts still open what they opened.".to_owned()
    })
}

fn list(Folder { data, json }: &Folder) -> Result<ExitCode, Failure> {
    let studies = service(data)?.desk()?;
    if json.json {
        let studies: Vec<Value> = studies.iter().map(document).collect();
        written(&json!({"studies": studies}))?;
        return Ok(ExitCode::SUCCESS);
    }
    let mut out = io::stdout().lock();
    for life in &studies {
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

/// Where a study stands.
fn document(life: &Life) -> Value {
    let label = &life.newest.study.label;
    json!({
        "study": label.slug,
        "state": life.state.code(),
        "version": life.newest.version,
        "question": label.question,
        "plan_sha256": life.plan_hash_now(),
        "plan_changed": life.is_plan_changed(&life.newest),
    })
}

/// Says what became of a change, or lists what is to be mended in the study's document.
fn tell_change(
    changed: Result<Life, NotChanged>,
    json: AsJson,
    words: impl Fn(&Life) -> String,
) -> Result<ExitCode, Failure> {
    match changed {
        Ok(life) => tell(Some(&life), json, words),
        Err(NotChanged::Document(rejection)) => at_fault(&rejection, json),
        Err(other) => Err(other.into()),
    }
}

fn tell(
    life: Option<&Life>,
    json: AsJson,
    words: impl Fn(&Life) -> String,
) -> Result<ExitCode, Failure> {
    match life {
        Some(life) if json.json => written(&document(life))?,
        Some(life) => writeln!(io::stdout().lock(), "{}", words(life))?,
        None => {}
    }
    Ok(ExitCode::SUCCESS)
}

fn at_fault(rejection: &Rejection, json: AsJson) -> Result<ExitCode, Failure> {
    if json.json {
        let faults: Vec<Value> = rejection.faults.iter().map(problem::fault).collect();
        written(&json!({"faults": faults}))?;
    } else {
        list_faults(&mut io::stdout().lock(), rejection)?;
    }
    Ok(ExitCode::FAILURE)
}
