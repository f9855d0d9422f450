//! `tautpool host credential make`: what the host signs in with.

use super::{Data, Failure};
use crate::clock;
use crate::service::Service;
use crate::store::Durability;
use std::io::{self, Write};
use std::process::ExitCode;

pub(super) fn make_credential(data: &Data) -> Result<ExitCode, Failure> {
    let service = Service::open_or_make(&data.data, Durability::Full)?;
    let credential = service.make_credential(clock::now_ms())?;
    let mut out = io::stdout().lock();
    writeln!(out, "{}\n", credential.reveal())?;
    writeln!(
        out,
        "This is the credential of {}, shown this once: keep it where you keep passwords. Sign in\nwith it at /host. One made before ends, and so does every sign-in.",
        data.data.display()
    )?;
    Ok(ExitCode::SUCCESS)
}
