//! `tautpool release`: publishing for good, and checking what was published.

mod verify;

use super::{Failure, MakeRelease, Release, written};
use crate::clock;
use crate::release::ReleaseKind;
use crate::service::{NotReleased, Service, Wanted};
use crate::store::Durability;
use data_encoding::HEXLOWER;
use serde_json::json;
use std::io::{self, Write};
use std::process::ExitCode;

pub(super) fn run(command: &Release) -> Result<ExitCode, Failure> {
    match command {
        Release::Verify { file, sha256, json } => verify::run(file, sha256.as_deref(), *json),
        Release::Make(options) => make(options),
    }
}

fn make(options: &MakeRelease) -> Result<ExitCode, Failure> {
    let study = options.study.as_str();
    let Some(public_url) = &options.public_url else {
        return Err(NotReleased::NoPublicUrl.into());
    };
    let service = Service::open(&options.data.data, Durability::Full)?;
    service.reached_at(public_url.clone());
    let wanted = Wanted {
        correction: options.correction.as_deref(),
        note: options.note.as_deref(),
        number: None,
    };
    let made = service.release(study, &wanted, clock::now_ms())?;
    let sha256 = HEXLOWER.encode(&made.sha256);
    let document = format!(
        "{public_url}/api/v1/studies/{study}/releases/{}",
        made.number
    );
    if options.json.json {
        written(&json!({
            "study": study,
            "number": made.number,
            "kind": made.kind.code(),
            "sha256": sha256,
            "address": made.address,
            "document": document,
        }))?;
        return Ok(ExitCode::SUCCESS);
    }
    let before = made.number - 1;
    let what = match made.kind {
        ReleaseKind::First => "the first".to_owned(),
        ReleaseKind::Update => format!("an update of release {before}"),
        ReleaseKind::Correction => format!("a correction of release {before}"),
    };
    let mut out = io::stdout().lock();
    writeln!(out, "Release {} of {study}, {what}.", made.number)?;
    writeln!(out, "  sha256   {sha256}")?;
    writeln!(out, "  address  {}", made.address)?;
    writeln!(out, "  document {document}")?;
    writeln!(
        out,
        "It cannot be changed; a correction is a further release."
    )?;
    Ok(ExitCode::SUCCESS)
}
