//! `tautpool host credential make`: what the host signs in with.

use super::{Failure, Folder, written};
use crate::clock;
use crate::service::Service;
use crate::store::Durability;
use serde_json::json;
use std::io::{self, Write};
use std::process::ExitCode;

pub(super) fn make_credential(Folder { data, json }: &Folder) -> Result<ExitCode, Failure> {
    let service = Service::open_or_make(&data.data, Durability::Full)?;
    let credential = service.make_credential(clock::now_ms())?;
    if json.json {
        written(&json!({
            "credential": credential.reveal(),
            "data": data.data.display().to_string(),
        }))?;
        return Ok(ExitCode::SUCCESS);
    }
    let mut out = io::stdout().lock();
    writeln!(out, "{}\n", credential.reveal())?;
    writeln!(
        out,
        "This is the credential of {}, shown this once: keep it where you keep passwords. Sign in\nwith it at /host. One made before ends, and so does every sign-in.",
        data.data.display()
    )?;
    Ok(ExitCode::SUCCESS)
}
