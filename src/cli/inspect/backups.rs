//! Whether there is a backup that would do.

use super::Findings;
use super::settings::Backups;
use crate::backup::{self, newest};
use std::path::Path;

const CHECK: &str = "backups";

const HOUR_MS: i64 = 3_600_000;

pub(super) fn look(findings: &mut Findings, data: &Path, backups: Option<&Backups>, now_ms: i64) {
    let Some(Backups { into, every_hours }) = backups else {
        findings.look(
            CHECK,
            "none are made while it serves",
            "set TAUTPOOL_BACKUP_TO, unless a timer makes them (deploy/README.md)",
        );
        return;
    };
    let here = into.display();
    let (folder, made_at_ms) = match newest(data, into) {
        Ok(Some(found)) => found,
        Ok(None) => {
            findings.fault(
                CHECK,
                format!("there is none of this folder in {here}"),
                "the service makes one when it starts: its log says what keeps it from that",
            );
            return;
        }
        Err(error) => {
            findings.fault(CHECK, error, "look as a user who may read both folders");
            return;
        }
    };
    let age_hours = now_ms.saturating_sub(made_at_ms) / HOUR_MS;
    if let Err(error) = backup::check(&folder) {
        findings.fault(
            CHECK,
            error,
            "make another one now: tautpool backup --data DIR --to BACKUPS",
        );
    } else if 2 * i64::from(*every_hours) < age_hours {
        findings.fault(
            CHECK,
            format!("the newest, {}, is {age_hours} hours old", folder.display()),
            "is the service running? Its log says what keeps it from making one",
        );
    } else {
        findings.good(
            CHECK,
            format!(
                "the newest, {}, is whole, {age_hours} hours old",
                folder.display()
            ),
        );
    }
}
