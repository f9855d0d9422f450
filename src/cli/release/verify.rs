//! `tautpool release verify`: what a file can show of a release by itself.

use super::super::{Failure, check, read, sha256};
use crate::receipt::sha256_of;
use crate::release::Software;
use crate::wire::release::check::{self as content, Checks, Difference, NOT_CHECKED};
use data_encoding::HEXLOWER;
use std::ffi::OsString;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// The hash that a file has to have, and who says so.
struct Wanted {
    sha256: String,
    by: String,
}

/// What is checked, and what came of it.
struct Report<W> {
    out: W,
    n_faults: usize,
}

impl<W: Write> Report<W> {
    fn hold(&mut self, holds: bool, what: &str, if_not: &str) -> io::Result<()> {
        if holds {
            return writeln!(self.out, "ok     {what}");
        }
        self.n_faults += 1;
        writeln!(self.out, "FAULT  {if_not}")
    }

    fn same(&mut self, what: &str, kind: &str, differs: Option<&Difference>) -> io::Result<()> {
        let Some(differs) = differs else {
            return self.hold(true, what, "");
        };
        self.hold(
            false,
            "",
            &format!(
                "{kind} {} is not what the rest of the file gives: written is {}, it should be {}",
                differs.at, differs.written, differs.wanted
            ),
        )
    }
}

pub(super) fn run(file: &Path, given: Option<&str>) -> Result<ExitCode, Failure> {
    let bytes = read(file)?;
    let wanted = match given {
        Some(sha256) => Some(Wanted {
            sha256: sha256.to_owned(),
            by: "as given".to_owned(),
        }),
        None => beside(file)?,
    };
    let mut report = Report {
        out: io::stdout().lock(),
        n_faults: 0,
    };
    check_hash(&mut report, &bytes, wanted.as_ref())?;
    match content::check(&bytes)? {
        Ok(checks) => tell(&mut report, &checks)?,
        Err(rejection) => {
            check::list_faults(&mut report.out, &rejection)?;
            writeln!(report.out, "The file is no release, or it was changed.")?;
            return Ok(ExitCode::FAILURE);
        }
    }
    let kept_by = match wanted {
        Some(_) => "The hash alone keeps",
        None => "Without a hash nothing keeps",
    };
    writeln!(
        report.out,
        "{kept_by} what nothing else in the file depends on:"
    )?;
    for place in NOT_CHECKED {
        writeln!(report.out, "       {place}")?;
    }
    writeln!(
        report.out,
        "and rows that no analysis rests on, such as retrospective pairs of outcomes that were not declared, once planned ones are the analysis."
    )?;
    Ok(if report.n_faults == 0 {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

fn tell<W: Write>(report: &mut Report<W>, checks: &Checks) -> io::Result<()> {
    report.hold(true, "schema     valid by release.v1", "")?;
    report.hold(
        checks.form.is_none(),
        "form       canonical JSON (RFC 8785)",
        &format!(
            "form       from byte {} on the file is not in the canonical form of RFC 8785, so it is not the file that was published",
            checks.form.unwrap_or_default()
        ),
    )?;
    report.hold(
        checks.out_of_order.is_none(),
        "rows       groups and their pairs are numbered in order",
        &format!(
            "rows       /findings/rows/{} has a group or a pair that does not go on from the row before",
            checks.out_of_order.unwrap_or_default()
        ),
    )?;
    let figures = format!(
        "figures    {} analyses made again from {} rows, equal bit for bit",
        checks.n_analyses, checks.n_rows
    );
    report.same(&figures, "figures   ", checks.figures.as_ref())?;
    let words = "words      verdicts, citation and metadata made again, equal";
    report.same(words, "words     ", checks.words.as_ref())?;
    if let Some(written) = &checks.plan_hash {
        let made = HEXLOWER.encode(&sha256_of(checks.plan.as_bytes()));
        report.hold(
            made == *written,
            "plan       the plan of analysis has the hash that stands beside it",
            &format!(
                "plan       /protocol/plan_hash_now is not the hash of the plan in /protocol/document: written is {written}, it should be {made}"
            ),
        )?;
    }
    let (by, this) = (&checks.software, Software::this());
    if *by != this {
        writeln!(
            report.out,
            "note   made with {} {}, checked with {} {}: another version may differ in words, and in the last digits of figures",
            by.name, by.version, this.name, this.version
        )?;
    }
    Ok(())
}

fn check_hash<W: Write>(
    report: &mut Report<W>,
    bytes: &[u8],
    wanted: Option<&Wanted>,
) -> io::Result<()> {
    let found = HEXLOWER.encode(&sha256_of(bytes));
    match wanted {
        None => writeln!(
            report.out,
            "note   sha256     {found}: compare it with the one that the publisher shows, or give it with --sha256"
        ),
        Some(Wanted { sha256, by }) => report.hold(
            found == *sha256,
            &format!("sha256     {found}, {by}"),
            &format!("sha256     {found} is not {sha256}, {by}: the file is another one, or it was changed"),
        ),
    }
}

/// The hash in a file of `sha256sum`'s form that lies beside, `FILE.sha256`, when there is one.
fn beside(file: &Path) -> Result<Option<Wanted>, Failure> {
    let mut name = OsString::from(file);
    name.push(".sha256");
    let path = PathBuf::from(name);
    if file.as_os_str() == "-" || !path.exists() {
        return Ok(None);
    }
    let text = String::from_utf8_lossy(&read(&path)?).into_owned();
    let first = text.split_whitespace().next().unwrap_or_default();
    let sha256 = sha256(first).map_err(|mend| format!("{}: {mend}", path.display()))?;
    let by = format!("as {} says", path.display());
    Ok(Some(Wanted { sha256, by }))
}
