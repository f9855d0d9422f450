//! Why a backup was not made, or not restored, and what mends it.

use super::{HASHES, shown};
use crate::store::StoreError;
use std::io;
use std::path::Path;

/// Why a backup was not made, found good or restored.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// The data folder has no database, or no key.
    #[error("{0} has no {1}, so there is nothing to back up: name the data folder of the service")]
    NothingToBackUp(String, &'static str),
    /// Backups would lie in the data folder.
    #[error("{0} lies inside the data folder and would be lost with it: choose another place")]
    Inside(String),
    /// There is one of this name.
    #[error("there is {0} already, and nothing is overwritten: try again in a second")]
    Exists(String),
    /// The folder has no list of hashes.
    #[error(
        "{0} has no {HASHES}: it is no backup, or one that was not finished; name a folder that `tautpool backup` made"
    )]
    NotABackup(String),
    /// The list of hashes is not one.
    #[error(
        "{HASHES} in {0} is not what `tautpool backup` writes: copy the backup anew, or take another one"
    )]
    ListSpoiled(String),
    /// A file of a backup is missing.
    #[error("{1} is missing in {0}: copy the whole backup anew, or take another one")]
    Absent(String, &'static str),
    /// A file of a backup is not what it was.
    #[error(
        "{1} in {0} is not what its hash in {HASHES} says: it is spoiled; copy it anew from where the backup is whole, or take another one"
    )]
    Spoiled(String, &'static str),
    /// Key and database are of different folders.
    #[error(
        "the receipt.key in {0} does not belong to the database beside it: put back the one that does, or take another backup"
    )]
    OtherKey(String),
    /// Where it should be restored there is something.
    #[error(
        "{0} is not empty, and nothing is overwritten: name a new data folder, or move this one away first"
    )]
    Used(String),
    /// The schedule would remove backups before there are newer ones.
    #[error(
        "backups every {0} hours that are kept for {1} days would be removed before the next is made: keep them longer, or make them more often"
    )]
    TooShort(i64, i64),
    /// The database of a backup cannot be used.
    #[error("{0}: {1}")]
    Database(String, StoreError),
    /// The database cannot be copied.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A file or folder cannot be read or written.
    #[error("{0}: {1}")]
    File(String, io::Error),
}

impl BackupError {
    pub(super) fn at(path: &Path, error: io::Error) -> Self {
        Self::File(shown(path), error)
    }

    /// The same of the backup that was copied to where it was found.
    pub(super) fn of(self, backup: &Path) -> Self {
        match self {
            Self::Database(_, source) => Self::Database(shown(backup), source),
            Self::OtherKey(_) => Self::OtherKey(shown(backup)),
            other => other,
        }
    }
}
