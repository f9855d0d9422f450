//! Erasing: what was sent is overwritten, the log that still has it is emptied, and the file is written
//! anew.
//!
//! `secure_delete` overwrites what is freed, but two places keep copies. The log has pages as they
//! were until it is emptied; that waits while another connection reads, as a backup does, so it is
//! tried again ([`Store::leave_no_trace`]). And a page that is divided, or merged with another, may
//! keep what was moved off it in bytes that nobody uses, so the whole file is written
//! anew now and again ([`Store::rewrite`]).

use super::connections::Writer;
use super::{Store, StoreError, WAITS_FOR_OTHERS};
use rusqlite::Connection;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// Erases what was sent as one contribution, every version of it. Triggers erase what was made of it,
/// and remember that the file is to be written anew.
pub(super) fn erase(transaction: &Connection, contribution_id: i64) -> Result<(), rusqlite::Error> {
    transaction.execute(
        "UPDATE version SET document = NULL, gap_nanograms = 1 WHERE contribution_id = ?1",
        [contribution_id],
    )?;
    Ok(())
}

impl Store {
    /// Empties the log if it may still hold what was erased. Whether it does so no more.
    pub fn leave_no_trace(&self) -> bool {
        let connection = self.lock();
        if self.writer.traces.load(Ordering::Relaxed) {
            self.writer.empty_log(&connection);
        }
        !self.writer.traces.load(Ordering::Relaxed)
    }

    /// Writes the whole file anew if something was erased since it last was, so that none of its bytes
    /// is left. Who writes waits meanwhile, who reads does not. Whether there was something to do.
    ///
    /// # Errors
    /// When the database refuses; it stays to be done then.
    pub fn rewrite(&self) -> Result<bool, StoreError> {
        const DUE: &str = "name = 'rewrite_due'";
        let connection = self.lock();
        let sql = format!("SELECT EXISTS (SELECT 1 FROM fact WHERE {DUE})");
        let is_due: bool = connection.query_row(&sql, [], |row| row.get(0))?;
        if is_due {
            connection.execute_batch(&format!("VACUUM; DELETE FROM fact WHERE {DUE};"))?;
            self.writer.empty_log(&connection);
        }
        Ok(is_due)
    }
}

impl Writer {
    /// Folds the log into the database and empties it, after something was erased. When another
    /// connection reads, or the disk fails, that is left for later: what was asked for is stored.
    pub(super) fn empty_log(&self, connection: &Connection) {
        let emptied = emptied(connection);
        self.traces
            .store(!matches!(emptied, Ok(true)), Ordering::Relaxed);
        if let Err(error) = emptied {
            tracing::warn!(%error, "the log was not folded into the database yet");
        }
    }
}

/// Whether the log could be emptied. Nobody is waited for, since everybody else waits meanwhile.
fn emptied(connection: &Connection) -> Result<bool, rusqlite::Error> {
    connection.busy_timeout(Duration::ZERO)?;
    let is_busy = connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0));
    connection.busy_timeout(WAITS_FOR_OTHERS)?;
    is_busy.map(|is_busy: bool| !is_busy)
}
