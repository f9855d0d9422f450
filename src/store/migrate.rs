//! The database format, as a list of steps that is only ever added to.

use super::StoreError;
use rusqlite::Connection;

/// Each step leads from the format of its place to the next one.
const STEPS: &[&str] = &[
    include_str!("migrations/0001_first.sql"),
    include_str!("migrations/0002_versions.sql"),
    include_str!("migrations/0003_plans.sql"),
    include_str!("migrations/0004_life.sql"),
    include_str!("migrations/0005_screening.sql"),
    include_str!("migrations/0006_access.sql"),
    include_str!("migrations/0007_releases.sql"),
    include_str!("migrations/0008_decisions.sql"),
    include_str!("migrations/0009_differencing.sql"),
    include_str!("migrations/0010_consent.sql"),
    include_str!("migrations/0011_invitations.sql"),
];

/// Newest format that this program knows.
pub(super) fn known() -> i64 {
    i64::try_from(STEPS.len()).unwrap_or(i64::MAX)
}

/// The format of a database; 0 when nothing is in it yet.
///
/// # Errors
/// When it is newer than this program, or the database is of something else.
pub(super) fn format_of(connection: &Connection) -> Result<i64, StoreError> {
    let (found, known) = (
        connection.query_row("PRAGMA user_version", [], |row| row.get(0))?,
        known(),
    );
    if !(0..=known).contains(&found) {
        return Err(StoreError::NewerFormat { found, known });
    }
    let n_tables: i64 =
        connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if found == 0 && 0 < n_tables {
        return Err(StoreError::Foreign);
    }
    Ok(found)
}

/// Brings a database to the newest format, all steps in one transaction.
pub(super) fn to_newest(connection: &mut Connection) -> Result<(), StoreError> {
    let transaction =
        connection.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
    let done = usize::try_from(format_of(&transaction)?).unwrap_or(usize::MAX);
    for step in STEPS.iter().skip(done) {
        transaction.execute_batch(step)?;
    }
    transaction.pragma_update(None, "user_version", known())?;
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

    #[test]
    fn what_was_sent_in_the_first_format_becomes_a_first_version() {
        let mut connection = Connection::open_in_memory().unwrap();
        connection
            .pragma_update(None, "foreign_keys", true)
            .unwrap();
        connection
            .execute_batch(&format!(
                "{}
                 INSERT INTO study VALUES (1, 'one', x'7b7d', 5);
                 INSERT INTO player VALUES (1, zeroblob(16), 1, zeroblob(32));
                 INSERT INTO contribution VALUES
                     (7, zeroblob(16), 1, 1, 1234, 'accepted', 2, 'pooling', 'v1', 'ABCDEFGH', 99, 3, x'0102');
                 INSERT INTO idempotency VALUES (1, zeroblob(32), zeroblob(32), 7);
                 INSERT INTO batch VALUES (1, 3, 1300);
                 PRAGMA user_version = 1;",
                STEPS[0]
            ))
            .unwrap();
        to_newest(&mut connection).unwrap();
        let kept: (i64, i64, i64, Option<String>, i64, String, i64, Vec<u8>) = connection
            .query_row(
                "SELECT contribution_id, number, received_at_ms, reason, protocol_version,
                        plan_code, batch, document FROM version",
                [],
                |row| {
                    Ok((
                        row.get(0)?,
                        row.get(1)?,
                        row.get(2)?,
                        row.get(3)?,
                        row.get(4)?,
                        row.get(5)?,
                        row.get(6)?,
                        row.get(7)?,
                    ))
                },
            )
            .unwrap();
        let expected = (7, 1, 1234, None, 2, "ABCDEFGH".to_owned(), 3, vec![1, 2]);
        assert_eq!(kept, expected);
        let shown: bool = connection
            .query_row("SELECT shown FROM batch", [], |row| row.get(0))
            .unwrap();
        assert!(shown);
    }

    #[test]
    fn a_study_from_before_drafts_is_recruiting_with_its_document_as_the_first_version() {
        let mut connection = Connection::open_in_memory().unwrap();
        connection
            .pragma_update(None, "foreign_keys", true)
            .unwrap();
        connection
            .execute_batch(&format!(
                "{}{}{}
                 INSERT INTO study VALUES (1, 'one', CAST('{{\"protocol\":{{\"version\":3.0}}}}' AS BLOB), 5);
                 INSERT INTO study VALUES (2, 'two', x'7b7d', 6);
                 INSERT INTO batch VALUES (1, 1, 1300, 1);
                 PRAGMA user_version = 3;",
                STEPS[0], STEPS[1], STEPS[2]
            ))
            .unwrap();
        to_newest(&mut connection).unwrap();
        let mut statement = connection
            .prepare(
                "SELECT s.state, s.opened_at_ms, s.plan_hash IS NULL, p.version, p.made_at_ms,
                        p.reason IS NULL, length(p.document)
                 FROM study s JOIN protocol p ON p.study_id = s.id ORDER BY s.id",
            )
            .unwrap();
        let studies: Vec<(String, i64, bool, i64, i64, bool, i64)> = statement
            .query_map([], |row| {
                Ok((
                    row.get(0)?,
                    row.get(1)?,
                    row.get(2)?,
                    row.get(3)?,
                    row.get(4)?,
                    row.get(5)?,
                    row.get(6)?,
                ))
            })
            .unwrap()
            .map(Result::unwrap)
            .collect();
        let recruiting = || "recruiting".to_owned();
        assert_eq!(
            studies,
            [
                (recruiting(), 5, true, 3, 5, true, 28),
                (recruiting(), 6, true, 1, 6, true, 2),
            ]
        );
        let version: i64 = connection
            .query_row("SELECT protocol_version FROM batch", [], |row| row.get(0))
            .unwrap();
        assert_eq!(version, 3);
    }
}
