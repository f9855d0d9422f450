//! `tautpool check`: the faults the server would find, without a server.

use super::{Check, Failure, read};
use crate::intake::{self, Admitted, Flag, Rejection};
use crate::protocol::Study;
use crate::wire::{problem, reply};
use serde_json::{Value, json};
use std::io::{self, Write};
use std::process::ExitCode;

/// The rules that hold when no study is named: those of the demo.
const DEFAULT_STUDY: &[u8] = include_bytes!("../../fixtures/demo/study.json");

pub(super) fn run(options: &Check) -> Result<ExitCode, Failure> {
    if options.file.as_os_str() == "-"
        && options
            .study
            .as_ref()
            .is_some_and(|study| study.as_os_str() == "-")
    {
        return Err("standard input holds the contribution or the study, not both: name a file for one of them".into());
    }
    let document = read(&options.file)?;
    let mut out = io::stdout().lock();
    let study = match &options.study {
        Some(file) => match intake::study(&read(file)?) {
            Ok(study) => study,
            Err(rejection) => {
                writeln!(out, "The study {} is at fault:", file.display())?;
                list_faults(&mut out, &rejection)?;
                return Ok(ExitCode::FAILURE);
            }
        },
        None => unnamed_study(&document)?,
    };
    let (rejection, flags) = match intake::contribution(&document, &study) {
        Ok(Admitted { flags, .. }) => (None, flags),
        Err(rejection) => (Some(rejection), Vec::new()),
    };
    let faults = rejection
        .as_ref()
        .map_or(&[][..], |rejection| &rejection.faults);
    if options.json {
        let found = json!({
            "faults": faults.iter().map(problem::fault).collect::<Vec<_>>(),
            "flags": flags.iter().map(reply::flag).collect::<Vec<_>>(),
        });
        writeln!(out, "{found}")?;
    } else {
        if let Some(rejection) = &rejection {
            list_faults(&mut out, rejection)?;
        }
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
pub(super) fn list_faults(out: &mut impl Write, rejection: &Rejection) -> io::Result<()> {
    for fault in &rejection.faults {
        let place = match fault.pointer.as_str() {
            "" => "the document".to_owned(),
            pointer => printable(pointer),
        };
        writeln!(
            out,
            "fault  {place}  [{}]  {}",
            fault.code.code(),
            fault.sentence
        )?;
    }
    if rejection.faults.len() < rejection.n_faults {
        let more = rejection.n_faults - rejection.faults.len();
        writeln!(out, "and {more} more")?;
    }
    Ok(())
}

/// A text without characters that would steer a terminal, or turn or hide what stands beside them
/// (Unicode Standard Annex 9, directional formatting characters; zero-width ones).
pub(super) fn printable(text: &str) -> String {
    const UNSEEN: [std::ops::RangeInclusive<char>; 4] = [
        '\u{200b}'..='\u{200f}',
        '\u{202a}'..='\u{202e}',
        '\u{2060}'..='\u{2069}',
        '\u{feff}'..='\u{feff}',
    ];
    let is_unseen = |character| UNSEEN.iter().any(|range| range.contains(&character));
    text.chars()
        .map(|character| {
            if character.is_control() || is_unseen(character) {
                '\u{fffd}'
            } else {
                character
            }
        })
        .collect()
}

fn list_flags(out: &mut impl Write, flags: &[Flag]) -> io::Result<()> {
    for flag in flags {
        writeln!(
            out,
            "look   {}  [{}]  {}",
            printable(&flag.pointer),
            flag.code.code(),
            flag.sentence
        )?;
    }
    Ok(())
}
