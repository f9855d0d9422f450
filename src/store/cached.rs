//! Statements that every contribution needs, prepared once for a connection and kept.

use rusqlite::config::DbConfig;
use rusqlite::{Connection, Params, Result, Row};

/// How many statements a connection keeps: more than taking a contribution in asks.
const STATEMENTS: usize = 64;

/// Makes a connection keep statements for good. Without the second setting SQLite prepares most of
/// them anew whenever other values are bound (<https://www.sqlite.org/queryplanner-ng.html>, "query
/// planner stability guarantee"), which took longer than what they do.
pub(super) fn keep_statements(connection: &Connection) -> Result<()> {
    connection.set_prepared_statement_cache_capacity(STATEMENTS);
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    Ok(())
}

/// What a connection does with kept statements.
pub(super) trait Cached {
    /// As [`Connection::execute`].
    fn execute_cached(&self, sql: &str, params: impl Params) -> Result<usize>;

    /// As [`Connection::query_row`].
    fn query_row_cached<T>(
        &self,
        sql: &str,
        params: impl Params,
        read: impl FnOnce(&Row<'_>) -> Result<T>,
    ) -> Result<T>;
}

impl Cached for Connection {
    fn execute_cached(&self, sql: &str, params: impl Params) -> Result<usize> {
        self.prepare_cached(sql)?.execute(params)
    }

    fn query_row_cached<T>(
        &self,
        sql: &str,
        params: impl Params,
        read: impl FnOnce(&Row<'_>) -> Result<T>,
    ) -> Result<T> {
        self.prepare_cached(sql)?.query_row(params, read)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Durability, Store};
    use rusqlite::{Connection, Row, StatementStatus};

    /// How often a statement of taking a contribution in was prepared anew for other values.
    fn prepared_anew(connection: &Connection) -> i32 {
        let sql = "SELECT coalesce(sum(length(v.document)), 0) FROM version v
                   JOIN contribution c ON c.id = v.contribution_id WHERE c.player_id = ?1";
        for value in 0..9 {
            let mut statement = connection.prepare_cached(sql).unwrap();
            let read = |row: &Row<'_>| row.get::<_, i64>(0);
            assert_eq!(statement.query_row([value], read), Ok(0));
        }
        let statement = connection.prepare_cached(sql).unwrap();
        statement.get_status(StatementStatus::RePrepare)
    }

    #[test]
    fn kept_statements_are_not_prepared_anew() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Durability::Full).unwrap();
        assert_eq!(prepared_anew(&store.lock()), 0);
        assert_eq!(prepared_anew(&store.read()), 0);
    }
}
