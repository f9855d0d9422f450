//! Backups by schedule: when the next one is due, and which ones are old enough to go.
//!
//! What is erased from the database stands in older backups until these go, so their age is a promise
//! to contributors. One exception: the newest backup is never removed, however old it is, because
//! when no newer one can be made it may be all that is left.

use super::{Backup, BackupError, NAME, PARTIAL, make, shown};
use crate::clock;
use crate::receipt::ReceiptKey;
use std::fs;
use std::path::{Path, PathBuf};

/// Milliseconds of an hour.
const HOUR_MS: i64 = 3_600_000;

/// Milliseconds of a day.
const DAY_MS: i64 = 24 * HOUR_MS;

/// When backups are made and removed.
#[derive(Clone, Debug)]
pub struct Schedule {
    into: PathBuf,
    every_ms: i64,
    kept_ms: i64,
}

/// What was done at one look.
#[derive(Debug, Default)]
pub struct Done {
    /// The backup that was due.
    pub made: Option<Backup>,
    /// Backups that were removed.
    pub removed: Vec<PathBuf>,
}

/// A folder that is named as a backup.
struct Found {
    made_at_ms: i64,
    folder: PathBuf,
}

/// The newest backup of a data folder below another folder, with the time in its name in milliseconds
/// since the Unix epoch; `None` when there is none.
///
/// # Errors
/// When one of the folders cannot be read.
pub fn newest(data: &Path, into: &Path) -> Result<Option<(PathBuf, i64)>, BackupError> {
    let newest = found(into, data, "")?.pop();
    Ok(newest.map(|found| (found.folder, found.made_at_ms)))
}

impl Schedule {
    /// Backups below a folder, every so many hours, each kept for so many days.
    ///
    /// # Errors
    /// [`BackupError::TooShort`] when they would go before newer ones come.
    pub fn new(into: &Path, hours: u16, kept_days: u16) -> Result<Self, BackupError> {
        let (hours, kept_days) = (i64::from(hours), i64::from(kept_days));
        let (every_ms, kept_ms) = (hours * HOUR_MS, kept_days * DAY_MS);
        if kept_ms < every_ms {
            return Err(BackupError::TooShort(hours, kept_days));
        }
        Ok(Self {
            into: into.to_owned(),
            every_ms,
            kept_ms,
        })
    }

    /// When the newest backup of a data folder was made, in milliseconds since the Unix epoch; `None`
    /// when there is none, or that cannot be told.
    #[must_use]
    pub fn newest_at_ms(&self, data: &Path) -> Option<i64> {
        let newest = newest(data, &self.into).ok().flatten();
        newest.map(|(_, made_at_ms)| made_at_ms)
    }

    /// Makes a backup of a data folder when one is due, and removes those of the same folder that are
    /// too old, also when none could be made.
    ///
    /// # Errors
    /// [`BackupError`] of the first thing that could not be done.
    pub fn look(&self, data: &Path, now_ms: i64) -> Result<Done, BackupError> {
        let newest = found(&self.into, data, "")?.pop();
        let is_due = newest.is_none_or(|newest| {
            // One from the future tells of a clock that was set back.
            now_ms < newest.made_at_ms || newest.made_at_ms + self.every_ms <= now_ms
        });
        let made = is_due.then(|| make(data, &self.into, now_ms)).transpose();
        let removed = self.remove_old(data, now_ms);
        Ok(Done {
            made: made?,
            removed: removed?,
        })
    }

    fn remove_old(&self, data: &Path, now_ms: i64) -> Result<Vec<PathBuf>, BackupError> {
        let mut backups = found(&self.into, data, "")?;
        // The newest stays.
        backups.pop();
        let is_old = |found: &Found| found.made_at_ms + self.kept_ms < now_ms;
        let mut removed = Vec::new();
        for Found { folder, .. } in backups.into_iter().filter(is_old) {
            let mut partial = folder.clone().into_os_string();
            partial.push(PARTIAL);
            // What is half removed must not pass for a backup.
            fs::rename(&folder, &partial).map_err(|error| BackupError::at(&folder, error))?;
            remove(Path::new(&partial))?;
            removed.push(folder);
        }
        // Left behind by a power cut: whoever still writes one is not at it for a day.
        let partial = found(&self.into, data, PARTIAL)?;
        for Found { folder, .. } in partial
            .into_iter()
            .filter(|found| found.made_at_ms + DAY_MS < now_ms)
        {
            remove(&folder)?;
        }
        Ok(removed)
    }
}

/// What is named as a backup with this ending, the oldest first. Backups of another data folder
/// have another key and are left alone.
fn found(into: &Path, data: &Path, ending: &str) -> Result<Vec<Found>, BackupError> {
    if !into.exists() {
        return Ok(Vec::new());
    }
    let entries = fs::read_dir(into).map_err(|error| BackupError::at(into, error))?;
    let own = data.join(ReceiptKey::FILE);
    let own = fs::read(&own).map_err(|error| BackupError::at(&own, error))?;
    let mut found = Vec::new();
    for entry in entries {
        let entry = entry.map_err(|error| BackupError::at(into, error))?;
        let name = entry.file_name();
        let stamp = name.to_str().and_then(|name| {
            let rest = name.strip_prefix(NAME)?.strip_suffix(ending)?;
            clock::of_stamp(rest)
        });
        let folder = entry.path();
        let key = fs::read(folder.join(ReceiptKey::FILE)).ok();
        if let Some(made_at_ms) = stamp
            && key.map_or(ending == PARTIAL, |key| key == own)
        {
            found.push(Found { made_at_ms, folder });
        }
    }
    found.sort_by_key(|found| found.made_at_ms);
    Ok(found)
}

fn remove(folder: &Path) -> Result<(), BackupError> {
    fs::remove_dir_all(folder).map_err(|error| BackupError::File(shown(folder), error))
}
