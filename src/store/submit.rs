//! Taking a contribution in.

use super::batch::{Closing, close_when_due};
use super::cached::Cached as _;
use super::consent;
use super::invitations::{InvitationHash, use_once};
use super::screened::{Screened, insert_screened};
use super::{Store, StoreError, Writing};
use crate::vocabulary::{ConsentScope, CorrectionReason, State};
use rusqlite::{Connection, OptionalExtension, params};
use uuid::Uuid;

/// A checked contribution on its way in.
#[derive(Debug)]
pub struct NewContribution<'a> {
    /// Short name of its study.
    pub study: &'a str,
    /// A fresh identifier.
    pub uuid: Uuid,
    /// Who sends it.
    pub sender: Sender,
    /// The invitation it is let in with, where the study needs one.
    pub invitation: Option<InvitationHash>,
    /// The request's key, when it has one.
    pub request: Option<RequestKey>,
    /// Accepted or held.
    pub state: State,
    /// What was sent.
    pub version: Version<'a>,
    /// Most pairs that one player may send.
    pub pairs_per_player: i64,
    /// Most bytes of everything that one player may send.
    pub bytes_per_player: i64,
    /// How many players who come or go close a batch.
    pub batch_players: usize,
}

/// What was sent, with the columns it is selected by.
#[derive(Clone, Copy, Debug)]
pub struct Version<'a> {
    /// When it came.
    pub received_at_ms: i64,
    /// The protocol it was checked against.
    pub protocol_version: i64,
    /// What the player agreed to.
    pub consent_scope: ConsentScope,
    /// The wording that was agreed to.
    pub consent_text_version: &'a str,
    /// SHA-256 of its words.
    pub consent_text_sha256: [u8; 32],
    /// The plan it names.
    pub plan_code: Option<&'a str>,
    /// The gap.
    pub gap_nanograms: i64,
    /// The document, byte for byte.
    pub document: &'a [u8],
    /// What screening found in it.
    pub screened: &'a Screened,
}

/// Who sends a contribution.
#[derive(Clone, Copy, Debug)]
pub enum Sender {
    /// Somebody new, with a fresh identifier and the hash of the receipt made for it.
    New {
        /// The player's identifier.
        player: Uuid,
        /// SHA-256 of the receipt.
        receipt_hash: [u8; 32],
    },
    /// Whoever holds the receipt with this hash.
    Holder {
        /// SHA-256 of the receipt.
        receipt_hash: [u8; 32],
    },
}

impl Sender {
    /// SHA-256 of the receipt.
    #[must_use]
    pub const fn receipt_hash(&self) -> [u8; 32] {
        match self {
            Self::New { receipt_hash, .. } | Self::Holder { receipt_hash } => *receipt_hash,
        }
    }
}

/// What makes two requests the same.
#[derive(Clone, Copy, Debug)]
pub struct RequestKey {
    /// SHA-256 of the Idempotency-Key.
    pub key_hash: [u8; 32],
    /// SHA-256 of what was sent under it.
    pub request_hash: [u8; 32],
}

/// In place of a request's hash, once what was sent was erased: a trigger writes it.
const ERASED: [u8; 32] = [0; 32];

/// What became of a contribution.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Recorded {
    /// Stored and synced.
    Stored {
        /// The contribution.
        contribution: Uuid,
        /// Its player.
        player: Uuid,
        /// The public batch that this one closed.
        closed_batch: Option<i64>,
    },
    /// This very request was stored before; nothing was stored now.
    Repeated {
        /// The contribution stored then.
        contribution: Uuid,
        /// Its player.
        player: Uuid,
    },
    /// The key was used before for what was withdrawn and erased since, so that nobody can tell whether
    /// this is the same.
    Erased,
    /// The key was used before for something else.
    KeyUsedOtherwise,
    /// Nobody here holds such a receipt.
    ReceiptUnknown,
    /// There is no such invitation, or it was used up or ended.
    InvitationUnknown,
    /// The holder of the receipt has sent as many pairs as one player may.
    TooManyPairs,
    /// No study of this name.
    StudyUnknown,
}

impl Store {
    /// What became of an earlier request with this key: [`Recorded::Repeated`], [`Recorded::Erased`]
    /// or [`Recorded::KeyUsedOtherwise`]; `None` when there was none.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn earlier(
        &self,
        study: &str,
        request: &RequestKey,
    ) -> Result<Option<Recorded>, StoreError> {
        let connection = self.read();
        let Some(study_id) = study_id(&connection, study)? else {
            return Ok(None);
        };
        Ok(earlier(&connection, study_id, request)?)
    }
}

impl Writing<'_> {
    /// Stores a contribution with its idempotency key, and closes the public batch when enough new
    /// players wait for it.
    ///
    /// # Errors
    /// When the database refuses; nothing is stored then.
    pub fn submit(&self, new: &NewContribution<'_>) -> Result<Recorded, StoreError> {
        let transaction = self.connection;
        let Some(study_id) = study_id(transaction, new.study)? else {
            return Ok(Recorded::StudyUnknown);
        };
        if let Some(request) = &new.request
            && let Some(earlier) = earlier(transaction, study_id, request)?
        {
            return Ok(earlier);
        }
        if let Some(invitation) = &new.invitation
            && !use_once(transaction, study_id, invitation)?
        {
            return Ok(Recorded::InvitationUnknown);
        }
        let Some((player_id, player)) = player(transaction, study_id, &new.sender)? else {
            return Ok(Recorded::ReceiptUnknown);
        };
        let n_pairs: i64 = transaction.query_row_cached(
            "SELECT count(*) FROM contribution WHERE player_id = ?1",
            [player_id],
            |row| row.get(0),
        )?;
        let n_bytes = bytes_of_player(transaction, player_id)? + bytes(new.version.document);
        if new.pairs_per_player <= n_pairs || new.bytes_per_player < n_bytes {
            return Ok(Recorded::TooManyPairs);
        }
        let contribution_id = insert(transaction, study_id, player_id, new)?;
        if let Some(request) = &new.request {
            transaction.execute_cached(
                "INSERT INTO idempotency (study_id, key_hash, request_hash, contribution_id) VALUES (?1, ?2, ?3, ?4)",
                params![study_id, request.key_hash, request.request_hash, contribution_id],
            )?;
        }
        let closed_batch = close_when_due(
            transaction,
            Closing {
                study_id,
                now_ms: new.version.received_at_ms,
            },
            new.batch_players,
        )?;
        if closed_batch.is_some() {
            self.erases.set(true);
        }
        Ok(Recorded::Stored {
            contribution: new.uuid,
            player,
            closed_batch,
        })
    }
}

pub(super) fn study_id(
    transaction: &Connection,
    slug: &str,
) -> Result<Option<i64>, rusqlite::Error> {
    transaction
        .query_row_cached("SELECT id FROM study WHERE slug = ?1", [slug], |row| {
            row.get(0)
        })
        .optional()
}

fn earlier(
    transaction: &Connection,
    study_id: i64,
    request: &RequestKey,
) -> Result<Option<Recorded>, rusqlite::Error> {
    transaction
        .query_row_cached(
            "SELECT i.request_hash, c.uuid, p.uuid
             FROM idempotency i
             JOIN contribution c ON c.id = i.contribution_id
             JOIN player p ON p.id = c.player_id
             WHERE i.study_id = ?1 AND i.key_hash = ?2",
            params![study_id, request.key_hash],
            |row| {
                let request_hash: [u8; 32] = row.get(0)?;
                Ok(if request_hash == ERASED {
                    Recorded::Erased
                } else if request_hash == request.request_hash {
                    Recorded::Repeated {
                        contribution: Uuid::from_bytes(row.get(1)?),
                        player: Uuid::from_bytes(row.get(2)?),
                    }
                } else {
                    Recorded::KeyUsedOtherwise
                })
            },
        )
        .optional()
}

fn player(
    transaction: &Connection,
    study_id: i64,
    sender: &Sender,
) -> Result<Option<(i64, Uuid)>, rusqlite::Error> {
    match sender {
        Sender::New {
            player,
            receipt_hash,
        } => {
            transaction.execute_cached(
                "INSERT INTO player (uuid, study_id, receipt_hash) VALUES (?1, ?2, ?3)",
                params![player.as_bytes(), study_id, receipt_hash],
            )?;
            Ok(Some((transaction.last_insert_rowid(), *player)))
        }
        Sender::Holder { receipt_hash } => transaction
            .query_row_cached(
                "SELECT id, uuid FROM player WHERE study_id = ?1 AND receipt_hash = ?2",
                params![study_id, receipt_hash],
                |row| Ok((row.get(0)?, Uuid::from_bytes(row.get(1)?))),
            )
            .optional(),
    }
}

fn insert(
    transaction: &Connection,
    study_id: i64,
    player_id: i64,
    new: &NewContribution<'_>,
) -> Result<i64, rusqlite::Error> {
    transaction.execute_cached(
        "INSERT INTO contribution (uuid, study_id, player_id, state) VALUES (?1, ?2, ?3, ?4)",
        params![new.uuid.as_bytes(), study_id, player_id, new.state.code()],
    )?;
    let contribution_id = transaction.last_insert_rowid();
    insert_version(
        transaction,
        &Place {
            study_id,
            contribution_id,
            number: 1,
        },
        &new.version,
        None,
    )?;
    Ok(contribution_id)
}

/// Bytes of everything that a player sent and that was not erased.
pub(super) fn bytes_of_player(
    transaction: &Connection,
    player_id: i64,
) -> Result<i64, rusqlite::Error> {
    transaction.query_row_cached(
        "SELECT coalesce(sum(length(v.document)), 0) FROM version v
         JOIN contribution c ON c.id = v.contribution_id WHERE c.player_id = ?1",
        [player_id],
        |row| row.get(0),
    )
}

pub(super) fn bytes(document: &[u8]) -> i64 {
    i64::try_from(document.len()).unwrap_or(i64::MAX / 2)
}

/// Where a version belongs.
pub(super) struct Place {
    pub(super) study_id: i64,
    pub(super) contribution_id: i64,
    pub(super) number: i64,
}

pub(super) fn insert_version(
    transaction: &Connection,
    place: &Place,
    version: &Version<'_>,
    reason: Option<CorrectionReason>,
) -> Result<(), rusqlite::Error> {
    transaction.execute_cached(
        "INSERT INTO version (contribution_id, number, study_id, received_at_ms, reason,
             protocol_version, consent_scope, consent_text_version, plan_code, gap_nanograms, document)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        params![
            place.contribution_id,
            place.number,
            place.study_id,
            version.received_at_ms,
            reason.map(CorrectionReason::code),
            version.protocol_version,
            version.consent_scope.code(),
            version.consent_text_version,
            version.plan_code,
            version.gap_nanograms,
            version.document,
        ],
    )?;
    consent::agreed(transaction, place.contribution_id, version)?;
    insert_screened(transaction, place, version.screened)
}
