//! Backups: making one while the service runs, checking one, restoring one, and making them by
//! schedule.
//!
//! A backup is a folder with the database, the receipt key, a description in JSON and the SHA-256
//! of all three in the form of `sha256sum`. It is made under another name, checked, synced and
//! renamed, so that what has a backup's name is whole. Nothing is ever overwritten.

mod check;
mod errors;
mod files;
mod restore;
mod schedule;

pub use check::check;
pub use errors::BackupError;
pub use restore::{Restored, restore};
pub use schedule::{Done, Schedule, newest};

use crate::clock;
use crate::receipt::ReceiptKey;
use crate::store::{Contents, Store};
use crate::wire;
use data_encoding::HEXLOWER;
use std::fs;
use std::path::{Path, PathBuf};

/// Name of the description in a backup.
pub const DESCRIPTION: &str = "backup.json";

/// Name of the list of hashes in a backup.
pub const HASHES: &str = "SHA256SUMS";

/// Everything that the list of hashes names.
const FILES: [&str; 3] = [Store::FILE, ReceiptKey::FILE, DESCRIPTION];

/// How the name of a backup begins; its time follows.
const NAME: &str = "tautpool-";

/// How the name of a backup ends that is not finished, or being removed.
const PARTIAL: &str = ".partial";

/// A backup that was checked.
#[derive(Clone, Debug)]
pub struct Backup {
    /// The folder.
    pub folder: PathBuf,
    /// What its database holds.
    pub contents: Contents,
    /// Bytes of its database.
    pub bytes: u64,
    /// SHA-256 of its database, hexadecimal.
    pub sha256: String,
}

/// Makes a backup of a data folder, which may be in use, below another folder, which is made where
/// it is not there. The backup is named after the time. When this returns it is checked, and synced
/// to disk.
///
/// # Errors
/// [`BackupError`]; nothing that has a backup's name is left behind then.
pub fn make(data: &Path, into: &Path, now_ms: i64) -> Result<Backup, BackupError> {
    for file in [Store::FILE, ReceiptKey::FILE] {
        if !data.join(file).exists() {
            return Err(BackupError::NothingToBackUp(shown(data), file));
        }
    }
    is_apart(data, into)?;
    files::private_folder(into).map_err(|error| BackupError::at(into, error))?;
    let name = format!("{NAME}{}", clock::stamp(now_ms));
    let (whole, partial) = (into.join(&name), into.join(name + PARTIAL));
    if whole.exists() || partial.exists() {
        return Err(BackupError::Exists(shown(&whole)));
    }
    let made = fill(data, &partial, now_ms).and_then(|backup| {
        // A folder is never renamed over one that has something in it.
        fs::rename(&partial, &whole).map_err(|error| BackupError::at(&whole, error))?;
        for folder in [into, &files::above(into)] {
            files::sync_folder(folder).map_err(|error| BackupError::at(folder, error))?;
        }
        Ok(Backup {
            folder: whole,
            ..backup
        })
    });
    if made.is_err() {
        // What is wrong is told; what cannot be removed now goes by schedule.
        let _ = fs::remove_dir_all(&partial);
    }
    made
}

/// Writes everything that belongs to a backup, and checks it as whoever restores it would.
fn fill(data: &Path, folder: &Path, now_ms: i64) -> Result<Backup, BackupError> {
    let at = |file: &Path| {
        let file = file.to_owned();
        move |error| BackupError::at(&file, error)
    };
    files::new_private_folder(folder).map_err(at(folder))?;
    let database = folder.join(Store::FILE);
    Store::copy(data, &database)?;
    files::sync(&database).map_err(at(&database))?;
    let key = folder.join(ReceiptKey::FILE);
    files::copy(&data.join(ReceiptKey::FILE), &key).map_err(at(&key))?;
    let contents = check::contents(folder)?;
    let description = folder.join(DESCRIPTION);
    let text = format!("{:#}\n", described(&contents, now_ms));
    files::write(&description, text.as_bytes()).map_err(at(&description))?;
    let mut list = String::new();
    for file in FILES {
        let hash = files::sha256(&folder.join(file)).map_err(at(&folder.join(file)))?;
        list.push_str(&format!("{}  {file}\n", HEXLOWER.encode(&hash)));
    }
    let hashes = folder.join(HASHES);
    files::write(&hashes, list.as_bytes()).map_err(at(&hashes))?;
    files::sync_folder(folder).map_err(at(folder))?;
    check(folder)
}

fn described(contents: &Contents, now_ms: i64) -> impl std::fmt::Display {
    wire::backup::backup(&wire::backup::Backup {
        made: &clock::date_time(now_ms),
        format: contents.format,
        counts: &contents.counts,
        receipt_key_fingerprint: contents
            .receipt_key_fingerprint
            .as_deref()
            .unwrap_or_default(),
    })
}

/// A backup inside the data folder would be lost with it.
fn is_apart(data: &Path, into: &Path) -> Result<(), BackupError> {
    let real = |path: &Path| fs::canonicalize(path).map_err(|error| BackupError::at(path, error));
    let whole = std::path::absolute(into).map_err(|error| BackupError::at(into, error))?;
    // The place need not be there yet; what is above it is.
    let there = whole.ancestors().find(|path| path.exists());
    if real(there.unwrap_or(&whole))?.starts_with(real(data)?) {
        return Err(BackupError::Inside(shown(into)));
    }
    Ok(())
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}
