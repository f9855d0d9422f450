//! The host's credential, as its hash, and the browsers in which the host is signed in.

use super::{Store, StoreError};
use rusqlite::{OptionalExtension, TransactionBehavior};

/// A browser in which the host signed in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StoredSignIn {
    /// When it was last used.
    pub seen_at_ms: i64,
    /// When it ends at the latest.
    pub ends_at_ms: i64,
}

impl Store {
    /// Puts a credential's hash in the place of the one before, and ends every sign-in.
    ///
    /// # Errors
    /// When SQLite says no.
    pub fn replace_credential(&self, phc: &str, now_ms: i64) -> Result<(), StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        transaction.execute(
            "INSERT INTO host_credential (id, phc, made_at_ms) VALUES (1, ?1, ?2)
             ON CONFLICT (id) DO UPDATE SET phc = excluded.phc, made_at_ms = excluded.made_at_ms",
            (phc, now_ms),
        )?;
        transaction.execute("DELETE FROM host_sign_in", ())?;
        transaction.commit()?;
        Ok(())
    }

    /// The hash of the credential; `None` when there is none.
    ///
    /// # Errors
    /// When SQLite says no.
    pub fn credential(&self) -> Result<Option<String>, StoreError> {
        let connection = self.read();
        let phc = connection.query_row("SELECT phc FROM host_credential", (), |row| row.get(0));
        Ok(phc.optional()?)
    }

    /// Adds a sign-in, and takes away those that ended before it.
    ///
    /// # Errors
    /// When SQLite says no.
    pub fn add_sign_in(
        &self,
        token_hash: &[u8; 32],
        now_ms: i64,
        ends_at_ms: i64,
    ) -> Result<(), StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        transaction.execute("DELETE FROM host_sign_in WHERE ends_at_ms <= ?1", [now_ms])?;
        transaction.execute(
            "INSERT INTO host_sign_in (token_hash, made_at_ms, seen_at_ms, ends_at_ms)
             VALUES (?1, ?2, ?2, ?3)",
            (token_hash, now_ms, ends_at_ms),
        )?;
        transaction.commit()?;
        Ok(())
    }

    /// The sign-in with this hash.
    ///
    /// # Errors
    /// When SQLite says no.
    pub fn sign_in(&self, token_hash: &[u8; 32]) -> Result<Option<StoredSignIn>, StoreError> {
        let connection = self.read();
        let found = connection.query_row(
            "SELECT seen_at_ms, ends_at_ms FROM host_sign_in WHERE token_hash = ?1",
            [token_hash],
            |row| {
                Ok(StoredSignIn {
                    seen_at_ms: row.get(0)?,
                    ends_at_ms: row.get(1)?,
                })
            },
        );
        Ok(found.optional()?)
    }

    /// Writes down that a sign-in is used.
    ///
    /// # Errors
    /// When SQLite says no.
    pub fn touch_sign_in(&self, token_hash: &[u8; 32], now_ms: i64) -> Result<(), StoreError> {
        self.lock().execute(
            "UPDATE host_sign_in SET seen_at_ms = ?2 WHERE token_hash = ?1",
            (token_hash, now_ms),
        )?;
        Ok(())
    }

    /// Ends one sign-in.
    ///
    /// # Errors
    /// When SQLite says no.
    pub fn end_sign_in(&self, token_hash: &[u8; 32]) -> Result<(), StoreError> {
        self.lock().execute(
            "DELETE FROM host_sign_in WHERE token_hash = ?1",
            [token_hash],
        )?;
        Ok(())
    }

    /// Ends every sign-in.
    ///
    /// # Errors
    /// When SQLite says no.
    pub fn end_every_sign_in(&self) -> Result<(), StoreError> {
        self.lock().execute("DELETE FROM host_sign_in", ())?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PHC: &str = "$argon2id$v=19$m=8,t=1,p=1$c2FsdA$aGFzaA";

    #[test]
    fn a_new_credential_replaces_the_old_one_and_ends_every_sign_in() {
        let store = Store::open_in_memory().unwrap();
        assert_eq!(store.credential().unwrap(), None);
        store.replace_credential(PHC, 1).unwrap();
        store.add_sign_in(&[1; 32], 10, 100).unwrap();
        let second = format!("{PHC}2");
        store.replace_credential(&second, 20).unwrap();
        assert_eq!(store.credential().unwrap(), Some(second));
        assert_eq!(store.sign_in(&[1; 32]).unwrap(), None);
        assert!(store.replace_credential("plain", 30).is_err());
    }

    #[test]
    fn sign_ins_end_one_by_one_all_at_once_and_by_themselves() {
        let store = Store::open_in_memory().unwrap();
        for number in 1..=3 {
            store.add_sign_in(&[number; 32], 10, 100).unwrap();
        }
        store.touch_sign_in(&[2; 32], 50).unwrap();
        let seen = store.sign_in(&[2; 32]).unwrap().unwrap();
        assert_eq!((seen.seen_at_ms, seen.ends_at_ms), (50, 100));
        store.end_sign_in(&[1; 32]).unwrap();
        assert_eq!(store.sign_in(&[1; 32]).unwrap(), None);
        assert!(store.sign_in(&[3; 32]).unwrap().is_some());
        store.add_sign_in(&[4; 32], 100, 200).unwrap();
        assert_eq!(store.sign_in(&[2; 32]).unwrap(), None, "it had ended");
        store.end_every_sign_in().unwrap();
        assert_eq!(store.sign_in(&[4; 32]).unwrap(), None);
    }
}
