//! The database format, as a list of steps that is only ever added to.

use super::StoreError;
use rusqlite::Connection;

/// Each step leads from the format of its place to the next one.
const STEPS: &[&str] = &[include_str!("migrations/0001_first.sql")];

/// Brings a database to the newest format, all steps in one transaction.
pub(super) fn to_newest(connection: &mut Connection) -> Result<(), StoreError> {
    let known = i64::try_from(STEPS.len()).unwrap_or(i64::MAX);
    let transaction =
        connection.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
    let found: i64 = transaction.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    let done = usize::try_from(found).ok().filter(|_| found <= known);
    let done = done.ok_or(StoreError::NewerFormat { found, known })?;
    let n_tables: i64 =
        transaction.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if found == 0 && 0 < n_tables {
        return Err(StoreError::Foreign);
    }
    for step in STEPS.iter().skip(done) {
        transaction.execute_batch(step)?;
    }
    transaction.pragma_update(None, "user_version", known)?;
    transaction.commit()?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_newer_format_is_refused_in_words() {
        let mut connection = Connection::open_in_memory().unwrap();
        to_newest(&mut connection).unwrap();
        to_newest(&mut connection).unwrap();
        connection.pragma_update(None, "user_version", 0).unwrap();
        assert!(matches!(
            to_newest(&mut connection),
            Err(StoreError::Foreign)
        ));
        connection.pragma_update(None, "user_version", 99).unwrap();
        let error = to_newest(&mut connection).unwrap_err();
        assert!(error.to_string().contains("use a newer tautpool"));
    }
}
