//! Whether a backup is whole: every file is there and as it was, and key and database belong
//! together.

use super::{Backup, BackupError, FILES, HASHES, files, shown};
use crate::receipt::ReceiptKey;
use crate::store::{Contents, Store};
use data_encoding::HEXLOWER;
use std::fs;
use std::io;
use std::path::Path;

/// What the list of hashes says, file by file in the order of [`FILES`].
pub(super) type Hashes = [(&'static str, [u8; 32]); FILES.len()];

/// Checks a backup: its hashes, then its database through and through, then the key.
///
/// # Errors
/// [`BackupError`] for the first thing that is not as it should be.
pub fn check(folder: &Path) -> Result<Backup, BackupError> {
    let hashes = hashes(folder)?;
    for (file, wanted) in hashes {
        let path = folder.join(file);
        let found = files::sha256(&path).map_err(|error| BackupError::at(&path, error))?;
        is_wanted(folder, file, found, wanted)?;
    }
    let [(database, sha256), ..] = hashes;
    let database = folder.join(database);
    let file = fs::metadata(&database).map_err(|error| BackupError::at(&database, error))?;
    Ok(Backup {
        folder: folder.to_owned(),
        contents: contents(folder)?,
        bytes: file.len(),
        sha256: HEXLOWER.encode(&sha256),
    })
}

/// A file of a backup is what its hash says.
pub(super) fn is_wanted(
    backup: &Path,
    file: &'static str,
    found: [u8; 32],
    wanted: [u8; 32],
) -> Result<(), BackupError> {
    if found == wanted {
        Ok(())
    } else {
        Err(BackupError::Spoiled(shown(backup), file))
    }
}

/// The list of hashes of a backup in which no file is missing.
pub(super) fn hashes(folder: &Path) -> Result<Hashes, BackupError> {
    let path = folder.join(HASHES);
    if !path.exists() {
        return Err(BackupError::NotABackup(shown(folder)));
    }
    if let Some(absent) = FILES.into_iter().find(|file| !folder.join(file).exists()) {
        return Err(BackupError::Absent(shown(folder), absent));
    }
    let list = fs::read(&path).map_err(|error| BackupError::at(&path, error))?;
    let list = String::from_utf8(list).ok();
    let list = list.as_deref().and_then(listed);
    list.ok_or_else(|| BackupError::ListSpoiled(shown(folder)))
}

/// Exactly what is written: one line for each file, in order.
fn listed(text: &str) -> Option<Hashes> {
    let mut lines = text.lines();
    let mut hashes = FILES.map(|file| (file, [0; 32]));
    for (file, hash) in &mut hashes {
        let (hex, name) = lines.next()?.split_once("  ")?;
        let bytes = HEXLOWER.decode(hex.as_bytes()).ok()?;
        *hash = bytes.try_into().ok().filter(|_| name == *file)?;
    }
    (lines.next().is_none() && text.ends_with('\n')).then_some(hashes)
}

/// What a database beside its key holds.
///
/// # Errors
/// When the database is damaged, newer or something else's, or the key belongs to another one.
pub(super) fn contents(folder: &Path) -> Result<Contents, BackupError> {
    let contents = Store::look_into(&folder.join(Store::FILE))
        .map_err(|error| BackupError::Database(shown(folder), error))?;
    let key = ReceiptKey::of_folder(folder).map_err(|error| match error.kind() {
        io::ErrorKind::InvalidData => BackupError::OtherKey(shown(folder)),
        _ => BackupError::at(folder, error),
    })?;
    match &contents.receipt_key_fingerprint {
        Some(kept) if *kept == key.fingerprint() => Ok(contents),
        _ => Err(BackupError::OtherKey(shown(folder))),
    }
}
