//! `tautpool check`: the faults the server would find, without a server.

use super::{Check, Failure, read};
use crate::intake::{self, Admitted, Fault, Flag};
use crate::protocol::Study;
use crate::wire::{problem, reply};
use serde_json::{Value, json};
use std::io::{self, Write};
use std::process::ExitCode;

/// The rules that hold when no study is named: those of the demo.
const DEFAULT_STUDY: &[u8] = include_bytes!("../../fixtures/demo/study.json");

pub(super) fn run(options: &Check) -> Result<ExitCode, Failure> {
    let document = read(&options.file)?;
    let study = match &options.study {
        Some(file) => intake::study(&read(file)?)?,
        None => unnamed_study(&document)?,
    };
    let (faults, flags) = match intake::contribution(&document, &study) {
        Ok(Admitted { flags, .. }) => (Vec::new(), flags),
        Err(rejection) => (rejection.faults, Vec::new()),
    };
    let mut out = io::stdout().lock();
    if options.json {
        let found = json!({
            "faults": faults.iter().map(problem::fault).collect::<Vec<_>>(),
            "flags": flags.iter().map(reply::flag).collect::<Vec<_>>(),
        });
        writeln!(out, "{found}")?;
    } else {
        list_faults(&mut out, &faults)?;
        list_flags(&mut out, &flags)?;
        if faults.is_empty() {
            writeln!(out, "No faults: the contribution can be sent.")?;
        }
    }
    Ok(if faults.is_empty() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

/// The default rules, with the study's name and the consent version that the document itself has.
fn unnamed_study(document: &[u8]) -> Result<Study, Failure> {
    let mut study = intake::study(DEFAULT_STUDY)?;
    let document: Value = serde_json::from_slice(document).unwrap_or_default();
    if let Some(slug) = document.pointer("/study").and_then(Value::as_str) {
        slug.clone_into(&mut study.label.slug);
    }
    if let Some(version) = document
        .pointer("/consent/text_version")
        .and_then(Value::as_str)
    {
        version.clone_into(&mut study.protocol.consent.version);
    }
    Ok(study)
}

/// Faults, one a line, place first.
pub(super) fn list_faults(out: &mut impl Write, faults: &[Fault]) -> io::Result<()> {
    for fault in faults {
        let place = if fault.pointer.is_empty() {
            "the document"
        } else {
            &fault.pointer
        };
        writeln!(
            out,
            "fault  {place}  [{}]  {}",
            fault.code.code(),
            fault.sentence
        )?;
    }
    Ok(())
}

fn list_flags(out: &mut impl Write, flags: &[Flag]) -> io::Result<()> {
    for flag in flags {
        writeln!(
            out,
            "look   {}  [{}]  {}",
            flag.pointer,
            flag.code.code(),
            flag.sentence
        )?;
    }
    Ok(())
}
