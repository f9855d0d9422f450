//! `tautpool host invitations …`: letting in only those whom the host invites.

use super::{Data, Failure, Folder, HostInvitations, written};
use crate::clock;
use crate::service::Service;
use crate::store::{Durability, StoredInvitation};
use serde_json::{Value, json};
use std::io::{self, Write};
use std::process::ExitCode;

pub(super) fn run(command: &HostInvitations) -> Result<ExitCode, Failure> {
    match command {
        HostInvitations::Make {
            study,
            count,
            uses,
            folder,
        } => make(study, (*count, *uses), folder),
        HostInvitations::Need { study, folder } => need(study, true, folder),
        HostInvitations::Lift { study, folder } => need(study, false, folder),
        HostInvitations::List { study, folder } => list(study, folder),
        HostInvitations::End {
            study,
            number,
            folder,
        } => end(study, *number, folder),
    }
}

fn service(data: &Data) -> Result<Service, Failure> {
    Ok(Service::open(&data.data, Durability::Full)?)
}

/// Prints the codes alone, a line each, so that the list can be printed; what is said of them goes to
/// standard error.
fn make(
    study: &str,
    (count, uses): (u16, u32),
    Folder { data, json }: &Folder,
) -> Result<ExitCode, Failure> {
    let service = service(data)?;
    let codes = service.make_invitations(study, count, uses, clock::now_ms())?;
    if json.json {
        let codes: Vec<String> = codes.iter().map(|code| code.grouped()).collect();
        written(&json!({
            "study": study,
            "codes": codes,
            "uses": uses,
            "needed": service.needs_invitation(study),
        }))?;
        return Ok(ExitCode::SUCCESS);
    }
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

fn need(study: &str, needed: bool, Folder { data, json }: &Folder) -> Result<ExitCode, Failure> {
    service(data)?.need_invitation(study, needed)?;
    if json.json {
        written(&json!({"study": study, "needed": needed}))?;
        return Ok(ExitCode::SUCCESS);
    }
    let words = if needed {
        "New players need an invitation from now on."
    } else {
        "Everybody may send from now on."
    };
    writeln!(io::stdout().lock(), "{words}")?;
    Ok(ExitCode::SUCCESS)
}

fn list(study: &str, Folder { data, json }: &Folder) -> Result<ExitCode, Failure> {
    let invitations = service(data)?.invitations(study)?;
    if json.json {
        let invitations: Vec<Value> = invitations.iter().map(document).collect();
        written(&json!({"study": study, "invitations": invitations}))?;
        return Ok(ExitCode::SUCCESS);
    }
    let mut out = io::stdout().lock();
    for invitation in invitations {
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

fn document(invitation: &StoredInvitation) -> Value {
    json!({
        "number": invitation.number,
        "made": clock::date(invitation.made_at_ms),
        "uses": invitation.uses,
        "most_uses": invitation.most_uses,
        "ended": invitation.ended_at_ms.map(clock::date),
    })
}

fn end(study: &str, number: i64, Folder { data, json }: &Folder) -> Result<ExitCode, Failure> {
    if service(data)?.end_invitation(study, number, clock::now_ms())? {
        if json.json {
            written(&json!({"study": study, "number": number, "ended": true}))?;
            return Ok(ExitCode::SUCCESS);
        }
        writeln!(io::stdout().lock(), "Invitation {number} is ended.")?;
        return Ok(ExitCode::SUCCESS);
    }
    Err(format!(
        "{study} has no open invitation {number}: tautpool host invitations list shows them"
    )
    .into())
}
