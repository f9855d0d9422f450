//! Making a data folder of a backup.

use super::{Backup, BackupError, DESCRIPTION, PARTIAL, check, files, shown};
use crate::receipt::ReceiptKey;
use crate::store::{Durability, Store, Withdrawal};
use data_encoding::HEXLOWER;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};

/// What was restored.
#[derive(Clone, Debug)]
pub struct Restored {
    /// The backup.
    pub backup: Backup,
    /// The data folder.
    pub data: PathBuf,
    /// How many contributions were withdrawn in it, because they were elsewhere.
    pub n_withdrawn: usize,
}

/// Makes a data folder of a backup: copies it beside the folder, checks the copy, brings it to the
/// newest format and gives it its name, so that there is all of it or nothing. The backup is only
/// read. What was withdrawn in other folders, backups or data folders that are newer, is withdrawn in
/// it too.
///
/// # Errors
/// [`BackupError`]; there is no data folder then but the empty one that was there.
pub fn restore(
    backup: &Path,
    data: &Path,
    withdrawn_in: &[PathBuf],
) -> Result<Restored, BackupError> {
    let mut withdrawals = Vec::new();
    for folder in withdrawn_in {
        let found = Store::withdrawals_in(folder)
            .map_err(|error| BackupError::Database(shown(folder), error))?;
        withdrawals.extend(found);
    }
    let free = files::is_free(data).map_err(|error| BackupError::at(data, error))?;
    if !free {
        return Err(BackupError::Used(shown(data)));
    }
    let hashes = check::hashes(backup)?;
    let above = files::above(data);
    files::private_folder(&above).map_err(|error| BackupError::at(&above, error))?;
    let partial = beside(data);
    files::new_private_folder(&partial).map_err(|error| BackupError::at(&partial, error))?;
    let filled = fill(backup, &hashes, &partial, &withdrawals);
    let restored = filled.and_then(|(backup, n_withdrawn)| {
        let at = |error| BackupError::at(data, error);
        // A folder is never renamed over one that has something in it.
        fs::rename(&partial, data).map_err(at)?;
        files::sync_folder(&above).map_err(at)?;
        Ok(Restored {
            backup,
            data: data.to_owned(),
            n_withdrawn,
        })
    });
    if restored.is_err() {
        // What is wrong is told; the name of what is left says that it is partial.
        let _ = fs::remove_dir_all(&partial);
    }
    restored
}

fn fill(
    backup: &Path,
    hashes: &check::Hashes,
    folder: &Path,
    withdrawals: &[Withdrawal],
) -> Result<(Backup, usize), BackupError> {
    let (mut bytes, mut sha256) = (0, String::new());
    for (file, wanted) in hashes {
        let (from, to) = (backup.join(file), folder.join(file));
        let copied = files::copy(&from, &to).map_err(|error| BackupError::at(&from, error))?;
        check::is_wanted(backup, file, copied, *wanted)?;
        if *file == Store::FILE {
            bytes = fs::metadata(&to).map_or(0, |file| file.len());
            sha256 = HEXLOWER.encode(wanted);
        }
    }
    let contents = check::contents(folder).map_err(|error| error.of(backup))?;
    let store = Store::open(folder, Durability::Full)?;
    let key = ReceiptKey::of_folder(folder).map_err(|error| BackupError::at(folder, error))?;
    store.bind_receipt_key(&key.fingerprint())?;
    let n_withdrawn = store.withdraw_again(withdrawals)?;
    drop(store);
    let description = folder.join(DESCRIPTION);
    fs::remove_file(&description).map_err(|error| BackupError::at(&description, error))?;
    files::sync_folder(folder).map_err(|error| BackupError::at(folder, error))?;
    let backup = Backup {
        folder: backup.to_owned(),
        contents,
        bytes,
        sha256,
    };
    Ok((backup, n_withdrawn))
}

/// A name beside the data folder that says it is not whole.
fn beside(data: &Path) -> PathBuf {
    let mut name = data.file_name().map_or_else(OsString::new, OsString::from);
    name.push(PARTIAL);
    files::above(data).join(name)
}
