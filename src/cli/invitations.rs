//! `tautpool host invitations …`: letting in only those whom the host invites.

use super::{Data, Failure, HostInvitations};
use crate::clock;
use crate::service::Service;
use crate::store::Durability;
use std::io::{self, Write};
use std::process::ExitCode;

pub(super) fn run(command: &HostInvitations) -> Result<ExitCode, Failure> {
    match command {
        HostInvitations::Make {
            study,
            count,
            uses,
            data,
        } => make(study, (*count, *uses), data),
        HostInvitations::Need { study, data } => need(study, true, data),
        HostInvitations::Lift { study, data } => need(study, false, data),
        HostInvitations::List { study, data } => list(study, data),
        HostInvitations::End {
            study,
            number,
            data,
        } => end(study, *number, data),
    }
}

fn service(data: &Data) -> Result<Service, Failure> {
    Ok(Service::open(&data.data, Durability::Full)?)
}

/// Prints the codes alone, a line each, so that the list can be printed; what is said of them goes to
/// standard error.
fn make(study: &str, (count, uses): (u16, u32), data: &Data) -> Result<ExitCode, Failure> {
    let service = service(data)?;
    let codes = service.make_invitations(study, count, uses, clock::now_ms())?;
    let mut out = io::stdout().lock();
    for code in codes {
        writeln!(out, "{}", code.grouped())?;
    }
    let mut told = io::stderr().lock();
    writeln!(
        told,
        "Shown this once, because only hashes are kept. Each can be used {uses} times."
    )?;
    if !service.needs_invitation(study) {
        writeln!(
            told,
            "Sending to {study} needs none yet: tautpool host invitations need {study} --data {}",
            data.data.display()
        )?;
    }
    Ok(ExitCode::SUCCESS)
}

fn need(study: &str, needed: bool, data: &Data) -> Result<ExitCode, Failure> {
    service(data)?.need_invitation(study, needed)?;
    let words = if needed {
        "New players need an invitation from now on."
    } else {
        "Everybody may send from now on."
    };
    writeln!(io::stdout().lock(), "{words}")?;
    Ok(ExitCode::SUCCESS)
}

fn list(study: &str, data: &Data) -> Result<ExitCode, Failure> {
    let mut out = io::stdout().lock();
    for invitation in service(data)?.invitations(study)? {
        let ended = invitation.ended_at_ms.map(clock::date);
        writeln!(
            out,
            "{}\tmade {}\tused {} of {}\t{}",
            invitation.number,
            clock::date(invitation.made_at_ms),
            invitation.uses,
            invitation.most_uses,
            ended.map_or_else(|| "open".to_owned(), |day| format!("ended {day}"))
        )?;
    }
    Ok(ExitCode::SUCCESS)
}

fn end(study: &str, number: i64, data: &Data) -> Result<ExitCode, Failure> {
    if service(data)?.end_invitation(study, number, clock::now_ms())? {
        writeln!(io::stdout().lock(), "Invitation {number} is ended.")?;
        return Ok(ExitCode::SUCCESS);
    }
    Err(format!(
        "{study} has no open invitation {number}: tautpool host invitations list shows them"
    )
    .into())
}
