//! What screening found in a version, and the marks by which contributions that share figures are
//! found. Both are erased with the document, by a trigger, whoever erases it.

use super::cached::Cached as _;
use super::read::state;
use super::submit::{Place, study_id};
use super::{Store, StoreError, Writing};
use crate::screening::{Rule, ScreeningFlag};
use crate::vocabulary::State;
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};
use uuid::Uuid;

/// Most other contributions that are looked at for one figure, the newest first. A figure that more
/// have says nothing by itself, and those that share more have rarer ones among them.
const MOST_ALIKE: i64 = 500;

/// Bytes of a mark.
pub const MARK_BYTES: usize = 16;

/// Keyed hash of one figure.
pub type MarkHash = [u8; MARK_BYTES];

/// What is kept beside a version.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Screened {
    /// Version of the rules; 0 when none were asked.
    pub rules: i64,
    /// What was found.
    pub flags: Vec<ScreeningFlag>,
    /// Marks of its figures.
    pub marks: Vec<MarkHash>,
}

impl Screened {
    /// Held when it waits for the host, else accepted.
    #[must_use]
    pub fn state(&self) -> State {
        if self.flags.iter().any(|flag| flag.holds) {
            State::Held
        } else {
            State::Accepted
        }
    }
}

/// Another contribution that shares figures.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alike {
    /// Whether the same player sent it.
    pub own: bool,
    /// Places of the shared marks among those asked for.
    pub marks: Vec<usize>,
}

/// Who is looked at for likeness.
#[derive(Clone, Copy, Debug)]
pub struct Seeker<'a> {
    /// Short name of the study.
    pub study: &'a str,
    /// SHA-256 of the receipt under which it is sent, when there is one.
    pub receipt_hash: Option<[u8; 32]>,
    /// The contribution that it mends, which is no other one.
    pub mends: Option<Uuid>,
}

/// A contribution's state, with what was found in one version of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// The state now.
    pub state: State,
    /// Version of the rules; 0 when none were asked.
    pub rules: i64,
    /// What was found; empty once it was erased.
    pub flags: Vec<ScreeningFlag>,
}

/// A version that came before there was screening.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unscreened {
    /// Its place, opaque outside.
    place: (i64, i64, i64),
    /// Short name of its study.
    pub study: String,
    /// Its document.
    pub document: Vec<u8>,
}

impl Writing<'_> {
    /// Contributions of a study that share marks, except withdrawn ones, as far as they matter by the
    /// places of what they share.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn alike(
        &self,
        seeker: &Seeker<'_>,
        marks: &[MarkHash],
        matters: impl Fn(&[usize]) -> bool,
    ) -> Result<Vec<Alike>, StoreError> {
        let connection = self.connection;
        let Some(study_id) = study_id(connection, seeker.study)? else {
            return Ok(Vec::new());
        };
        let shared = shared(connection, study_id, marks)?;
        let mut alike = Vec::new();
        for one in shared.chunk_by(|(one, _), (next, _)| one == next) {
            let marks: Vec<usize> = one.iter().map(|(_, place)| *place).collect();
            if let Some((contribution, _)) = one.first()
                && matters(&marks)
                && let Some(own) = is_own(connection, seeker, *contribution)?
            {
                alike.push(Alike { own, marks });
            }
        }
        Ok(alike)
    }
}

impl Store {
    /// A contribution's state and what was found in a version, the newest unless one is asked for.
    /// `None` when there is no such contribution.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn screening(
        &self,
        contribution: Uuid,
        number: Option<i64>,
    ) -> Result<Option<Kept>, StoreError> {
        let mut connection = self.read();
        let transaction = connection.transaction()?;
        let found: Option<(i64, String, i64)> = transaction
            .query_row(
                "SELECT c.id, c.state, coalesce(?2, max(v.number))
                 FROM contribution c JOIN version v ON v.contribution_id = c.id
                 WHERE c.uuid = ?1 GROUP BY c.id",
                params![contribution.as_bytes(), number],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
            )
            .optional()?;
        let Some((id, code, number)) = found else {
            return Ok(None);
        };
        let rules = transaction
            .query_row(
                "SELECT rules FROM screening WHERE contribution_id = ?1 AND number = ?2",
                [id, number],
                |row| row.get(0),
            )
            .optional()?;
        let mut statement = transaction.prepare(
            "SELECT rule, figure, sentence, holds, places FROM screening_flag
             WHERE contribution_id = ?1 AND number = ?2 ORDER BY position",
        )?;
        let rows = statement.query_map([id, number], flag)?;
        Ok(Some(Kept {
            state: state(&code)?,
            rules: rules.unwrap_or(0),
            flags: rows.map(|row| row?).collect::<Result<_, _>>()?,
        }))
    }

    /// Versions that came before there was screening, and are not erased.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn unscreened(&self) -> Result<Vec<Unscreened>, StoreError> {
        let connection = self.read();
        let mut statement = connection.prepare(
            "SELECT v.study_id, v.contribution_id, v.number, s.slug, v.document
             FROM version v JOIN study s ON s.id = v.study_id
             WHERE v.document IS NOT NULL
               AND NOT EXISTS (SELECT 1 FROM screening d
                                WHERE d.contribution_id = v.contribution_id
                                  AND d.number = v.number)
             ORDER BY v.contribution_id, v.number",
        )?;
        let rows = statement.query_map([], |row| {
            Ok(Unscreened {
                place: (row.get(0)?, row.get(1)?, row.get(2)?),
                study: row.get(3)?,
                document: row.get(4)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Keeps marks of versions that came before there was screening.
    ///
    /// # Errors
    /// When the database refuses; nothing is changed then.
    pub fn mark_unscreened(
        &self,
        marked: &[(Unscreened, Vec<MarkHash>)],
    ) -> Result<(), StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        for (version, marks) in marked {
            let (study_id, contribution_id, number) = version.place;
            let place = Place {
                study_id,
                contribution_id,
                number,
            };
            let screened = Screened {
                marks: marks.clone(),
                ..Screened::default()
            };
            insert_screened(&transaction, &place, &screened)?;
        }
        transaction.commit()?;
        Ok(())
    }
}

/// Which contributions have which of these marks, each with the place of the mark, in order.
fn shared(
    connection: &Connection,
    study_id: i64,
    marks: &[MarkHash],
) -> Result<Vec<(i64, usize)>, rusqlite::Error> {
    let mut statement = connection.prepare_cached(
        "SELECT contribution_id FROM likeness WHERE study_id = ?1 AND mark = ?2
         ORDER BY contribution_id DESC LIMIT ?3",
    )?;
    let mut shared = Vec::new();
    for (place, mark) in marks.iter().enumerate() {
        let mut rows = statement.query(params![study_id, mark, MOST_ALIKE])?;
        while let Some(row) = rows.next()? {
            shared.push((row.get(0)?, place));
        }
    }
    shared.sort_unstable();
    Ok(shared)
}

/// Whether the same player sent a contribution; `None` when it is withdrawn, or the one that is mended.
fn is_own(
    connection: &Connection,
    seeker: &Seeker<'_>,
    contribution: i64,
) -> Result<Option<bool>, rusqlite::Error> {
    connection
        .query_row_cached(
            "SELECT coalesce(p.receipt_hash = ?2, 0)
             FROM contribution c JOIN player p ON p.id = c.player_id
             WHERE c.id = ?1 AND c.state <> 'withdrawn' AND c.uuid IS NOT ?3",
            params![
                contribution,
                seeker.receipt_hash,
                seeker.mends.map(Uuid::into_bytes)
            ],
            |row| row.get(0),
        )
        .optional()
}

/// Keeps what was found in a version.
pub(super) fn insert_screened(
    transaction: &Connection,
    place: &Place,
    screened: &Screened,
) -> Result<(), rusqlite::Error> {
    transaction.execute_cached(
        "INSERT INTO screening (contribution_id, number, rules) VALUES (?1, ?2, ?3)",
        params![place.contribution_id, place.number, screened.rules],
    )?;
    for (position, flag) in (0_i64..).zip(&screened.flags) {
        transaction.execute_cached(
            "INSERT INTO screening_flag (contribution_id, number, position, rule, figure, sentence,
                 holds, places)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
            params![
                place.contribution_id,
                place.number,
                position,
                flag.rule.code(),
                flag.figure,
                flag.sentence,
                flag.holds,
                flag.places.join("\n"),
            ],
        )?;
    }
    let mut statement = transaction.prepare_cached(
        "INSERT INTO likeness (study_id, mark, contribution_id) VALUES (?1, ?2, ?3)
         ON CONFLICT DO NOTHING",
    )?;
    for mark in &screened.marks {
        statement.execute(params![place.study_id, mark, place.contribution_id])?;
    }
    Ok(())
}

fn flag(row: &Row<'_>) -> Result<Result<ScreeningFlag, StoreError>, rusqlite::Error> {
    let code: String = row.get(0)?;
    let Some(rule) = Rule::from_code(&code) else {
        return Ok(Err(StoreError::Unreadable(format!("rule `{code}`"))));
    };
    let places: String = row.get(4)?;
    Ok(Ok(ScreeningFlag {
        rule,
        figure: row.get(1)?,
        sentence: row.get(2)?,
        holds: row.get(3)?,
        places: places.lines().map(str::to_owned).collect(),
    }))
}
