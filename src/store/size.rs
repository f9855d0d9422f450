//! How large the files of the database are.

use super::Store;
use std::fs;
use std::path::Path;

/// Sizes in bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Size {
    /// The database itself.
    pub database: u64,
    /// Its write-ahead log.
    pub log: u64,
}

impl Store {
    /// Name of the write-ahead log in a data folder.
    pub const LOG_FILE: &'static str = "tautpool.sqlite-wal";

    /// How large this database is; `None` in memory and where the system does not say.
    #[must_use]
    pub fn size(&self) -> Option<Size> {
        Self::size_in(self.folder.as_deref()?)
    }

    /// How large the database of a data folder is; `None` where there is none. No file is opened,
    /// since closing one lets go of the locks of whoever has the database open in this process.
    #[must_use]
    pub fn size_in(folder: &Path) -> Option<Size> {
        let bytes = |name| fs::metadata(folder.join(name)).map(|file| file.len());
        Some(Size {
            database: bytes(Self::FILE).ok()?,
            log: bytes(Self::LOG_FILE).unwrap_or(0),
        })
    }
}
