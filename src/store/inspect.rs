//! A look at the database of a data folder, which may be in use: it changes nothing, and nobody waits
//! for it.

use super::copy::{address, is_damage, reader};
use super::{Store, StoreError, migrate};
use rusqlite::{Connection, OpenFlags, OptionalExtension};
use std::path::Path;

/// Where times stand of what was done, by table and column; a database of an earlier format may lack
/// one.
const DONE_AT: [(&str, &str); 5] = [
    ("version", "received_at_ms"),
    ("plan", "drawn_at_ms"),
    ("batch", "closed_at_ms"),
    ("protocol", "made_at_ms"),
    ("release", "made_at_ms"),
];

/// Most faults that SQLite is asked for.
const MOST_FAULTS: u8 = 10;

/// What a look found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Inspected {
    /// Its format.
    pub format: i64,
    /// What SQLite's quick check says against it.
    pub faults: Vec<String>,
    /// Fingerprint of the receipt key that it belongs to; `None` when it was never used.
    pub receipt_key_fingerprint: Option<Vec<u8>>,
    /// When the newest of what is stored was done, in milliseconds since the Unix epoch.
    pub newest_at_ms: Option<i64>,
}

impl Store {
    /// Looks at the database of a data folder, which another process may be using.
    ///
    /// # Errors
    /// When it cannot be read, is damaged beyond reading, of a newer format or of something else.
    pub fn inspect(folder: &Path) -> Result<Inspected, StoreError> {
        inspect(folder).map_err(|error| match error {
            StoreError::Sqlite(error) if is_damage(&error) => {
                StoreError::Damaged(error.to_string())
            }
            other => other,
        })
    }
}

fn inspect(folder: &Path) -> Result<Inspected, StoreError> {
    let connection = connection(folder)?;
    let format = migrate::format_of(&connection)?;
    let faults = {
        let sql = format!("PRAGMA quick_check({MOST_FAULTS})");
        let mut statement = connection.prepare(&sql)?;
        let rows = statement.query_map([], |row| row.get(0))?;
        let said: Vec<String> = rows.collect::<Result<_, _>>()?;
        said.into_iter().filter(|line| line != "ok").collect()
    };
    let receipt_key_fingerprint = connection
        .query_row(
            "SELECT value FROM fact WHERE name = 'receipt_key_fingerprint'",
            [],
            |row| row.get(0),
        )
        .optional()?;
    let mut newest_at_ms = None;
    for (table, column) in DONE_AT {
        if has_column(&connection, table, column)? {
            let sql = format!("SELECT max({column}) FROM {table}");
            let newest: Option<i64> = connection.query_row(&sql, [], |row| row.get(0))?;
            newest_at_ms = newest_at_ms.max(newest);
        }
    }
    Ok(Inspected {
        format,
        faults,
        receipt_key_fingerprint,
        newest_at_ms,
    })
}

/// While somebody has the database open, or somebody stopped without closing it, there is a file of
/// shared memory beside it, and it has to be read together with its log. Otherwise it is read as it
/// lies there, so that no file is made beside it.
fn connection(folder: &Path) -> Result<Connection, StoreError> {
    let file = folder.join(Store::FILE);
    let shared = folder.join(format!("{}-shm", Store::FILE));
    if shared.exists() {
        return reader(&file);
    }
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY
        | OpenFlags::SQLITE_OPEN_URI
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    Ok(Connection::open_with_flags(address(&file), flags)?)
}

fn has_column(connection: &Connection, table: &str, column: &str) -> Result<bool, rusqlite::Error> {
    connection.query_row(
        "SELECT EXISTS (SELECT 1 FROM pragma_table_info(?1) WHERE name = ?2)",
        [table, column],
        |row| row.get(0),
    )
}
