//! What players agreed to, when they changed it and when it ended. Lines are only ever added, and
//! stay when what was sent is erased.

use super::cached::Cached as _;
use super::{Store, StoreError, Version};
use crate::vocabulary::{ConsentEvent, ConsentScope};
use rusqlite::{Connection, Row, TransactionBehavior, params};
use uuid::Uuid;

/// One event of the consent to one contribution.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredConsent {
    /// The contribution.
    pub contribution: Uuid,
    /// Its player.
    pub player: Uuid,
    /// What happened.
    pub event: ConsentEvent,
    /// When, in milliseconds since the Unix epoch.
    pub at_ms: i64,
    /// What was agreed to; `None` when it ended.
    pub agreed: Option<Agreed>,
}

/// What was agreed to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Agreed {
    /// How the sessions may be used.
    pub scope: ConsentScope,
    /// Name of the wording.
    pub text_version: String,
    /// SHA-256 of its words in UTF-8; `None` when they are not known.
    pub text_sha256: Option<[u8; 32]>,
    /// The protocol's version that has the words.
    pub protocol_version: i64,
}

/// A wording that was agreed to before hashes were kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unhashed {
    /// Short name of the study.
    pub study: String,
    /// The protocol's version.
    pub protocol_version: i64,
    /// Name of the wording.
    pub text_version: String,
}

impl Store {
    /// Every event of the consents in a study, in the order they came.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn consents(&self, study: &str) -> Result<Vec<StoredConsent>, StoreError> {
        selected(&self.read(), "s.slug = ?1", &[&study])
    }

    /// Every event of the consent to one contribution, in the order they came.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn consents_to(&self, contribution: Uuid) -> Result<Vec<StoredConsent>, StoreError> {
        selected(&self.read(), "c.uuid = ?1", &[&contribution.as_bytes()])
    }

    /// Wordings whose hash is not kept yet.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn unhashed_consents(&self) -> Result<Vec<Unhashed>, StoreError> {
        let connection = self.read();
        let mut statement = connection.prepare(
            "SELECT DISTINCT s.slug, e.protocol_version, e.text_version
             FROM consent e
             JOIN contribution c ON c.id = e.contribution_id
             JOIN study s ON s.id = c.study_id
             WHERE e.text_sha256 IS NULL AND e.event <> 'ended'",
        )?;
        let rows = statement.query_map([], |row| {
            Ok(Unhashed {
                study: row.get(0)?,
                protocol_version: row.get(1)?,
                text_version: row.get(2)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Keeps the hashes of wordings that were agreed to before hashes were kept.
    ///
    /// # Errors
    /// When the database refuses; nothing is changed then.
    pub fn hash_consents(&self, hashed: &[(Unhashed, [u8; 32])]) -> Result<(), StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        for (wording, hash) in hashed {
            transaction.execute(
                "UPDATE consent SET text_sha256 = ?4
                 WHERE text_sha256 IS NULL AND protocol_version = ?2 AND text_version = ?3
                   AND contribution_id IN (SELECT c.id FROM contribution c
                                             JOIN study s ON s.id = c.study_id WHERE s.slug = ?1)",
                params![
                    wording.study,
                    wording.protocol_version,
                    wording.text_version,
                    hash
                ],
            )?;
        }
        transaction.commit()?;
        Ok(())
    }
}

/// Writes down what a version agrees to, where that is something else than before.
pub(super) fn agreed(
    transaction: &Connection,
    contribution_id: i64,
    version: &Version<'_>,
) -> Result<(), rusqlite::Error> {
    transaction.execute_cached(
        "INSERT INTO consent (contribution_id, event, at_ms, scope, text_version, text_sha256,
             protocol_version)
         SELECT ?1, iif(before.id IS NULL, 'given', 'changed'), ?2, ?3, ?4, ?5, ?6
         FROM (SELECT 1)
         LEFT JOIN consent before ON before.id =
             (SELECT max(id) FROM consent WHERE contribution_id = ?1)
         WHERE before.id IS NULL OR before.scope <> ?3 OR before.text_version <> ?4",
        params![
            contribution_id,
            version.received_at_ms,
            version.consent_scope.code(),
            version.consent_text_version,
            version.consent_text_sha256,
            version.protocol_version,
        ],
    )?;
    Ok(())
}

/// Writes down that a consent ended.
pub(super) fn ended(
    transaction: &Connection,
    contribution_id: i64,
    at_ms: i64,
) -> Result<(), rusqlite::Error> {
    transaction.execute(
        "INSERT INTO consent (contribution_id, event, at_ms) VALUES (?1, 'ended', ?2)",
        [contribution_id, at_ms],
    )?;
    Ok(())
}

fn selected(
    connection: &Connection,
    condition: &str,
    values: &[&dyn rusqlite::ToSql],
) -> Result<Vec<StoredConsent>, StoreError> {
    let mut statement = connection.prepare(&format!(
        "SELECT c.uuid, p.uuid, e.event, e.at_ms, e.scope, e.text_version, e.text_sha256,
                e.protocol_version
         FROM consent e
         JOIN contribution c ON c.id = e.contribution_id
         JOIN player p ON p.id = c.player_id
         JOIN study s ON s.id = c.study_id
         WHERE {condition} ORDER BY e.id"
    ))?;
    let rows = statement.query_map(values, stored)?;
    rows.map(|row| row?).collect()
}

fn stored(row: &Row<'_>) -> Result<Result<StoredConsent, StoreError>, rusqlite::Error> {
    let (event, scope): (String, Option<String>) = (row.get(2)?, row.get(4)?);
    let Some(event) = ConsentEvent::from_code(&event) else {
        return Ok(Err(StoreError::Unreadable(format!("consent `{event}`"))));
    };
    let agreed = match scope.as_deref().map(ConsentScope::from_code) {
        None => None,
        Some(None) => return Ok(Err(StoreError::Unreadable("scope of a consent".to_owned()))),
        Some(Some(scope)) => Some(Agreed {
            scope,
            text_version: row.get(5)?,
            text_sha256: row.get(6)?,
            protocol_version: row.get(7)?,
        }),
    };
    Ok(Ok(StoredConsent {
        contribution: Uuid::from_bytes(row.get(0)?),
        player: Uuid::from_bytes(row.get(1)?),
        event,
        at_ms: row.get(3)?,
        agreed,
    }))
}
