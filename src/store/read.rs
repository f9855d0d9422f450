//! Studies, and what is kept of contributions.

use super::submit::study_id;
use super::{Store, StoreError};
use crate::vocabulary::State;
use rusqlite::{OptionalExtension, Row, params};
use uuid::Uuid;

/// A study as the host wrote it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredStudy {
    /// Its short name.
    pub slug: String,
    /// Its document, byte for byte.
    pub document: Vec<u8>,
}

/// A contribution as it was sent, with what the store knows of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredContribution {
    /// Its identifier.
    pub uuid: Uuid,
    /// Its player's identifier.
    pub player: Uuid,
    /// When it came, in milliseconds since the Unix epoch.
    pub received_at_ms: i64,
    /// Its state.
    pub state: State,
    /// The public batch that first counted it.
    pub batch: Option<i64>,
    /// The document, byte for byte.
    pub document: Vec<u8>,
}

/// A closed public batch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Batch {
    /// Counted from 1.
    pub number: i64,
    /// When it closed, in milliseconds since the Unix epoch.
    pub closed_at_ms: i64,
}

impl Store {
    /// Adds a study.
    ///
    /// # Errors
    /// [`StoreError::StudyExists`] when the name is taken.
    pub fn add_study(&self, slug: &str, document: &[u8], now_ms: i64) -> Result<(), StoreError> {
        let added = self.lock().execute(
            "INSERT INTO study (slug, document, added_at_ms) VALUES (?1, ?2, ?3) ON CONFLICT DO NOTHING",
            params![slug, document, now_ms],
        )?;
        if added == 0 {
            return Err(StoreError::StudyExists(slug.to_owned()));
        }
        Ok(())
    }

    /// Every study, in the order they were added.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn studies(&self) -> Result<Vec<StoredStudy>, StoreError> {
        let connection = self.lock();
        let mut statement = connection.prepare("SELECT slug, document FROM study ORDER BY id")?;
        let rows = statement.query_map([], |row| {
            Ok(StoredStudy {
                slug: row.get(0)?,
                document: row.get(1)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// What the public may see the sum of: the newest batch with every contribution it counts, in
    /// the order they came. `None` before the first batch. Both are read in one transaction.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn counted(
        &self,
        slug: &str,
    ) -> Result<Option<(Batch, Vec<StoredContribution>)>, StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction()?;
        let Some(study_id) = study_id(&transaction, slug)? else {
            return Ok(None);
        };
        let batch = transaction
            .query_row(
                "SELECT number, closed_at_ms FROM batch WHERE study_id = ?1 ORDER BY number DESC LIMIT 1",
                [study_id],
                |row| {
                    Ok(Batch {
                        number: row.get(0)?,
                        closed_at_ms: row.get(1)?,
                    })
                },
            )
            .optional()?;
        let Some(batch) = batch else { return Ok(None) };
        let mut statement = transaction.prepare(&select(
            "c.study_id = ?1 AND c.state = 'accepted' AND c.batch IS NOT NULL",
        ))?;
        let rows = statement.query_map([study_id], stored)?;
        let contributions = rows.map(|row| row?).collect::<Result<_, StoreError>>()?;
        Ok(Some((batch, contributions)))
    }

    /// Every contribution of a study in any state, in the order they came.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn all_contributions(&self, slug: &str) -> Result<Vec<StoredContribution>, StoreError> {
        let connection = self.lock();
        let mut statement = connection.prepare(&select("s.slug = ?1"))?;
        let rows = statement.query_map([slug], stored)?;
        rows.map(|row| row?).collect()
    }

    /// How many contributions there are, in any state. Also tells that the database answers.
    ///
    /// # Errors
    /// When it does not.
    pub fn count_contributions(&self) -> Result<i64, StoreError> {
        Ok(self
            .lock()
            .query_row("SELECT count(*) FROM contribution", [], |row| row.get(0))?)
    }
}

fn select(condition: &str) -> String {
    format!(
        "SELECT c.uuid, p.uuid, c.received_at_ms, c.state, c.batch, c.document
         FROM contribution c
         JOIN player p ON p.id = c.player_id
         JOIN study s ON s.id = c.study_id
         WHERE {condition}
         ORDER BY c.id"
    )
}

fn stored(row: &Row<'_>) -> Result<Result<StoredContribution, StoreError>, rusqlite::Error> {
    let state: String = row.get(3)?;
    let Some(state) = State::from_code(&state) else {
        return Ok(Err(StoreError::Unreadable(format!("state `{state}`"))));
    };
    Ok(Ok(StoredContribution {
        uuid: Uuid::from_bytes(row.get(0)?),
        player: Uuid::from_bytes(row.get(1)?),
        received_at_ms: row.get(2)?,
        state,
        batch: row.get(4)?,
        document: row.get(5)?,
    }))
}
