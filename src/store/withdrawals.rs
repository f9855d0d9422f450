//! What was withdrawn in another database of the same service: whoever restores an older one has to
//! withdraw it there again.

use super::mend::mark_withdrawn;
use super::{Store, StoreError, copy, migrate};
use rusqlite::{OptionalExtension, TransactionBehavior};
use std::path::Path;
use uuid::Uuid;

/// The first format in which something could be withdrawn.
const FIRST_FORMAT: i64 = 2;

/// A withdrawal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Withdrawal {
    /// The contribution.
    pub contribution: Uuid,
    /// When it was withdrawn, in milliseconds since the Unix epoch.
    pub at_ms: i64,
}

impl Store {
    /// Every withdrawal in the database of a folder, which may be in use.
    ///
    /// # Errors
    /// When it cannot be read, is of a newer format or of something else.
    pub fn withdrawals_in(folder: &Path) -> Result<Vec<Withdrawal>, StoreError> {
        let connection = copy::reader(&folder.join(Self::FILE))?;
        if migrate::format_of(&connection)? < FIRST_FORMAT {
            return Ok(Vec::new());
        }
        let mut statement = connection.prepare(
            "SELECT uuid, withdrawn_at_ms FROM contribution
             WHERE withdrawn_at_ms IS NOT NULL ORDER BY withdrawn_at_ms, id",
        )?;
        let rows = statement.query_map([], |row| {
            Ok(Withdrawal {
                contribution: Uuid::from_bytes(row.get(0)?),
                at_ms: row.get(1)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Withdraws again what was withdrawn elsewhere. What counts here acts as if it had been withdrawn
    /// here at that time. Gives how many were not withdrawn before.
    ///
    /// # Errors
    /// When the database refuses; nothing is changed then.
    pub fn withdraw_again(&self, withdrawals: &[Withdrawal]) -> Result<usize, StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let mut n_withdrawn = 0;
        for withdrawal in withdrawals {
            let found: Option<i64> = transaction
                .query_row(
                    "SELECT id FROM contribution WHERE uuid = ?1 AND withdrawn_at_ms IS NULL",
                    [withdrawal.contribution.as_bytes()],
                    |row| row.get(0),
                )
                .optional()?;
            if let Some(contribution_id) = found {
                mark_withdrawn(&transaction, contribution_id, withdrawal.at_ms)?;
                n_withdrawn += 1;
            }
        }
        transaction.commit()?;
        self.writer.empty_log(&connection);
        Ok(n_withdrawn)
    }
}
