//! What players agreed to: the words behind a name, and their hash.

use super::{Service, ServiceError};
use crate::clock;
use crate::protocol::Study;
use crate::receipt::sha256_of;
use crate::store::StoredConsent;
use crate::wire::own::{Agreed, Consent};

/// SHA-256 of the words of a study's consent text in UTF-8, by which a host can show later which ones
/// were agreed to.
#[must_use]
pub fn consent_hash(study: &Study) -> [u8; 32] {
    sha256_of(study.protocol.consent.text.as_bytes())
}

/// An event of a consent as it is told, to its giver and in the host's own copy.
#[must_use]
pub fn told_consent(stored: &StoredConsent) -> Consent<'_> {
    Consent {
        event: stored.event,
        at: clock::date_time(stored.at_ms),
        agreed: stored.agreed.as_ref().map(|agreed| Agreed {
            scope: agreed.scope,
            text_version: &agreed.text_version,
            text_sha256: agreed.text_sha256.as_ref().map(<[u8; 32]>::as_slice),
            protocol_version: agreed.protocol_version,
        }),
    }
}

impl Service {
    /// Fills in the hashes of what was agreed to before hashes were kept, from the protocol of the
    /// time. Where that does not have the wording, the hash stays unknown.
    pub(super) fn hash_consents(&self) -> Result<(), ServiceError> {
        let mut hashed = Vec::new();
        for wording in self.store.unhashed_consents()? {
            let life = self.life(&wording.study)?;
            let mut history = life.iter().flat_map(|life| &life.history);
            let then = history.find(|then| {
                then.version == wording.protocol_version
                    && then.study.protocol.consent.version == wording.text_version
            });
            if let Some(then) = then {
                let hash = consent_hash(&then.study);
                hashed.push((wording, hash));
            }
        }
        if !hashed.is_empty() {
            self.store.hash_consents(&hashed)?;
        }
        Ok(())
    }
}
