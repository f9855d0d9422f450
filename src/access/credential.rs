//! The credential with which the host signs in.
//!
//! It is made by the program and never chosen, so that no weak one exists: 160 bits from the
//! operating system, in Base32 in groups of four. Stored of it is an Argon2id hash (RFC 9106) as a
//! PHC string, with the least parameters that the OWASP Password Storage Cheat Sheet names: 19 MiB
//! of memory, 2 passes, 1 lane (the sheet was read in a copy). Against 160 random bits a guess is
//! hopeless whatever the hash; it is slow all the same, in case somebody stores one of their own.

use crate::receipt::{plain, spelled};
use argon2::password_hash::phc::PasswordHash;
use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version};
use std::io;

/// Bytes of a credential.
const LENGTH: usize = 20;

/// Bytes of the salt, as the PHC string format recommends.
const SALT_LENGTH: usize = 16;

/// Memory, in KiB.
const MEMORY_KIB: u32 = 19 * 1024;

/// Passes over the memory.
const PASSES: u32 = 2;

/// Lanes.
const LANES: u32 = 1;

/// Why a credential could not be hashed.
#[derive(Debug, thiserror::Error)]
pub enum HashError {
    /// The operating system gives no randomness.
    #[error("no randomness for a salt: {0}")]
    Randomness(#[from] io::Error),
    /// Argon2 refused; with fixed parameters it does so only when memory is short.
    #[error("Argon2id: {0}")]
    Argon2(String),
}

/// A credential as it is shown, once.
pub struct Credential([u8; LENGTH]);

impl std::fmt::Debug for Credential {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("Credential(..)")
    }
}

impl Credential {
    /// A fresh one from the operating system.
    ///
    /// # Errors
    /// When the system has no randomness to give.
    pub fn fresh() -> io::Result<Self> {
        let mut bytes = [0; LENGTH];
        getrandom::fill(&mut bytes).map_err(io::Error::other)?;
        Ok(Self(bytes))
    }

    /// As it is shown: eight groups of four letters and digits.
    #[must_use]
    pub fn reveal(&self) -> String {
        spelled(&self.0)
    }

    /// What is stored of it.
    ///
    /// # Errors
    /// [`HashError`].
    pub fn hash(&self) -> Result<CredentialHash, HashError> {
        let mut salt = [0; SALT_LENGTH];
        getrandom::fill(&mut salt).map_err(io::Error::other)?;
        let hashed: Result<PasswordHash, _> =
            argon2id()?.hash_password_with_salt(plain(&self.reveal()).as_bytes(), &salt);
        let hash = hashed.map_err(|error| HashError::Argon2(error.to_string()))?;
        Ok(CredentialHash(hash.to_string()))
    }
}

fn argon2id() -> Result<Argon2<'static>, HashError> {
    let params = Params::new(MEMORY_KIB, PASSES, LANES, None)
        .map_err(|error| HashError::Argon2(error.to_string()))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

/// What is stored of a credential: a PHC string.
#[derive(Clone, PartialEq, Eq)]
pub struct CredentialHash(String);

impl std::fmt::Debug for CredentialHash {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("CredentialHash(..)")
    }
}

impl CredentialHash {
    /// A PHC string as it was stored.
    #[must_use]
    pub const fn stored(phc: String) -> Self {
        Self(phc)
    }

    /// The PHC string.
    #[must_use]
    pub fn phc(&self) -> &str {
        &self.0
    }

    /// Whether what was typed is the credential: small letters, hyphens and spaces do not matter.
    /// It takes the same work whatever was typed, for nothing is looked at before the hash is made.
    ///
    /// # Errors
    /// When the stored string is none that this program writes, or memory is short.
    pub fn is_of(&self, typed: &str) -> Result<bool, HashError> {
        let refused = |error: argon2::password_hash::Error| HashError::Argon2(error.to_string());
        let hash = PasswordHash::new(&self.0)
            .map_err(|error| HashError::Argon2(format!("the stored hash: {error}")))?;
        match argon2id()?.verify_password(plain(typed).as_bytes(), &hash) {
            Ok(()) => Ok(true),
            Err(argon2::password_hash::Error::PasswordInvalid) => Ok(false),
            Err(error) => Err(refused(error)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_credential_is_known_again_however_it_is_typed_and_no_other_is() {
        let credential = Credential::fresh().unwrap();
        let hash = credential.hash().unwrap();
        let shown = credential.reveal();
        assert_eq!(shown.len(), 39);
        for typed in [
            shown.clone(),
            shown.to_lowercase(),
            shown.replace('-', " "),
            format!(" {} ", shown.replace('O', "0").replace('B', "8")),
        ] {
            assert!(hash.is_of(&typed).unwrap(), "{typed}");
        }
        let other = Credential::fresh().unwrap().reveal();
        for typed in [other.as_str(), "", "-", &shown[1..], "É"] {
            assert!(!hash.is_of(typed).unwrap(), "{typed}");
        }
    }

    #[test]
    fn the_hash_is_a_phc_string_with_the_least_parameters_of_the_cheat_sheet() {
        let credential = Credential::fresh().unwrap();
        let hash = credential.hash().unwrap();
        let parts: Vec<&str> = hash.phc().split('$').collect();
        assert_eq!(parts[..4], ["", "argon2id", "v=19", "m=19456,t=2,p=1"]);
        // Sixteen bytes of salt and thirty-two of hash in Base64 without padding.
        assert_eq!((parts[4].len(), parts[5].len(), parts.len()), (22, 43, 6));
        assert_ne!(hash, credential.hash().unwrap(), "the salt is fresh");
        assert!(!hash.phc().contains(&plain(&credential.reveal())));
    }

    #[test]
    fn a_damaged_hash_is_an_error_and_lets_nobody_in() {
        for stored in ["", "$argon2id$", "$argon2id$v=19$m=19456,t=2,p=1", "x"] {
            let hash = CredentialHash::stored(stored.to_owned());
            assert!(!matches!(hash.is_of("x"), Ok(true)), "{stored}");
        }
    }

    #[test]
    fn no_debug_print_shows_it() {
        let credential = Credential::fresh().unwrap();
        let hash = credential.hash().unwrap();
        assert_eq!(
            format!("{credential:?} {hash:?}"),
            "Credential(..) CredentialHash(..)"
        );
    }
}
