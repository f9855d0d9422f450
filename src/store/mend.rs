//! What the holder of a receipt may do: see, mend and withdraw what was sent.

use super::batch::{Closing, close_hidden, close_when_due};
use super::consent;
use super::erase::erase;
use super::read::state;
use super::submit::{Place, Version, bytes, bytes_of_player, insert_version, study_id};
use super::{Store, StoreError, Writing};
use crate::vocabulary::{CorrectionReason, State};
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};
use uuid::Uuid;

/// A contribution as its player sees it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OwnContribution {
    /// Its identifier.
    pub uuid: Uuid,
    /// Its state.
    pub state: State,
    /// When it was withdrawn, in milliseconds since the Unix epoch.
    pub withdrawn_at_ms: Option<i64>,
    /// Whether no public figure counts it any more, or ever did, since it was withdrawn.
    pub removed: bool,
    /// Every version, the first one first.
    pub versions: Vec<StoredVersion>,
}

/// One version of a contribution.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredVersion {
    /// Counted from 1.
    pub number: i64,
    /// When it came, in milliseconds since the Unix epoch.
    pub received_at_ms: i64,
    /// Why it was sent; `None` for the first.
    pub reason: Option<CorrectionReason>,
    /// The public batch that began to count it.
    pub batch: Option<i64>,
    /// The document, byte for byte; `None` once it was erased.
    pub document: Option<Vec<u8>>,
}

/// A receipt's hash with one of its contributions.
#[derive(Clone, Copy, Debug)]
pub struct Held<'a> {
    /// Short name of the study.
    pub study: &'a str,
    /// SHA-256 of the receipt.
    pub receipt_hash: [u8; 32],
    /// The contribution.
    pub contribution: Uuid,
}

/// How much one contribution and one player may send.
#[derive(Clone, Copy, Debug)]
pub struct Most {
    /// Versions of one contribution.
    pub versions: i64,
    /// Bytes of everything of one player.
    pub bytes: i64,
}

/// What became of a correction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mended {
    /// Stored as a further version and synced.
    Stored,
    /// It is what was sent last; nothing was stored.
    Unchanged,
    /// The contribution was withdrawn.
    Withdrawn,
    /// There are as many versions as one contribution may have.
    TooManyVersions,
    /// The receipt's holder has no such contribution.
    Unknown,
}

/// What became of a withdrawal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Withdrawn {
    /// It is withdrawn, now or before.
    Done {
        /// The public batch that this one closed.
        closed_batch: Option<i64>,
    },
    /// The receipt's holder has no such contribution.
    Unknown,
}

impl Store {
    /// Everything the holder of a receipt sent, in the order it came; `None` when nobody holds it.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn own(
        &self,
        study: &str,
        receipt_hash: &[u8; 32],
    ) -> Result<Option<Vec<OwnContribution>>, StoreError> {
        let mut connection = self.read();
        let transaction = connection.transaction()?;
        let player: Option<i64> = transaction
            .query_row(
                "SELECT p.id FROM player p JOIN study s ON s.id = p.study_id
                 WHERE s.slug = ?1 AND p.receipt_hash = ?2",
                params![study, receipt_hash],
                |row| row.get(0),
            )
            .optional()?;
        let Some(player) = player else {
            return Ok(None);
        };
        let mut statement = transaction.prepare(
            "SELECT id, uuid, state, withdrawn_at_ms, removed IS NOT NULL
             FROM contribution WHERE player_id = ?1 ORDER BY id",
        )?;
        let rows =
            statement.query_map([player], |row| Ok((row.get(0)?, own_contribution(row)?)))?;
        let mut own: Vec<OwnContribution> = Vec::new();
        for row in rows {
            let (id, contribution): (i64, Result<OwnContribution, StoreError>) = row?;
            own.push(OwnContribution {
                versions: versions(&transaction, id)?,
                ..contribution?
            });
        }
        Ok(Some(own))
    }

    /// Withdraws a contribution and closes the public batch when enough players have come or gone.
    /// What no public figure counts yet is erased at once, the rest with the batch that takes it
    /// out. Synced to disk when it returns.
    ///
    /// # Errors
    /// When the database refuses; nothing is changed then.
    pub fn withdraw(
        &self,
        held: &Held<'_>,
        now_ms: i64,
        batch_players: usize,
    ) -> Result<Withdrawn, StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let Some(found) = find(&transaction, held)? else {
            return Ok(Withdrawn::Unknown);
        };
        let mut closed_batch = None;
        if found.withdrawn_at_ms.is_none() {
            mark_withdrawn(&transaction, found.contribution_id, now_ms)?;
            closed_batch = close_when_due(
                &transaction,
                Closing {
                    study_id: found.study_id,
                    now_ms,
                },
                batch_players,
            )?;
        }
        transaction.commit()?;
        self.writer.empty_log(&connection);
        Ok(Withdrawn::Done { closed_batch })
    }

    /// Acts on what was withdrawn at or before a time, the consent to rows included, and still
    /// counts. Gives the number of the batch that does, whose figures are not shown; `None` when
    /// nothing waited.
    ///
    /// # Errors
    /// When the database refuses; nothing is changed then.
    pub fn keep_promises(
        &self,
        study: &str,
        now_ms: i64,
        withdrawn_by_ms: i64,
    ) -> Result<Option<i64>, StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let Some(study_id) = study_id(&transaction, study)? else {
            return Ok(None);
        };
        let closing = Closing { study_id, now_ms };
        let number = close_hidden(&transaction, closing, withdrawn_by_ms)?;
        transaction.commit()?;
        if number.is_some() {
            self.writer.empty_log(&connection);
        }
        Ok(number)
    }
}

impl Writing<'_> {
    /// Stores a further version of a contribution. Public figures take it up with the next batch, unless screening holds it: then what was accepted is held.
    ///
    /// # Errors
    /// When the database refuses; nothing is stored then.
    pub fn mend(
        &self,
        held: &Held<'_>,
        version: &Version<'_>,
        reason: CorrectionReason,
        most: Most,
    ) -> Result<Mended, StoreError> {
        let transaction = self.connection;
        let Some(found) = find(transaction, held)? else {
            return Ok(Mended::Unknown);
        };
        if found.withdrawn_at_ms.is_some() {
            return Ok(Mended::Withdrawn);
        }
        let (number, document): (i64, Option<Vec<u8>>) = transaction.query_row(
            "SELECT number, document FROM version WHERE contribution_id = ?1
             ORDER BY number DESC LIMIT 1",
            [found.contribution_id],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        if document.as_deref() == Some(version.document) {
            return Ok(Mended::Unchanged);
        }
        let n_bytes = bytes_of_player(transaction, found.player_id)? + bytes(version.document);
        if most.versions <= number || most.bytes < n_bytes {
            return Ok(Mended::TooManyVersions);
        }
        let place = Place {
            study_id: found.study_id,
            contribution_id: found.contribution_id,
            number: number + 1,
        };
        insert_version(transaction, &place, version, Some(reason))?;
        if version.screened.state() == State::Held {
            hold(transaction, found.contribution_id)?;
        }
        Ok(Mended::Stored)
    }
}

struct Found {
    study_id: i64,
    player_id: i64,
    contribution_id: i64,
    withdrawn_at_ms: Option<i64>,
}

fn find(transaction: &Connection, held: &Held<'_>) -> Result<Option<Found>, rusqlite::Error> {
    transaction
        .query_row(
            "SELECT s.id, p.id, c.id, c.withdrawn_at_ms
             FROM contribution c
             JOIN player p ON p.id = c.player_id
             JOIN study s ON s.id = c.study_id
             WHERE s.slug = ?1 AND p.receipt_hash = ?2 AND c.uuid = ?3",
            params![held.study, held.receipt_hash, held.contribution.as_bytes()],
            |row| {
                Ok(Found {
                    study_id: row.get(0)?,
                    player_id: row.get(1)?,
                    contribution_id: row.get(2)?,
                    withdrawn_at_ms: row.get(3)?,
                })
            },
        )
        .optional()
}

/// What was accepted waits for the host; what the host decides on already goes on as it was.
fn hold(transaction: &Connection, contribution_id: i64) -> Result<(), rusqlite::Error> {
    transaction.execute(
        "UPDATE contribution SET state = 'held' WHERE id = ?1 AND state = 'accepted'",
        [contribution_id],
    )?;
    Ok(())
}

pub(super) fn mark_withdrawn(
    transaction: &Connection,
    contribution_id: i64,
    now_ms: i64,
) -> Result<(), rusqlite::Error> {
    transaction.execute(
        "UPDATE contribution SET state = 'withdrawn', withdrawn_at_ms = ?2,
             removed = CASE WHEN EXISTS (SELECT 1 FROM version v
                                         WHERE v.contribution_id = ?1 AND v.batch IS NOT NULL)
                       THEN NULL ELSE 0 END
         WHERE id = ?1",
        params![contribution_id, now_ms],
    )?;
    consent::ended(transaction, contribution_id, now_ms)?;
    let is_removed: bool = transaction.query_row(
        "SELECT removed IS NOT NULL FROM contribution WHERE id = ?1",
        [contribution_id],
        |row| row.get(0),
    )?;
    if is_removed {
        erase(transaction, contribution_id)?;
    }
    Ok(())
}

pub(super) fn own_contribution(
    row: &Row<'_>,
) -> Result<Result<OwnContribution, StoreError>, rusqlite::Error> {
    let state = match state(&row.get::<_, String>(2)?) {
        Ok(state) => state,
        Err(error) => return Ok(Err(error)),
    };
    Ok(Ok(OwnContribution {
        uuid: Uuid::from_bytes(row.get(1)?),
        state,
        withdrawn_at_ms: row.get(3)?,
        removed: row.get(4)?,
        versions: Vec::new(),
    }))
}

pub(super) fn versions(
    transaction: &Connection,
    contribution_id: i64,
) -> Result<Vec<StoredVersion>, StoreError> {
    let mut statement = transaction.prepare(
        "SELECT number, received_at_ms, reason, batch, document
         FROM version WHERE contribution_id = ?1 ORDER BY number",
    )?;
    let rows = statement.query_map([contribution_id], |row| {
        let reason: Option<String> = row.get(2)?;
        Ok(StoredVersion {
            number: row.get(0)?,
            received_at_ms: row.get(1)?,
            reason: reason.as_deref().and_then(CorrectionReason::from_code),
            batch: row.get(3)?,
            document: row.get(4)?,
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}
