//! The rows of a database, put by SQLite alone into one of the same tables, with as many contributions
//! to a transaction as wanted.

use crate::{Failure, timed, told};
use rusqlite::types::Value as Cell;
use rusqlite::{Connection, Params, Statement, params_from_iter};
use serde_json::{Value, json};
use std::path::Path;

/// Where the rows of one contribution are, with the column by which they are found.
const TABLES: [(&str, &str); 7] = [
    ("player", "id"),
    ("contribution", "id"),
    ("version", "contribution_id"),
    ("consent", "contribution_id"),
    ("screening", "contribution_id"),
    ("screening_flag", "contribution_id"),
    ("likeness", "contribution_id"),
];

/// The rows of every contribution, each with the place of its table.
type Rows = Vec<Vec<(usize, Vec<Cell>)>>;

/// Writes what a database holds into a new one, as the program does: write-ahead log, synced with every
/// transaction, and the same checks.
pub(crate) fn write(from: &Path, to: &Path, group: usize) -> Result<Value, Failure> {
    let from = Connection::open(from)?;
    let (rows, widths) = read(&from)?;
    let to = Connection::open(to)?;
    let _: String = to.query_row("PRAGMA journal_mode = wal", [], |row| row.get(0))?;
    for setting in ["synchronous", "foreign_keys", "secure_delete"] {
        to.pragma_update(
            None,
            setting,
            if setting == "synchronous" {
                "FULL"
            } else {
                "ON"
            },
        )?;
    }
    for sql in texts(
        &from,
        "SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%' ORDER BY rowid",
    )? {
        to.execute_batch(&sql)?;
    }
    let studies = rows_of(&mut from.prepare("SELECT * FROM study")?, [])?;
    for row in studies {
        insert(&to, "study", row.len())?.execute(params_from_iter(row))?;
    }
    let mut inserts = TABLES
        .iter()
        .zip(&widths)
        .map(|((table, _), width)| insert(&to, table, *width))
        .collect::<Result<Vec<_>, _>>()?;
    let (done, seconds) = timed(|| -> Result<usize, Failure> {
        for group in rows.chunks(group) {
            to.execute_batch("BEGIN IMMEDIATE")?;
            for (table, row) in group.iter().flatten() {
                if let Some(insert) = inserts.get_mut(*table) {
                    insert.execute(params_from_iter(row))?;
                }
            }
            to.execute_batch("COMMIT")?;
        }
        Ok(rows.len())
    });
    Ok(told(seconds, &json!(done?)))
}

/// Every contribution in the order they came, and how many columns each table has.
fn read(from: &Connection) -> Result<(Rows, Vec<usize>), Failure> {
    let mut tables = TABLES
        .iter()
        .map(|(table, column)| from.prepare(&format!("SELECT * FROM {table} WHERE {column} = ?1")))
        .collect::<Result<Vec<_>, _>>()?;
    let widths = tables
        .iter()
        .map(Statement::column_count)
        .collect::<Vec<_>>();
    let mut contributions = from.prepare("SELECT player_id, id FROM contribution ORDER BY id")?;
    let ids = contributions.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    let mut all = Rows::new();
    for ids in ids {
        let (player, contribution): (i64, i64) = ids?;
        let mut own = Vec::new();
        for (table, select) in tables.iter_mut().enumerate() {
            let of = if table == 0 { player } else { contribution };
            let rows = rows_of(select, [of])?;
            own.extend(rows.into_iter().map(|row| (table, row)));
        }
        all.push(own);
    }
    Ok((all, widths))
}

/// Statement that puts a row into a table.
fn insert<'a>(to: &'a Connection, table: &str, width: usize) -> rusqlite::Result<Statement<'a>> {
    let places = vec!["?"; width].join(", ");
    to.prepare(&format!("INSERT INTO {table} VALUES ({places})"))
}

fn rows_of(select: &mut Statement<'_>, params: impl Params) -> rusqlite::Result<Vec<Vec<Cell>>> {
    let width = select.column_count();
    let rows = select.query_map(params, |row| {
        (0..width).map(|column| row.get(column)).collect()
    })?;
    rows.collect()
}

fn texts(from: &Connection, sql: &str) -> Result<Vec<String>, Failure> {
    let mut select = from.prepare(sql)?;
    let rows = select.query_map([], |row| row.get(0))?;
    Ok(rows.collect::<Result<_, _>>()?)
}
