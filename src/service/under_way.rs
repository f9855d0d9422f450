//! Requests with an Idempotency-Key that are being carried out.
//!
//! A program that asks again before the first answer is told so (409). What is stored once is seen to
//! by the store, in the transaction that does the work; this is only so that whoever is impatient does
//! not wait twice.

use super::{Refused, Service};
use crate::receipt::sha256;
use std::collections::BTreeSet;
use std::sync::{Arc, Mutex, PoisonError};

/// Hashes of study and key of every request under way.
type Keys = Arc<Mutex<BTreeSet<[u8; 32]>>>;

/// What is under way.
#[derive(Debug, Default)]
pub(super) struct UnderWay(Keys);

/// A request under way, until it is dropped.
#[derive(Debug)]
pub struct Claim {
    keys: Keys,
    key: [u8; 32],
}

impl UnderWay {
    /// `None` when the key is claimed.
    fn claim(&self, key: [u8; 32]) -> Option<Claim> {
        let mut keys = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        keys.insert(key).then(|| Claim {
            keys: Arc::clone(&self.0),
            key,
        })
    }
}

impl Drop for Claim {
    fn drop(&mut self) {
        let mut keys = self.keys.lock().unwrap_or_else(PoisonError::into_inner);
        keys.remove(&self.key);
    }
}

impl Service {
    /// Says that a request with this key is under way in a study, as long as the claim is kept.
    /// Nothing to claim without a key.
    ///
    /// # Errors
    /// [`Refused::UnderWay`] when another one with the same key is.
    pub fn under_way(&self, study: &str, key: Option<&str>) -> Result<Option<Claim>, Refused> {
        let Some(key) = key else { return Ok(None) };
        let key = sha256(&[study.as_bytes(), key.as_bytes()]);
        let claim = self.under_way.claim(key);
        claim.map(Some).ok_or(Refused::UnderWay)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_claimed_once_at_a_time_in_each_study() {
        let service = Service::in_memory().unwrap();
        let first = service.under_way("one", Some("key")).unwrap();
        let again = service.under_way("one", Some("key"));
        assert!(matches!(again, Err(Refused::UnderWay)));
        service.under_way("two", Some("key")).unwrap();
        service.under_way("one", Some("other")).unwrap();
        assert!(service.under_way("one", None).unwrap().is_none());
        drop(first);
        service.under_way("one", Some("key")).unwrap();
    }
}
