//! Invitations: who may send to a study that is not open to everybody.
//!
//! A new player brings a code, once; the use is counted in the transaction that stores the
//! contribution, so that a retried request uses it once. Whoever holds a receipt was let in before.

use super::plans::fresh_code;
use super::{Incoming, Refused, Service, ServiceError};
use crate::plan::Code;
use crate::store::{InvitationHash, StoredInvitation};
use std::collections::BTreeSet;
use std::sync::{PoisonError, RwLock};

/// The studies that need an invitation, by short name.
#[derive(Debug, Default)]
pub(super) struct ByInvitation(RwLock<BTreeSet<String>>);

impl ByInvitation {
    pub(super) fn put(&self, slugs: Vec<String>) {
        let mut known = self.0.write().unwrap_or_else(PoisonError::into_inner);
        *known = slugs.into_iter().collect();
    }
}

impl Service {
    /// Whether a study takes contributions of new players only with an invitation.
    #[must_use]
    pub fn needs_invitation(&self, study: &str) -> bool {
        let known = &self.by_invitation.0;
        known
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .contains(study)
    }

    /// Says whether a study needs an invitation from now on.
    ///
    /// # Errors
    /// [`Refused::StudyUnknown`], or when the store fails.
    pub fn need_invitation(&self, study: &str, needed: bool) -> Result<(), Refused> {
        let store = &self.store;
        let is_known = store.set_by_invitation(study, needed);
        if !is_known.map_err(ServiceError::from)? {
            return Err(Refused::StudyUnknown);
        }
        let slugs = store.by_invitation().map_err(ServiceError::from)?;
        self.by_invitation.put(slugs);
        Ok(())
    }

    /// Makes invitations that can each be used so often. They cannot be read again.
    ///
    /// # Errors
    /// [`Refused::StudyUnknown`], or when the store fails.
    pub fn make_invitations(
        &self,
        study: &str,
        count: u16,
        most_uses: u32,
        now_ms: i64,
    ) -> Result<Vec<Code>, Refused> {
        let codes: Vec<Code> = (0..count).map(|_| fresh_code()).collect();
        let hashes: Vec<InvitationHash> = codes
            .iter()
            .map(|code| self.receipt_key.invitation(study, code.canonical()))
            .collect();
        let added = self
            .store
            .add_invitations(study, &hashes, most_uses.into(), now_ms);
        if added.map_err(ServiceError::from)? {
            Ok(codes)
        } else {
            Err(Refused::StudyUnknown)
        }
    }

    /// The invitations of a study, by number, without their codes.
    ///
    /// # Errors
    /// When the store fails.
    pub fn invitations(&self, study: &str) -> Result<Vec<StoredInvitation>, ServiceError> {
        Ok(self.store.invitations(study)?)
    }

    /// Ends an invitation. `false` when there is none of this number that has not ended.
    ///
    /// # Errors
    /// When the store fails.
    pub fn end_invitation(
        &self,
        study: &str,
        number: i64,
        now_ms: i64,
    ) -> Result<bool, ServiceError> {
        Ok(self.store.end_invitation(study, number, now_ms)?)
    }

    /// What a contribution is let in with; `None` when it needs nothing.
    pub(super) fn invitation(
        &self,
        incoming: &Incoming<'_>,
        typed: Option<&str>,
    ) -> Result<Option<InvitationHash>, Refused> {
        if incoming.receipt.is_some() || !self.needs_invitation(incoming.study) {
            return Ok(None);
        }
        let typed = typed.map(str::trim).filter(|typed| !typed.is_empty());
        let typed = typed.ok_or(Refused::InvitationMissing)?;
        let code = Code::parse(typed).ok_or(Refused::InvitationUnknown)?;
        let study = incoming.study;
        Ok(Some(self.receipt_key.invitation(study, code.canonical())))
    }
}
