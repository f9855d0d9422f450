//! Everything that is kept: SQLite, and all SQL of the project.
//!
//! One connection writes, some read beside it (`connections`). Write-ahead log with `synchronous =
//! FULL`: when a writing operation here returns, its commit has been synced to disk, and the caller
//! may acknowledge it. [`Store::together`] lets many who write at once share one sync.
//! Operations are named in the project's words, so that another engine could stand behind them.
//!
//! Absent on purpose: any HTTP type, any statistics, and the clock; times come in as milliseconds
//! since the Unix epoch.

mod batch;
mod cached;
mod connections;
mod consent;
mod copy;
mod decide;
mod differencing;
mod erase;
mod host;
mod inspect;
mod invitations;
mod life;
mod mend;
mod migrate;
mod plans;
mod read;
mod release;
mod screened;
mod size;
mod submit;
mod withdrawals;

pub use connections::Writing;
pub use consent::{Agreed, StoredConsent, Unhashed};
pub use copy::Contents;
pub use decide::{Decidable, Decided, NewDecision, SentFlow, StoredDecision};
pub use differencing::ShownFigure;
pub use host::StoredSignIn;
pub use inspect::Inspected;
pub use invitations::{InvitationHash, StoredInvitation};
pub use life::{NewProtocol, StoredProtocol, StoredStudy};
pub use mend::{Held, Mended, Most, OwnContribution, StoredVersion, Withdrawn};
pub use plans::{Drawn, NewPlan, StoredPlan};
pub use read::{Batch, Counted, StoredContribution};
pub use release::{NewRelease, StoredRelease};
pub use screened::{Alike, Kept, MARK_BYTES, MarkHash, Screened, Seeker, Unscreened};
pub use size::Size;
pub use submit::{NewContribution, Recorded, RequestKey, Sender, Version};
pub use withdrawals::Withdrawal;

use connections::{Alone, Readers, Reading, Writer};
use rusqlite::Connection;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::time::Duration;

/// What can go wrong in the store.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// SQLite said no.
    #[error("the database: {0}")]
    Sqlite(#[from] rusqlite::Error),
    /// What several wrote in one transaction could not be committed.
    #[error("the database: {0}, so that nothing of what was written with it is kept")]
    Together(String),
    /// Too many are in line to write.
    #[error("so many want to write at the moment that it would take too long")]
    Crowded,
    /// The database file could not be made.
    #[error("the database file: {0}")]
    File(#[from] std::io::Error),
    /// The linked SQLite has a known fault.
    #[error(
        "SQLite {0} is not used here: it may lose a write-ahead log (needs 3.51.3 or later, not 3.52.0)"
    )]
    SqliteVersion(String),
    /// The database was written by a newer Tautpool.
    #[error(
        "the database has format {found}, this program knows up to {known}: use a newer tautpool"
    )]
    NewerFormat {
        /// Format of the file.
        found: i64,
        /// Newest format this program knows.
        known: i64,
    },
    /// The file is a database of something else.
    #[error("the database file was not made by tautpool: choose another data folder")]
    Foreign,
    /// The journal mode or another setting could not be made.
    #[error("the database does not take the setting {0}: is it on a network drive?")]
    Setting(&'static str),
    /// There is a study of this name.
    #[error("there is already a study named `{0}`; choose another short name")]
    StudyExists(String),
    /// The receipts of this folder were made with another key.
    #[error("receipt.key does not belong to this database; put back the file that does")]
    OtherReceiptKey,
    /// The file is not whole.
    #[error("the database is damaged ({0}): restore a backup that is whole")]
    Damaged(String),
    /// A stored value is not what this program writes.
    #[error("the database holds an unreadable value: {0}")]
    Unreadable(String),
}

/// Whether a commit is synced to disk before it returns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Durability {
    /// It is. Everything but one test uses this.
    Full,
    /// It is not. Exists so that the test which sees the sync can be seen to fail without it; no
    /// option of the program reaches it.
    None,
}

/// How long an operation waits for another connection that writes (ours).
const WAITS_FOR_OTHERS: Duration = Duration::from_secs(5);

/// The open database.
#[derive(Debug)]
pub struct Store {
    // Closed before the one that writes, which as the last one folds the log into the database.
    readers: Readers,
    writer: Writer,
    /// Where the database is; `None` in memory.
    folder: Option<PathBuf>,
}

impl Store {
    /// Name of the database file in a data folder.
    pub const FILE: &'static str = "tautpool.sqlite";

    /// Opens, or makes, the database of a data folder.
    ///
    /// # Errors
    /// When the file cannot be opened or migrated, or SQLite is of a faulty version.
    pub fn open(folder: &Path, durability: Durability) -> Result<Self, StoreError> {
        let file = folder.join(Self::FILE);
        private_file(&file)?;
        let mut store = Self::prepare(Connection::open(&file)?, durability, "wal")?;
        store.readers = Readers::of(&file)?;
        store.folder = Some(folder.to_owned());
        Ok(store)
    }

    /// A database in memory, gone with the process.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn open_in_memory() -> Result<Self, StoreError> {
        Self::prepare(Connection::open_in_memory()?, Durability::Full, "memory")
    }

    fn prepare(
        mut connection: Connection,
        durability: Durability,
        journal: &'static str,
    ) -> Result<Self, StoreError> {
        check_sqlite_version(rusqlite::version_number())?;
        connection.busy_timeout(WAITS_FOR_OTHERS)?;
        cached::keep_statements(&connection)?;
        let mode: String =
            connection.query_row(&format!("PRAGMA journal_mode = {journal}"), [], |row| {
                row.get(0)
            })?;
        if mode != journal {
            return Err(StoreError::Setting("journal_mode"));
        }
        let synchronous = match durability {
            Durability::Full => "FULL",
            Durability::None => "OFF",
        };
        connection.pragma_update(None, "synchronous", synchronous)?;
        connection.pragma_update(None, "foreign_keys", true)?;
        // What is erased is overwritten, not only unlinked.
        connection.pragma_update(None, "secure_delete", true)?;
        // What is sorted aside stays out of files that nobody would erase.
        connection.pragma_update(None, "temp_store", "MEMORY")?;
        migrate::to_newest(&mut connection)?;
        let store = Self {
            writer: Writer::new(connection),
            readers: Readers::default(),
            folder: None,
        };
        // Whoever stopped before may not have come to it.
        store.leave_no_trace();
        Ok(store)
    }

    /// The connection that writes, for one who does so alone.
    fn lock(&self) -> Alone<'_> {
        self.writer.alone()
    }

    /// A connection to read with. It has what was last committed.
    fn read(&self) -> Reading<'_> {
        let beside = self.readers.one().map(Reading::Beside);
        beside.unwrap_or_else(|| Reading::Alone(self.lock()))
    }

    /// Does some work in a transaction that others who write at the same time may share. Synced to
    /// disk when it returns, or nothing of it is kept. Nothing else may be asked of the store in it.
    ///
    /// # Errors
    /// Those of the work, which undo it alone; and when the database refuses the transaction, which
    /// undoes what everybody did in it.
    pub fn together<T, E: From<StoreError>>(
        &self,
        work: impl FnOnce(&Writing<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        self.writer.together(work)
    }

    /// In how many transactions, each synced once, everything was written by [`Store::together`].
    #[must_use]
    pub fn n_synced(&self) -> u64 {
        self.writer.n_synced.load(Ordering::Relaxed)
    }

    /// Writes something small, as a contribution would be written. Synced to disk when it returns.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn try_to_write(&self, now_ms: i64) -> Result<(), StoreError> {
        self.lock().execute(
            "INSERT INTO fact (name, value) VALUES ('written_at_ms', ?1)
             ON CONFLICT (name) DO UPDATE SET value = excluded.value",
            [now_ms.to_be_bytes()],
        )?;
        Ok(())
    }

    /// Bytes that the disk has left for the database; `None` in memory and where it does not say.
    #[must_use]
    pub fn room(&self) -> Option<u64> {
        let about = rustix::fs::statvfs(self.folder.as_ref()?).ok()?;
        Some(about.f_bavail.saturating_mul(about.f_frsize))
    }

    /// Whether this database remembers a receipt key.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn has_receipt_key(&self) -> Result<bool, StoreError> {
        Ok(self.read().query_row(
            "SELECT EXISTS (SELECT 1 FROM fact WHERE name = 'receipt_key_fingerprint')",
            [],
            |row| row.get(0),
        )?)
    }

    /// Remembers which receipt key this folder uses, or checks that it is the same one.
    ///
    /// # Errors
    /// [`StoreError::OtherReceiptKey`] when it is not.
    pub fn bind_receipt_key(&self, fingerprint: &[u8]) -> Result<(), StoreError> {
        let connection = self.lock();
        connection.execute(
            "INSERT INTO fact (name, value) VALUES ('receipt_key_fingerprint', ?1) ON CONFLICT DO NOTHING",
            [fingerprint],
        )?;
        let kept: Vec<u8> = connection.query_row(
            "SELECT value FROM fact WHERE name = 'receipt_key_fingerprint'",
            [],
            |row| row.get(0),
        )?;
        if kept == fingerprint {
            Ok(())
        } else {
            Err(StoreError::OtherReceiptKey)
        }
    }
}

/// Makes a file that only its owner reads, unless it is there. SQLite gives its log the same
/// permissions as the database.
fn private_file(path: &Path) -> std::io::Result<()> {
    let mut options = std::fs::OpenOptions::new();
    options.append(true).create(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path).map(drop)
}

/// Versions before 3.51.3, and 3.52.0, can reset a write-ahead log that another connection still
/// needs (fault fixed in SQLite 3.51.3; 3.52.0 was withdrawn).
const fn is_sound(version: i32) -> bool {
    3_051_003 <= version && version != 3_052_000
}

fn check_sqlite_version(version: i32) -> Result<(), StoreError> {
    if is_sound(version) {
        Ok(())
    } else {
        Err(StoreError::SqliteVersion(rusqlite::version().to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faulty_versions_are_refused_and_the_linked_one_is_not() {
        for (version, sound) in [
            (3_051_002, false),
            (3_051_003, true),
            (3_052_000, false),
            (3_052_001, true),
        ] {
            assert_eq!(is_sound(version), sound, "{version}");
        }
        assert!(is_sound(rusqlite::version_number()));
    }

    #[test]
    fn another_receipt_key_is_refused() {
        let store = Store::open_in_memory().unwrap();
        store.bind_receipt_key(b"one").unwrap();
        store.bind_receipt_key(b"one").unwrap();
        assert!(matches!(
            store.bind_receipt_key(b"two"),
            Err(StoreError::OtherReceiptKey)
        ));
    }
}
