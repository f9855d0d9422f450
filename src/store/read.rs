//! What is kept of contributions.

use super::plans::{plan_sequence, planned, sequence};
use super::submit::study_id;
use super::{Store, StoreError};
use crate::vocabulary::{Sequence, State};
use rusqlite::{Connection, OptionalExtension, Row};
use uuid::Uuid;

/// A contribution as it was sent, with what the store knows of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredContribution {
    /// Its identifier.
    pub uuid: Uuid,
    /// Its player's identifier.
    pub player: Uuid,
    /// When its first version came, in milliseconds since the Unix epoch.
    pub received_at_ms: i64,
    /// Its state.
    pub state: State,
    /// The public batch that first counted it.
    pub batch: Option<i64>,
    /// Number of the version asked for.
    pub version: i64,
    /// The document of the version asked for, byte for byte.
    pub document: Vec<u8>,
    /// The document of the first version, where that is another one.
    pub first_document: Option<Vec<u8>>,
    /// Whether it counts as played to a plan.
    pub planned: bool,
    /// The order drawn for the plan it names, when there is such a plan.
    pub plan_sequence: Option<Sequence>,
}

/// A closed public batch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Batch {
    /// Counted from 1.
    pub number: i64,
    /// When it closed, in milliseconds since the Unix epoch.
    pub closed_at_ms: i64,
    /// Whether its figures may be shown. They may not when it only took out withdrawn sessions.
    pub shown: bool,
    /// The protocol version in force when it closed.
    pub protocol_version: i64,
}

/// What a batch counts, while it is read.
#[derive(Debug)]
pub struct Counted<'a> {
    transaction: &'a Connection,
    study_id: i64,
    batch: Batch,
}

impl Counted<'_> {
    /// The batch.
    #[must_use]
    pub const fn batch(&self) -> Batch {
        self.batch
    }

    /// Gives every contribution that counts, in the order they came, in the newest version that
    /// counts. What was withdrawn, held or declined counts until a batch takes it out.
    ///
    /// # Errors
    /// When the database cannot be read, or `take` fails.
    pub fn each<E: From<StoreError>>(
        &self,
        mut take: impl FnMut(StoredContribution) -> Result<(), E>,
    ) -> Result<(), E> {
        let text = select(Asked::Counted, "c.study_id = ?1 AND c.removed IS NULL");
        let mut statement = self.transaction.prepare(&text).map_err(StoreError::from)?;
        let rows = statement.query_map([self.study_id], stored);
        for row in rows.map_err(StoreError::from)? {
            take(row.map_err(StoreError::from)??)?;
        }
        Ok(())
    }
}

/// Which version of a contribution is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Asked {
    /// The newest that public figures count.
    Counted,
    /// The newest.
    Newest,
}

impl Store {
    /// Gives what the public may see the sum of, as of the newest batch; `None` before the first one.
    /// Everything is read in one transaction.
    ///
    /// # Errors
    /// When the database cannot be read, or `read` fails.
    pub fn counted<T, E: From<StoreError>>(
        &self,
        slug: &str,
        read: impl FnOnce(&Counted<'_>) -> Result<T, E>,
    ) -> Result<Option<T>, E> {
        let mut connection = self.read();
        let transaction = connection.transaction().map_err(StoreError::from)?;
        let study_id = study_id(&transaction, slug).map_err(StoreError::from)?;
        let Some(study_id) = study_id else {
            return Ok(None);
        };
        let batch = newest_batch(&transaction, study_id).map_err(StoreError::from)?;
        let Some(batch) = batch else {
            return Ok(None);
        };
        let counted = Counted {
            transaction: &transaction,
            study_id,
            batch,
        };
        read(&counted).map(Some)
    }

    /// The number of the newest batch of a study; `None` before the first.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn newest_batch(&self, slug: &str) -> Result<Option<i64>, StoreError> {
        let connection = self.read();
        let Some(study_id) = study_id(&connection, slug)? else {
            return Ok(None);
        };
        Ok(newest_batch(&connection, study_id)?.map(|batch| batch.number))
    }

    /// The newest version of every contribution of a study in any state, in the order they came,
    /// except what was erased.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn all_contributions(&self, slug: &str) -> Result<Vec<StoredContribution>, StoreError> {
        let connection = self.read();
        let mut statement = connection.prepare(&select(Asked::Newest, "s.slug = ?1"))?;
        let rows = statement.query_map([slug], stored)?;
        rows.map(|row| row?).collect()
    }

    /// How many contributions a study has, in any state.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn count_of_study(&self, slug: &str) -> Result<i64, StoreError> {
        Ok(self.read().query_row(
            "SELECT count(*) FROM contribution c JOIN study s ON s.id = c.study_id WHERE s.slug = ?1",
            [slug],
            |row| row.get(0),
        )?)
    }

    /// How many contributions there are, in any state. Also tells that the database answers.
    ///
    /// # Errors
    /// When it does not.
    pub fn count_contributions(&self) -> Result<i64, StoreError> {
        Ok(self
            .read()
            .query_row("SELECT count(*) FROM contribution", [], |row| row.get(0))?)
    }
}

fn newest_batch(connection: &Connection, study_id: i64) -> Result<Option<Batch>, rusqlite::Error> {
    connection
        .query_row(
            "SELECT number, closed_at_ms, shown, protocol_version FROM batch
             WHERE study_id = ?1 ORDER BY number DESC LIMIT 1",
            [study_id],
            |row| {
                Ok(Batch {
                    number: row.get(0)?,
                    closed_at_ms: row.get(1)?,
                    shown: row.get(2)?,
                    protocol_version: row.get(3)?,
                })
            },
        )
        .optional()
}

/// Contributions are read as they lie in their table, which is in the order they came: by an index
/// all documents of a study would be sorted.
fn select(asked: Asked, condition: &str) -> String {
    let counts = match asked {
        Asked::Counted => "AND newer.batch IS NOT NULL",
        Asked::Newest => "",
    };
    let (planned, plan_sequence) = (planned(), plan_sequence());
    format!(
        "SELECT c.uuid, p.uuid, first.received_at_ms, c.state,
                (SELECT min(counted.batch) FROM version counted WHERE counted.contribution_id = c.id),
                v.document, v.number,
                CASE WHEN 1 < v.number THEN first.document END,
                {planned}, {plan_sequence}
         FROM contribution c NOT INDEXED
         JOIN player p ON p.id = c.player_id
         JOIN study s ON s.id = c.study_id
         JOIN version first ON first.contribution_id = c.id AND first.number = 1
         JOIN version v ON v.contribution_id = c.id AND v.document IS NOT NULL
              AND v.number = (SELECT max(newer.number) FROM version newer
                              WHERE newer.contribution_id = c.id {counts})
         WHERE {condition}
         ORDER BY c.id"
    )
}

/// A state as it is stored.
pub(super) fn state(code: &str) -> Result<State, StoreError> {
    State::from_code(code).ok_or_else(|| StoreError::Unreadable(format!("state `{code}`")))
}

fn stored(row: &Row<'_>) -> Result<Result<StoredContribution, StoreError>, rusqlite::Error> {
    let state = match state(&row.get::<_, String>(3)?) {
        Ok(state) => state,
        Err(error) => return Ok(Err(error)),
    };
    let drawn: Option<String> = row.get(9)?;
    let plan_sequence = match drawn.as_deref().map(sequence).transpose() {
        Ok(drawn) => drawn,
        Err(error) => return Ok(Err(error)),
    };
    Ok(Ok(StoredContribution {
        uuid: Uuid::from_bytes(row.get(0)?),
        player: Uuid::from_bytes(row.get(1)?),
        received_at_ms: row.get(2)?,
        state,
        batch: row.get(4)?,
        document: row.get(5)?,
        version: row.get(6)?,
        first_document: row.get(7)?,
        planned: row.get(8)?,
        plan_sequence,
    }))
}
