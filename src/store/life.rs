//! The life of a study: its versions, and when recruiting opened and closed.

use super::submit::study_id;
use super::{Store, StoreError};
use crate::vocabulary::StudyState;
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};

/// A study with every version of its document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredStudy {
    /// Its short name.
    pub slug: String,
    /// Where it stands.
    pub state: StudyState,
    /// When recruiting opened, in milliseconds since the Unix epoch; `None` in a draft.
    pub opened_at_ms: Option<i64>,
    /// When it closed.
    pub closed_at_ms: Option<i64>,
    /// SHA-256 of the analysis plan when recruiting opened.
    pub plan_hash: Option<[u8; 32]>,
    /// Every version, the first one first; never empty.
    pub protocols: Vec<StoredProtocol>,
}

/// One version of a study's document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredProtocol {
    /// The protocol's own number.
    pub version: i64,
    /// The document, byte for byte.
    pub document: Vec<u8>,
    /// When it came into force, in milliseconds since the Unix epoch; in a draft, when it was last
    /// changed.
    pub made_at_ms: i64,
    /// Why it was made; `None` for the first.
    pub reason: Option<String>,
}

/// A further version on its way in.
#[derive(Clone, Copy, Debug)]
pub struct NewProtocol<'a> {
    /// Its number, one more than that of the newest.
    pub version: i64,
    /// The document.
    pub document: &'a [u8],
    /// When it comes into force.
    pub made_at_ms: i64,
    /// Why.
    pub reason: &'a str,
}

impl Store {
    /// Adds a study as a draft, with the first version of its document.
    ///
    /// # Errors
    /// [`StoreError::StudyExists`] when the name is taken.
    pub fn add_study(&self, slug: &str, document: &[u8], now_ms: i64) -> Result<(), StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        if study_id(&transaction, slug)?.is_some() {
            return Err(StoreError::StudyExists(slug.to_owned()));
        }
        transaction.execute(
            "INSERT INTO study (slug, added_at_ms) VALUES (?1, ?2)",
            params![slug, now_ms],
        )?;
        transaction.execute(
            "INSERT INTO protocol (study_id, version, document, made_at_ms) VALUES (?1, 1, ?2, ?3)",
            params![transaction.last_insert_rowid(), document, now_ms],
        )?;
        transaction.commit()?;
        Ok(())
    }

    /// Puts another document in the place of a draft's. `false` when there is no such draft.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn replace_draft(
        &self,
        slug: &str,
        document: &[u8],
        now_ms: i64,
    ) -> Result<bool, StoreError> {
        let replaced = self.lock().execute(
            "UPDATE protocol SET document = ?2, made_at_ms = ?3
             WHERE study_id = (SELECT id FROM study WHERE slug = ?1 AND state = 'draft')",
            params![slug, document, now_ms],
        )?;
        Ok(0 < replaced)
    }

    /// Adds a version to a study that is no draft. `false` when there is none, or when the number
    /// is not the next one.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn add_protocol(&self, slug: &str, new: &NewProtocol<'_>) -> Result<bool, StoreError> {
        let added = self.lock().execute(
            "INSERT INTO protocol (study_id, version, document, made_at_ms, reason)
             SELECT id, ?2, ?3, ?4, ?5 FROM study
             WHERE slug = ?1 AND state <> 'draft'
               AND ?2 = (SELECT max(version) + 1 FROM protocol WHERE study_id = study.id)",
            params![slug, new.version, new.document, new.made_at_ms, new.reason],
        )?;
        Ok(added == 1)
    }

    /// Opens recruiting of a draft; its version is in force from now on. `false` when there is no
    /// such draft.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn open_recruiting(
        &self,
        slug: &str,
        plan_hash: &[u8; 32],
        now_ms: i64,
    ) -> Result<bool, StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let opened = transaction.execute(
            "UPDATE study SET state = 'recruiting', opened_at_ms = ?2, plan_hash = ?3
             WHERE slug = ?1 AND state = 'draft'",
            params![slug, now_ms, plan_hash],
        )?;
        if opened == 1 {
            transaction.execute(
                "UPDATE protocol SET made_at_ms = ?2
                 WHERE study_id = (SELECT id FROM study WHERE slug = ?1)",
                params![slug, now_ms],
            )?;
        }
        transaction.commit()?;
        Ok(opened == 1)
    }

    /// Keeps the plan's hash of a study that was opened before hashes were kept.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn keep_plan_hash(&self, slug: &str, plan_hash: &[u8; 32]) -> Result<(), StoreError> {
        self.lock().execute(
            "UPDATE study SET plan_hash = ?2
             WHERE slug = ?1 AND state <> 'draft' AND plan_hash IS NULL",
            params![slug, plan_hash],
        )?;
        Ok(())
    }

    /// Closes recruiting. `false` when it is not open.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn close_recruiting(&self, slug: &str, now_ms: i64) -> Result<bool, StoreError> {
        let closed = self.lock().execute(
            "UPDATE study SET state = 'closed', closed_at_ms = ?2
             WHERE slug = ?1 AND state = 'recruiting'",
            params![slug, now_ms],
        )?;
        Ok(closed == 1)
    }

    /// When each player of a study first sent something, whatever became of it, in milliseconds since
    /// the Unix epoch, ascending.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn arrivals(&self, slug: &str) -> Result<Vec<i64>, StoreError> {
        let connection = self.read();
        let mut statement = connection.prepare(
            "SELECT min(v.received_at_ms) FROM version v
             JOIN contribution c ON c.id = v.contribution_id
             JOIN study s ON s.id = c.study_id
             WHERE s.slug = ?1 GROUP BY c.player_id ORDER BY 1",
        )?;
        let rows = statement.query_map([slug], |row| row.get(0))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Every study, in the order they were added.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn studies(&self) -> Result<Vec<StoredStudy>, StoreError> {
        let mut connection = self.read();
        let transaction = connection.transaction()?;
        let mut statement = transaction.prepare(&select("ORDER BY id"))?;
        let rows = statement.query_map([], |row| Ok((row.get(0)?, stored(row)?)))?;
        let mut studies: Vec<StoredStudy> = Vec::new();
        for row in rows {
            let (id, study): (i64, Result<StoredStudy, StoreError>) = row?;
            studies.push(StoredStudy {
                protocols: protocols(&transaction, id)?,
                ..study?
            });
        }
        Ok(studies)
    }

    /// One study; `None` when there is none of this name.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn stored_study(&self, slug: &str) -> Result<Option<StoredStudy>, StoreError> {
        let mut connection = self.read();
        let transaction = connection.transaction()?;
        let found = transaction
            .query_row(&select("WHERE slug = ?1"), [slug], |row| {
                Ok((row.get(0)?, stored(row)?))
            })
            .optional()?;
        let Some((id, study)) = found else {
            return Ok(None);
        };
        Ok(Some(StoredStudy {
            protocols: protocols(&transaction, id)?,
            ..study?
        }))
    }
}

fn select(which: &str) -> String {
    format!("SELECT id, slug, state, opened_at_ms, closed_at_ms, plan_hash FROM study {which}")
}

/// A study without its versions.
fn stored(row: &Row<'_>) -> Result<Result<StoredStudy, StoreError>, rusqlite::Error> {
    let code: String = row.get(2)?;
    let Some(state) = StudyState::from_code(&code) else {
        return Ok(Err(StoreError::Unreadable(format!("study state `{code}`"))));
    };
    Ok(Ok(StoredStudy {
        slug: row.get(1)?,
        state,
        opened_at_ms: row.get(3)?,
        closed_at_ms: row.get(4)?,
        plan_hash: row.get(5)?,
        protocols: Vec::new(),
    }))
}

fn protocols(connection: &Connection, study_id: i64) -> Result<Vec<StoredProtocol>, StoreError> {
    let mut statement = connection.prepare(
        "SELECT version, document, made_at_ms, reason FROM protocol
         WHERE study_id = ?1 ORDER BY version",
    )?;
    let rows = statement.query_map([study_id], |row| {
        Ok(StoredProtocol {
            version: row.get(0)?,
            document: row.get(1)?,
            made_at_ms: row.get(2)?,
            reason: row.get(3)?,
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

#[cfg(test)]
mod tests;
