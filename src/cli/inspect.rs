//! `tautpool inspect`: whether settings, folder, database, clock and backups are as they should be,
//! and what mends it. Reads only, also beside a serving process.

mod backups;
mod folder;
mod settings;

use super::{AsJson, Failure, Inspect, written};
use crate::clock;
use serde_json::{Value, json};
use std::fmt::Display;
use std::io::{self, Write};
use std::process::ExitCode;

/// How something was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Outcome {
    Good,
    /// It works, but somebody should look at it.
    Look,
    Fault,
}

impl Outcome {
    const fn code(self) -> &'static str {
        match self {
            Self::Good => "ok",
            Self::Look => "look",
            Self::Fault => "fault",
        }
    }
}

/// One thing that was looked at.
#[derive(Debug)]
struct Finding {
    check: &'static str,
    outcome: Outcome,
    found: String,
    mend: Option<String>,
}

/// Everything that was looked at.
#[derive(Debug, Default)]
struct Findings(Vec<Finding>);

impl Findings {
    fn good(&mut self, check: &'static str, found: impl Display) {
        self.add(check, Outcome::Good, found, None);
    }

    fn look(&mut self, check: &'static str, found: impl Display, mend: impl Display) {
        self.add(check, Outcome::Look, found, Some(mend.to_string()));
    }

    fn fault(&mut self, check: &'static str, found: impl Display, mend: impl Display) {
        self.add(check, Outcome::Fault, found, Some(mend.to_string()));
    }

    fn add(
        &mut self,
        check: &'static str,
        outcome: Outcome,
        found: impl Display,
        mend: Option<String>,
    ) {
        self.0.push(Finding {
            check,
            outcome,
            found: found.to_string(),
            mend,
        });
    }

    fn has_fault(&self) -> bool {
        self.0.iter().any(|one| one.outcome == Outcome::Fault)
    }
}

pub(super) fn run(options: &Inspect) -> Result<ExitCode, Failure> {
    let mut findings = Findings::default();
    let asked = settings::look(
        &mut findings,
        options.settings.as_deref(),
        options.data.as_deref(),
    )?;
    let now_ms = clock::now_ms();
    if let Some(data) = &asked.data {
        let newest_at_ms = folder::look(&mut findings, data);
        folder::look_at_clock(&mut findings, newest_at_ms, now_ms);
        backups::look(&mut findings, data, asked.backups.as_ref(), now_ms);
    }
    tell(&findings, &options.json)?;
    Ok(if findings.has_fault() {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    })
}

fn tell(findings: &Findings, json: &AsJson) -> Result<(), Failure> {
    if json.json {
        let checks: Vec<Value> = findings.0.iter().map(document).collect();
        return written(&json!({"ok": !findings.has_fault(), "checks": checks}));
    }
    let mut out = io::stdout().lock();
    for finding in &findings.0 {
        let Finding {
            check,
            outcome,
            found,
            mend,
        } = finding;
        let mark = match outcome {
            Outcome::Fault => "FAULT",
            other => other.code(),
        };
        writeln!(out, "{mark:<5}  {check:<9}  {found}")?;
        if let Some(mend) = mend {
            writeln!(out, "{:<5}  {:<9}  → {mend}", "", "")?;
        }
    }
    Ok(())
}

fn document(finding: &Finding) -> Value {
    json!({
        "check": finding.check,
        "outcome": finding.outcome.code(),
        "found": finding.found,
        "mend": finding.mend,
    })
}
