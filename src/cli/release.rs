//! `tautpool release`: publishing for good, and checking what was published.

mod verify;

use super::{Failure, Release};
use crate::clock;
use crate::release::ReleaseKind;
use crate::service::{NotReleased, Service, Wanted};
use crate::store::Durability;
use data_encoding::HEXLOWER;
use std::io::{self, Write};
use std::path::Path;
use std::process::ExitCode;

pub(super) fn run(options: &Release) -> Result<ExitCode, Failure> {
    match (&options.verify, &options.study, &options.data) {
        (Some(file), _, _) => verify::run(file, options.sha256.as_deref()),
        (None, Some(study), Some(data)) => publish(study, data, options),
        (None, _, _) => Err("name a study and its data folder".into()),
    }
}

fn publish(study: &str, data: &Path, options: &Release) -> Result<ExitCode, Failure> {
    let Some(public_url) = &options.public_url else {
        return Err(NotReleased::NoPublicUrl.into());
    };
    let service = Service::open(data, Durability::Full)?;
    service.reached_at(public_url.clone());
    let wanted = Wanted {
        correction: options.correction.as_deref(),
        note: options.note.as_deref(),
        number: None,
    };
    let made = service.release(study, &wanted, clock::now_ms())?;
    let before = made.number - 1;
    let what = match made.kind {
        ReleaseKind::First => "the first".to_owned(),
        ReleaseKind::Update => format!("an update of release {before}"),
        ReleaseKind::Correction => format!("a correction of release {before}"),
    };
    let mut out = io::stdout().lock();
    writeln!(out, "Release {} of {study}, {what}.", made.number)?;
    writeln!(out, "  sha256   {}", HEXLOWER.encode(&made.sha256))?;
    writeln!(out, "  address  {}", made.address)?;
    writeln!(
        out,
        "  document {public_url}/api/v1/studies/{study}/releases/{}",
        made.number
    )?;
    writeln!(
        out,
        "It cannot be changed; a correction is a further release."
    )?;
    Ok(ExitCode::SUCCESS)
}
