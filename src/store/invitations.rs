//! Invitations: which studies need one, and how often each was used.

use super::cached::Cached as _;
use super::submit::study_id;
use super::{Store, StoreError};
use rusqlite::{Connection, TransactionBehavior, params};

/// The keyed hash of an invitation's code.
pub type InvitationHash = [u8; 32];

/// An invitation as it is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StoredInvitation {
    /// Its number in its study, from 1.
    pub number: i64,
    /// When it was made.
    pub made_at_ms: i64,
    /// How often it can be used.
    pub most_uses: i64,
    /// How often it was.
    pub uses: i64,
    /// When the host ended it.
    pub ended_at_ms: Option<i64>,
}

impl Store {
    /// Says whether a study needs an invitation of new players. `false` when there is no such study.
    ///
    /// # Errors
    /// When SQLite says no.
    pub fn set_by_invitation(&self, study: &str, needed: bool) -> Result<bool, StoreError> {
        let connection = self.lock();
        let Some(study_id) = study_id(&connection, study)? else {
            return Ok(false);
        };
        let change = if needed {
            "INSERT INTO by_invitation (study_id) VALUES (?1) ON CONFLICT DO NOTHING"
        } else {
            "DELETE FROM by_invitation WHERE study_id = ?1"
        };
        connection.execute(change, [study_id])?;
        Ok(true)
    }

    /// The short names of the studies that need an invitation.
    ///
    /// # Errors
    /// When SQLite says no.
    pub fn by_invitation(&self) -> Result<Vec<String>, StoreError> {
        let connection = self.read();
        let mut select = connection.prepare(
            "SELECT s.slug FROM by_invitation b JOIN study s ON s.id = b.study_id ORDER BY s.slug",
        )?;
        let slugs = select.query_map([], |row| row.get(0))?;
        Ok(slugs.collect::<Result<_, _>>()?)
    }

    /// Adds invitations that can each be used so often. `false` when there is no such study.
    ///
    /// # Errors
    /// When SQLite says no; nothing is added then.
    pub fn add_invitations(
        &self,
        study: &str,
        hashes: &[InvitationHash],
        most_uses: i64,
        now_ms: i64,
    ) -> Result<bool, StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let Some(study_id) = study_id(&transaction, study)? else {
            return Ok(false);
        };
        for hash in hashes {
            transaction.execute(
                "INSERT INTO invitation (study_id, number, code_hash, made_at_ms, most_uses)
                 SELECT ?1, coalesce(max(number), 0) + 1, ?2, ?3, ?4
                 FROM invitation WHERE study_id = ?1",
                params![study_id, hash, now_ms, most_uses],
            )?;
        }
        transaction.commit()?;
        Ok(true)
    }

    /// The invitations of a study, by number.
    ///
    /// # Errors
    /// When SQLite says no.
    pub fn invitations(&self, study: &str) -> Result<Vec<StoredInvitation>, StoreError> {
        let connection = self.read();
        let mut select = connection.prepare(
            "SELECT i.number, i.made_at_ms, i.most_uses, i.uses, i.ended_at_ms
             FROM invitation i JOIN study s ON s.id = i.study_id
             WHERE s.slug = ?1 ORDER BY i.number",
        )?;
        let invitations = select.query_map([study], |row| {
            Ok(StoredInvitation {
                number: row.get(0)?,
                made_at_ms: row.get(1)?,
                most_uses: row.get(2)?,
                uses: row.get(3)?,
                ended_at_ms: row.get(4)?,
            })
        })?;
        Ok(invitations.collect::<Result<_, _>>()?)
    }

    /// Ends an invitation. `false` when there is none of this number that has not ended.
    ///
    /// # Errors
    /// When SQLite says no.
    pub fn end_invitation(
        &self,
        study: &str,
        number: i64,
        now_ms: i64,
    ) -> Result<bool, StoreError> {
        let n_ended = self.lock().execute(
            "UPDATE invitation SET ended_at_ms = ?3
             WHERE number = ?2 AND ended_at_ms IS NULL
               AND study_id = (SELECT id FROM study WHERE slug = ?1)",
            params![study, number, now_ms],
        )?;
        Ok(n_ended == 1)
    }
}

/// Uses an invitation once. `false` when there is none with this hash that can still be used.
pub(super) fn use_once(
    transaction: &Connection,
    study_id: i64,
    hash: &InvitationHash,
) -> Result<bool, rusqlite::Error> {
    let n_used = transaction.execute_cached(
        "UPDATE invitation SET uses = uses + 1
         WHERE study_id = ?1 AND code_hash = ?2 AND uses < most_uses AND ended_at_ms IS NULL",
        params![study_id, hash],
    )?;
    Ok(n_used == 1)
}
