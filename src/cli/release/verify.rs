//! `tautpool release --verify`: what a file can show of a release by itself.

use super::super::{Failure, check, read};
use crate::intake;
use crate::receipt::sha256_of;
use crate::release::Software;
use crate::wire;
use crate::wire::release::made_again;
use data_encoding::HEXLOWER;
use serde_json::Value;
use std::io::{self, Write};
use std::path::Path;
use std::process::ExitCode;

/// What no file alone can show.
const NOT_CHECKED: &str = "Not checked, because the file alone cannot show it: figures over everybody, spreads between sessions and models of counts, the flow of participants, what was different in the release before, and who published it.";

/// What is checked, and what came of it.
struct Checks<W> {
    out: W,
    n_faults: usize,
}

impl<W: Write> Checks<W> {
    fn hold(&mut self, holds: bool, what: &str, if_not: &str) -> io::Result<()> {
        if holds {
            return writeln!(self.out, "ok     {what}");
        }
        self.n_faults += 1;
        writeln!(self.out, "FAULT  {if_not}")
    }
}

pub(super) fn run(file: &Path, sha256: Option<&str>) -> Result<ExitCode, Failure> {
    let bytes = read(file)?;
    let mut checks = Checks {
        out: io::stdout().lock(),
        n_faults: 0,
    };
    check_hash(&mut checks, &bytes, sha256)?;
    let release = match intake::release(&bytes) {
        Ok(release) => release,
        Err(rejection) => {
            check::list_faults(&mut checks.out, &rejection)?;
            writeln!(checks.out, "The file is no release, or it was changed.")?;
            return Ok(ExitCode::FAILURE);
        }
    };
    checks.hold(true, "schema     valid by release.v1", "")?;
    let mut document: Value = serde_json::from_slice(&bytes)?;
    checks.hold(
        wire::canonical(&document).as_bytes() == bytes,
        "form       canonical JSON (RFC 8785)",
        "form       the file is not in the canonical form of RFC 8785, so it is not the file that was published",
    )?;
    let mut again = made_again(&release)?;
    let analyses = document.pointer("/findings/analyses");
    let analyses = analyses.and_then(Value::as_array).map_or(0, Vec::len);
    let rows = release.publication.rows.len();
    let [published, remade] = [&mut document, &mut again].map(take_findings);
    let differs = difference(&published, &remade, "/findings");
    checks.hold(
        differs.is_none(),
        &format!("figures    {analyses} analyses made again from {rows} rows, equal bit for bit"),
        &format!(
            "figures    {} is not what the rows give",
            differs.unwrap_or_default()
        ),
    )?;
    let differs = difference(&document, &again, "");
    checks.hold(
        differs.is_none(),
        "words      verdicts, citation and metadata made again, equal",
        &format!(
            "words      {} is not what the rest of the file gives",
            differs.unwrap_or_default()
        ),
    )?;
    let (by, this) = (&release.software, Software::this());
    if *by != this {
        writeln!(
            checks.out,
            "note   made with {} {}, checked with {} {}: another version may differ in words, and in the last digits of figures",
            by.name, by.version, this.name, this.version
        )?;
    }
    writeln!(checks.out, "{NOT_CHECKED}")?;
    Ok(if checks.n_faults == 0 {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

fn check_hash<W: Write>(
    checks: &mut Checks<W>,
    bytes: &[u8],
    wanted: Option<&str>,
) -> io::Result<()> {
    let found = HEXLOWER.encode(&sha256_of(bytes));
    match wanted {
        None => writeln!(
            checks.out,
            "note   sha256     {found}: compare it with the one that the publisher shows, or give it with --sha256"
        ),
        Some(wanted) => checks.hold(
            found == wanted,
            &format!("sha256     {found}, as given"),
            &format!("sha256     {found} is not the one given: the file is another one, or it was changed"),
        ),
    }
}

/// The findings of a release, taken out of its document.
fn take_findings(document: &mut Value) -> Value {
    let findings = document.get_mut("findings");
    findings.map(Value::take).unwrap_or_default()
}

/// The first place at which two documents differ, as a JSON Pointer.
fn difference(found: &Value, again: &Value, at: &str) -> Option<String> {
    match (found, again) {
        (Value::Object(found), Value::Object(again)) => {
            let mut names: Vec<&String> = found.keys().chain(again.keys()).collect();
            names.sort();
            names.dedup();
            names.into_iter().find_map(|name| {
                let at = format!("{at}/{name}");
                match (found.get(name), again.get(name)) {
                    (Some(found), Some(again)) => difference(found, again, &at),
                    _ => Some(at),
                }
            })
        }
        (Value::Array(found), Value::Array(again)) if found.len() == again.len() => {
            let mut pairs = found.iter().zip(again).enumerate();
            pairs.find_map(|(place, (found, again))| {
                difference(found, again, &format!("{at}/{place}"))
            })
        }
        // Both in canonical form, in which 5 and 5.0 are one number.
        _ => (wire::canonical(found) != wire::canonical(again)).then(|| at.to_owned()),
    }
}
