//! A copy of the database while it is in use, and what a copy holds.
//!
//! The copy is made by `VACUUM INTO`: one read transaction, so that it is of one moment however much
//! is written meanwhile, and a file without free pages, so that nothing of what was erased is in it.
//! SQLite's page-by-page backup would begin anew whenever another connection writes.

use super::cached::keep_statements;
use super::{Store, StoreError, migrate, private_file};
use rusqlite::{Connection, OpenFlags, OptionalExtension};
use std::fmt::Write;
use std::path::Path;

/// Most faults of a damaged database that are told.
const FAULTS_TOLD: usize = 3;

/// What is counted in a database, with the table that has one row for each.
const COUNTED: [(&str, &str); 6] = [
    ("studies", "study"),
    ("players", "player"),
    ("contributions", "contribution"),
    ("versions", "version"),
    ("plans", "plan"),
    ("releases", "release"),
];

/// What a database file holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contents {
    /// Its format.
    pub format: i64,
    /// What is in it, by name, as far as its format has it.
    pub counts: Vec<(&'static str, i64)>,
    /// Fingerprint of the receipt key that it belongs to; `None` when it was never used.
    pub receipt_key_fingerprint: Option<Vec<u8>>,
}

impl Store {
    /// Newest format that this program knows, which it writes.
    #[must_use]
    pub fn format() -> i64 {
        migrate::known()
    }

    /// Copies the database of a data folder, which another process, or this one, may be using. The
    /// copy is not synced, and readable by its owner only.
    ///
    /// Whoever has the database open must not open its file otherwise, since closing a file lets go
    /// of every lock that the process has on it; so this asks SQLite alone.
    ///
    /// # Errors
    /// When the database cannot be read, is of a newer format or of something else, or the copy
    /// cannot be written or is there already.
    pub fn copy(folder: &Path, to: &Path) -> Result<(), StoreError> {
        let connection = reader(&folder.join(Self::FILE))?;
        migrate::format_of(&connection)?;
        let name = to.to_str().ok_or_else(|| {
            let words = "SQLite takes names in UTF-8 only: choose another place";
            std::io::Error::new(std::io::ErrorKind::InvalidInput, words)
        })?;
        private_file(to)?;
        connection.execute("VACUUM INTO ?1", [name])?;
        Ok(())
    }

    /// Looks through a database file that nobody uses, and changes nothing, not even beside it.
    ///
    /// # Errors
    /// When it is damaged, of a newer format or of something else.
    pub fn look_into(file: &Path) -> Result<Contents, StoreError> {
        look_into(file).map_err(|error| match error {
            StoreError::Sqlite(error) if is_damage(&error) => {
                StoreError::Damaged(error.to_string())
            }
            other => other,
        })
    }
}

fn look_into(file: &Path) -> Result<Contents, StoreError> {
    let connection = Connection::open_with_flags(
        address(file),
        OpenFlags::SQLITE_OPEN_READ_ONLY
            | OpenFlags::SQLITE_OPEN_URI
            | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )?;
    let format = migrate::format_of(&connection)?;
    is_sound(&connection)?;
    let mut counts = Vec::new();
    for (name, table) in COUNTED {
        if has_table(&connection, table)? {
            let sql = format!("SELECT count(*) FROM {table}");
            counts.push((name, connection.query_row(&sql, [], |row| row.get(0))?));
        }
    }
    let receipt_key_fingerprint = connection
        .query_row(
            "SELECT value FROM fact WHERE name = 'receipt_key_fingerprint'",
            [],
            |row| row.get(0),
        )
        .optional()?;
    Ok(Contents {
        format,
        counts,
        receipt_key_fingerprint,
    })
}

pub(super) fn is_damage(error: &rusqlite::Error) -> bool {
    use rusqlite::ErrorCode::{DatabaseCorrupt, NotADatabase};
    matches!(
        error.sqlite_error_code(),
        Some(DatabaseCorrupt | NotADatabase)
    )
}

/// A connection that only reads a database, which may be in use.
pub(super) fn reader(file: &Path) -> Result<Connection, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(file, flags)?;
    connection.busy_timeout(super::WAITS_FOR_OTHERS)?;
    keep_statements(&connection)?;
    Ok(connection)
}

/// The file as SQLite takes it with options: it is read as it is, without a look at any log beside
/// it (<https://www.sqlite.org/uri.html>).
pub(super) fn address(file: &Path) -> String {
    let mut address = "file:".to_owned();
    for byte in file.as_os_str().as_encoded_bytes() {
        if byte.is_ascii_alphanumeric() || b"/._-".contains(byte) {
            address.push(char::from(*byte));
        } else {
            // Writing to a text does not fail.
            let _ = write!(address, "%{byte:02X}");
        }
    }
    address + "?immutable=1"
}

/// Every page, index and reference is as it should be.
fn is_sound(connection: &Connection) -> Result<(), StoreError> {
    let faults = texts(connection, "PRAGMA integrity_check", |row| row.get(0))?;
    if faults.iter().any(|fault| fault != "ok") {
        return Err(damaged(&faults));
    }
    let faults = texts(connection, "PRAGMA foreign_key_check", |row| {
        let (table, parent): (String, String) = (row.get(0)?, row.get(2)?);
        Ok(format!(
            "a row of {table} refers to a {parent} that is not there"
        ))
    })?;
    if faults.is_empty() {
        Ok(())
    } else {
        Err(damaged(&faults))
    }
}

fn texts(
    connection: &Connection,
    sql: &str,
    text: impl FnMut(&rusqlite::Row<'_>) -> Result<String, rusqlite::Error>,
) -> Result<Vec<String>, StoreError> {
    let mut statement = connection.prepare(sql)?;
    let rows = statement.query_map([], text)?;
    Ok(rows.collect::<Result<_, _>>()?)
}

fn damaged(faults: &[String]) -> StoreError {
    let told: Vec<&str> = faults
        .iter()
        .take(FAULTS_TOLD)
        .map(String::as_str)
        .collect();
    StoreError::Damaged(told.join("; "))
}

fn has_table(connection: &Connection, table: &str) -> Result<bool, rusqlite::Error> {
    connection.query_row(
        "SELECT EXISTS (SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = ?1)",
        [table],
        |row| row.get(0),
    )
}
