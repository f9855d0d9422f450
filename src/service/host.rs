//! The host's access: making the credential, signing in and out, one-time links.

use super::{Service, ServiceError};
use crate::access::{
    self, Attempts, Credential, CredentialHash, FormToken, LASTS_MS, Links, Token,
};
use crate::wire::security_txt::SecurityNotice;
use std::io;
use std::net::IpAddr;
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};

/// How old the time of last use may grow before it is written anew: five minutes, so that reading
/// a page rarely writes.
const SEEN_EVERY_MS: i64 = 5 * 60 * 1000;

/// What lives in memory: it ends with the process.
#[derive(Debug)]
pub(super) struct Door {
    attempts: Mutex<Attempts>,
    links: Mutex<Links>,
    /// Held while a hash is made, so that only one takes its memory at a time.
    hashing: Mutex<()>,
    /// Whom to tell of a hole in the service.
    notice: OnceLock<SecurityNotice>,
}

impl Door {
    pub(super) fn new() -> io::Result<Self> {
        Ok(Self {
            attempts: Mutex::new(Attempts::new()?),
            links: Mutex::default(),
            hashing: Mutex::default(),
            notice: OnceLock::new(),
        })
    }
}

/// What became of an attempt to sign in.
#[derive(Debug)]
pub enum SignIn {
    /// Signed in, and this is what the browser has to hold.
    Done(Token),
    /// It is not the credential.
    Wrong,
    /// Nobody has made a credential.
    NoCredential,
    /// Too many attempts: it may be tried again after these seconds.
    TooOften(u32),
}

/// A browser in which the host is signed in.
#[derive(Clone, Debug)]
pub struct SignedIn {
    token_hash: [u8; 32],
    /// What its forms have to bring along.
    pub form_token: FormToken,
}

impl Service {
    /// Names whom to tell of a hole in the service; the first to be named stay.
    pub fn names(&self, notice: SecurityNotice) {
        let _ = self.door.notice.set(notice);
    }

    /// Whom to tell of a hole in the service.
    #[must_use]
    pub fn notice(&self) -> Option<&SecurityNotice> {
        self.door.notice.get()
    }

    /// Makes a credential in the place of the one before, which ends every sign-in and every
    /// one-time link. It cannot be read again.
    ///
    /// # Errors
    /// When the system gives no randomness or the store fails.
    pub fn make_credential(&self, now_ms: i64) -> Result<Credential, ServiceError> {
        let credential = Credential::fresh().map_err(ServiceError::Randomness)?;
        let hash = {
            let _one_at_a_time = locked(&self.door.hashing);
            credential.hash()?
        };
        self.store.replace_credential(hash.phc(), now_ms)?;
        locked(&self.door.links).clear();
        Ok(credential)
    }

    /// Whether there is a credential to sign in with.
    ///
    /// # Errors
    /// When the store fails.
    pub fn has_credential(&self) -> Result<bool, ServiceError> {
        Ok(self.store.credential()?.is_some())
    }

    /// Signs the host in who typed the credential. Nothing is hashed for whoever tries too often.
    ///
    /// # Errors
    /// When the system gives no randomness or the store fails.
    pub fn sign_in(
        &self,
        typed: &str,
        client: IpAddr,
        now_ms: i64,
    ) -> Result<SignIn, ServiceError> {
        let Some(phc) = self.store.credential()? else {
            return Ok(SignIn::NoCredential);
        };
        let attempt = locked(&self.door.attempts).take(client, now_ms);
        if let Err(seconds) = attempt {
            return Ok(SignIn::TooOften(seconds));
        }
        let is_right = {
            let _one_at_a_time = locked(&self.door.hashing);
            CredentialHash::stored(phc).is_of(typed)?
        };
        if is_right {
            Ok(SignIn::Done(self.begin(now_ms)?))
        } else {
            tracing::warn!("somebody tried to sign in with a wrong credential");
            Ok(SignIn::Wrong)
        }
    }

    fn begin(&self, now_ms: i64) -> Result<Token, ServiceError> {
        let token = Token::fresh().map_err(ServiceError::Randomness)?;
        let ends_at_ms = now_ms.saturating_add(LASTS_MS);
        self.store.add_sign_in(&token.hash(), now_ms, ends_at_ms)?;
        Ok(token)
    }

    /// The sign-in of a browser that holds this token; `None` when it holds no longer.
    ///
    /// # Errors
    /// When the store fails.
    pub fn signed_in(&self, token: &str, now_ms: i64) -> Result<Option<SignedIn>, ServiceError> {
        let Some(token_hash) = Token::parse(token).map(|token| token.hash()) else {
            return Ok(None);
        };
        let Some(stored) = self.store.sign_in(&token_hash)? else {
            return Ok(None);
        };
        let holds = access::holds(stored.seen_at_ms, stored.ends_at_ms, now_ms);
        let written = if !holds {
            self.store.end_sign_in(&token_hash)
        } else if stored.seen_at_ms.saturating_add(SEEN_EVERY_MS) <= now_ms {
            self.store.touch_sign_in(&token_hash, now_ms)
        } else {
            Ok(())
        };
        // A full disk keeps nobody from reading.
        if let Err(error) = written {
            tracing::error!(%error, "the use of a sign-in was not written down");
        }
        if !holds {
            return Ok(None);
        }
        Ok(Some(SignedIn {
            token_hash,
            form_token: FormToken::new(self.receipt_key.form_token(&token_hash)),
        }))
    }

    /// Ends the sign-in of a browser that is given a new one, so that what it held before opens
    /// nothing more.
    ///
    /// # Errors
    /// When the store fails.
    pub fn let_go(&self, token: &str) -> Result<(), ServiceError> {
        match Token::parse(token) {
            Some(token) => Ok(self.store.end_sign_in(&token.hash())?),
            None => Ok(()),
        }
    }

    /// Signs one browser out.
    ///
    /// # Errors
    /// When the store fails.
    pub fn sign_out(&self, signed_in: &SignedIn) -> Result<(), ServiceError> {
        Ok(self.store.end_sign_in(&signed_in.token_hash)?)
    }

    /// Signs every browser out, and ends every one-time link.
    ///
    /// # Errors
    /// When the store fails.
    pub fn sign_out_everywhere(&self) -> Result<(), ServiceError> {
        locked(&self.door.links).clear();
        Ok(self.store.end_every_sign_in()?)
    }

    /// The code of a link that signs in once.
    ///
    /// # Errors
    /// When the system gives no randomness.
    pub fn make_link(&self, now_ms: i64) -> Result<Token, ServiceError> {
        let code = Token::fresh().map_err(ServiceError::Randomness)?;
        locked(&self.door.links).add(&code, now_ms);
        Ok(code)
    }

    /// Whether a link can still be opened. Looking does not use it up.
    #[must_use]
    pub fn link_is_open(&self, code: &str, now_ms: i64) -> bool {
        Token::parse(code).is_some_and(|code| locked(&self.door.links).has(&code, now_ms))
    }

    /// Uses a link up and signs in; `None` when it could not be opened.
    ///
    /// # Errors
    /// When the system gives no randomness or the store fails.
    pub fn open_link(&self, code: &str, now_ms: i64) -> Result<Option<Token>, ServiceError> {
        let opened =
            Token::parse(code).is_some_and(|code| locked(&self.door.links).take(&code, now_ms));
        opened.then(|| self.begin(now_ms)).transpose()
    }
}

/// What a lock guards. A panic elsewhere while it was held left whole values behind.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests;
