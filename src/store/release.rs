//! Releases: added once, never changed.

use super::submit::study_id;
use super::{Store, StoreError};
use crate::release::ReleaseKind;
use rusqlite::{OptionalExtension, Row, TransactionBehavior, params};

/// A release on its way in.
#[derive(Clone, Copy, Debug)]
pub struct NewRelease<'a> {
    /// Short name of its study.
    pub study: &'a str,
    /// Its number, one more than that of the newest.
    pub number: i64,
    /// What it is to the ones before it.
    pub kind: ReleaseKind,
    /// What was wrong with the one before; in a correction only.
    pub reason: Option<&'a str>,
    /// Its permanent address.
    pub address: &'a str,
    /// Its document, byte for byte.
    pub document: &'a [u8],
    /// SHA-256 of the document.
    pub sha256: [u8; 32],
    /// When it is published, in milliseconds since the Unix epoch.
    pub made_at_ms: i64,
}

/// A release without its document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredRelease {
    /// Counted from 1.
    pub number: i64,
    /// What it is to the ones before it.
    pub kind: ReleaseKind,
    /// What was wrong with the one before; in a correction only.
    pub reason: Option<String>,
    /// Its permanent address.
    pub address: String,
    /// Bytes of its document.
    pub bytes: i64,
    /// SHA-256 of its document.
    pub sha256: [u8; 32],
    /// When it was published, in milliseconds since the Unix epoch.
    pub made_at_ms: i64,
}

impl Store {
    /// Adds a release. `false` when there is no such study, or when the number is not the next one;
    /// nothing is added then.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn add_release(&self, new: &NewRelease<'_>) -> Result<bool, StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let added = transaction.execute(
            "INSERT INTO release (study_id, number, kind, reason, address, document, sha256, made_at_ms)
             SELECT id, ?2, ?3, ?4, ?5, ?6, ?7, ?8 FROM study
             WHERE slug = ?1
               AND ?2 = (SELECT coalesce(max(number), 0) + 1 FROM release WHERE study_id = study.id)",
            params![
                new.study,
                new.number,
                new.kind.code(),
                new.reason,
                new.address,
                new.document,
                new.sha256,
                new.made_at_ms
            ],
        )?;
        transaction.commit()?;
        Ok(added == 1)
    }

    /// Every release of a study without its document, the first one first.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn releases(&self, slug: &str) -> Result<Vec<StoredRelease>, StoreError> {
        let connection = self.read();
        let Some(study_id) = study_id(&connection, slug)? else {
            return Ok(Vec::new());
        };
        let mut statement = connection.prepare(
            "SELECT number, kind, reason, address, length(document), sha256, made_at_ms
             FROM release WHERE study_id = ?1 ORDER BY number",
        )?;
        let rows = statement.query_map([study_id], stored)?;
        rows.map(|row| row?).collect()
    }

    /// The document of a release, byte for byte; `None` when there is none.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn release_document(&self, slug: &str, number: i64) -> Result<Option<Vec<u8>>, StoreError> {
        let connection = self.read();
        let Some(study_id) = study_id(&connection, slug)? else {
            return Ok(None);
        };
        let document = connection.query_row(
            "SELECT document FROM release WHERE study_id = ?1 AND number = ?2",
            params![study_id, number],
            |row| row.get(0),
        );
        Ok(document.optional()?)
    }
}

fn stored(row: &Row<'_>) -> Result<Result<StoredRelease, StoreError>, rusqlite::Error> {
    let code: String = row.get(1)?;
    let Some(kind) = ReleaseKind::from_code(&code) else {
        let unreadable = format!("kind of a release `{code}`");
        return Ok(Err(StoreError::Unreadable(unreadable)));
    };
    Ok(Ok(StoredRelease {
        number: row.get(0)?,
        kind,
        reason: row.get(2)?,
        address: row.get(3)?,
        bytes: row.get(4)?,
        sha256: row.get(5)?,
        made_at_ms: row.get(6)?,
    }))
}

#[cfg(test)]
mod tests;
