//! `tautpool release verify`: what a file can show of a release by itself.

use super::super::progress::Doing;
use super::super::{AsJson, Failure, check, read, sha256, written};
use crate::receipt::sha256_of;
use crate::release::Software;
use crate::wire::problem;
use crate::wire::release::check::{self as content, Checks, Difference, NOT_CHECKED};
use data_encoding::HEXLOWER;
use serde_json::{Value, json};
use std::ffi::OsString;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// The hash that a file has to have, and who says so.
struct Wanted {
    sha256: String,
    by: String,
}

/// What came of one check.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Said {
    Holds,
    Fault,
    Note,
}

impl Said {
    const fn code(self) -> &'static str {
        match self {
            Self::Holds => "ok",
            Self::Fault => "fault",
            Self::Note => "note",
        }
    }
}

/// What is checked, and what came of it: each with the name of the check as its first word.
#[derive(Default)]
struct Report(Vec<(Said, String)>);

impl Report {
    fn hold(&mut self, holds: bool, what: &str, if_not: &str) {
        self.0.push(if holds {
            (Said::Holds, what.to_owned())
        } else {
            (Said::Fault, if_not.to_owned())
        });
    }

    fn note(&mut self, what: String) {
        self.0.push((Said::Note, what));
    }

    fn same(&mut self, what: &str, kind: &str, differs: Option<&Difference>) {
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
        );
    }

    fn is_good(&self) -> bool {
        self.0.iter().all(|(said, _)| *said != Said::Fault)
    }

    fn write(&self, out: &mut impl Write) -> io::Result<()> {
        for (said, what) in &self.0 {
            let mark = match said {
                Said::Fault => "FAULT",
                other => other.code(),
            };
            writeln!(out, "{mark:<5}  {what}")?;
        }
        Ok(())
    }

    /// With the faults of a file that is no release.
    fn document(&self, faults: &[Value]) -> Value {
        let entry = |(said, what): &(Said, String)| {
            let (check, found) = what.split_once(' ').unwrap_or((what, ""));
            json!({"check": check, "outcome": said.code(), "found": found.trim_start()})
        };
        json!({
            "ok": self.is_good() && faults.is_empty(),
            "checks": self.0.iter().map(entry).collect::<Vec<_>>(),
            "faults": faults,
            "not_checked": NOT_CHECKED,
        })
    }
}

pub(super) fn run(file: &Path, given: Option<&str>, json: AsJson) -> Result<ExitCode, Failure> {
    let bytes = read(file)?;
    let wanted = match given {
        Some(sha256) => Some(Wanted {
            sha256: sha256.to_owned(),
            by: "as given".to_owned(),
        }),
        None => beside(file)?,
    };
    let mut report = Report::default();
    check_hash(&mut report, &bytes, wanted.as_ref());
    let doing = Doing::now("making every figure again");
    let checked = content::check(&bytes)?;
    drop(doing);
    match checked {
        Ok(checks) => tell(&mut report, &checks),
        Err(rejection) if json.json => {
            let faults: Vec<Value> = rejection.faults.iter().map(problem::fault).collect();
            written(&report.document(&faults))?;
            return Ok(ExitCode::FAILURE);
        }
        Err(rejection) => {
            let mut out = io::stdout().lock();
            report.write(&mut out)?;
            check::list_faults(&mut out, &rejection)?;
            writeln!(out, "The file is no release, or it was changed.")?;
            return Ok(ExitCode::FAILURE);
        }
    }
    if json.json {
        written(&report.document(&[]))?;
    } else {
        let mut out = io::stdout().lock();
        report.write(&mut out)?;
        say_what_is_not_checked(&mut out, wanted.is_some())?;
    }
    Ok(if report.is_good() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

fn say_what_is_not_checked(out: &mut impl Write, has_hash: bool) -> io::Result<()> {
    let kept_by = if has_hash {
        "The hash alone keeps"
    } else {
        "Without a hash nothing keeps"
    };
    writeln!(out, "{kept_by} what nothing else in the file depends on:")?;
    for place in NOT_CHECKED {
        writeln!(out, "       {place}")?;
    }
    writeln!(
        out,
        "and rows that no analysis rests on, such as retrospective pairs of outcomes that were not declared, once planned ones are the analysis."
    )
}

fn tell(report: &mut Report, checks: &Checks) {
    report.hold(true, "schema     valid by release.v1", "");
    report.hold(
        checks.form.is_none(),
        "form       canonical JSON (RFC 8785)",
        &format!(
            "form       from byte {} on the file is not in the canonical form of RFC 8785, so it is not the file that was published",
            checks.form.unwrap_or_default()
        ),
    );
    report.hold(
        checks.out_of_order.is_none(),
        "rows       groups and their pairs are numbered in order",
        &format!(
            "rows       /findings/rows/{} has a group or a pair that does not go on from the row before",
            checks.out_of_order.unwrap_or_default()
        ),
    );
    let figures = format!(
        "figures    {} analyses made again from {} rows, equal bit for bit",
        checks.n_analyses, checks.n_rows
    );
    report.same(&figures, "figures   ", checks.figures.as_ref());
    let words = "words      verdicts, citation and metadata made again, equal";
    report.same(words, "words     ", checks.words.as_ref());
    if let Some(written) = &checks.plan_hash {
        let made = HEXLOWER.encode(&sha256_of(checks.plan.as_bytes()));
        report.hold(
            made == *written,
            "plan       the plan of analysis has the hash that stands beside it",
            &format!(
                "plan       /protocol/plan_hash_now is not the hash of the plan in /protocol/document: written is {written}, it should be {made}"
            ),
        );
    }
    let (by, this) = (&checks.software, Software::this());
    if *by != this {
        report.note(format!(
            "software   made with {} {}, checked with {} {}: another version may differ in words, and in the last digits of figures",
            by.name, by.version, this.name, this.version
        ));
    }
}

fn check_hash(report: &mut Report, bytes: &[u8], wanted: Option<&Wanted>) {
    let found = HEXLOWER.encode(&sha256_of(bytes));
    match wanted {
        None => report.note(format!(
            "sha256     {found}: compare it with the one that the publisher shows, or give it with --sha256"
        )),
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
