//! Receipts: the secret by which a contributor is known.
//!
//! A receipt is 160 bits, derived by HMAC-SHA-256 from the folder's key and the player's
//! identifier, so that a retried request gets the same one although nothing but its SHA-256 is
//! stored. It is written in Base32 (RFC 4648) in groups of four. The same key orders the groups
//! of published rows, anew for every batch, orders of play are drawn from it, and figures that two contributions share
//! are found by keyed hashes.

use data_encoding::BASE32_NOPAD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};
use std::fs;
use std::io::{self, Write};
use std::path::Path;
use uuid::Uuid;

/// Bytes of a receipt.
const LENGTH: usize = 20;

/// The folder's secret key.
#[derive(Clone)]
pub struct ReceiptKey([u8; 32]);

impl std::fmt::Debug for ReceiptKey {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("ReceiptKey(..)")
    }
}

impl ReceiptKey {
    /// Name of the key's file in a data folder.
    pub const FILE: &'static str = "receipt.key";

    /// A fresh key from the operating system.
    ///
    /// # Errors
    /// When the system has no randomness to give.
    pub fn fresh() -> io::Result<Self> {
        let mut key = [0; 32];
        getrandom::fill(&mut key).map_err(io::Error::other)?;
        Ok(Self(key))
    }

    /// The key of a data folder, made and synced on first use, readable by its owner only.
    ///
    /// # Errors
    /// When the file cannot be read or written, or does not hold a key.
    pub fn of_folder(folder: &Path) -> io::Result<Self> {
        let path = folder.join(Self::FILE);
        match fs::read(&path) {
            Ok(bytes) => bytes.try_into().map(Self).map_err(|_| {
                io::Error::new(
                    io::ErrorKind::InvalidData,
                    format!(
                        "{} is not a receipt key of 32 bytes; put back the right file",
                        path.display()
                    ),
                )
            }),
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                let key = Self::fresh()?;
                // Whole under another name first: a power cut leaves no half of a key.
                let beginning = path.with_extension("beginning");
                key.write(&beginning)?;
                fs::rename(&beginning, &path)?;
                fs::File::open(folder)?.sync_all()?;
                Ok(key)
            }
            Err(error) => Err(error),
        }
    }

    fn write(&self, path: &Path) -> io::Result<()> {
        let mut options = fs::OpenOptions::new();
        options.write(true).create(true).truncate(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        let mut file = options.open(path)?;
        file.write_all(&self.0)?;
        file.sync_all()
    }

    /// What the database remembers of the key, so that a wrong key file is noticed.
    #[must_use]
    pub fn fingerprint(&self) -> [u8; 32] {
        self.derive("fingerprint", &[])
    }

    /// The receipt of a player.
    #[must_use]
    pub fn receipt(&self, player: Uuid) -> Receipt {
        let mut bytes = [0; LENGTH];
        let long = self.derive("receipt", &[player.as_bytes()]);
        for (to, from) in bytes.iter_mut().zip(long) {
            *to = from;
        }
        Receipt(bytes)
    }

    /// A player's place in the numbering of published groups of one batch.
    #[must_use]
    pub fn group_order(&self, study: &str, batch: i64, player: Uuid) -> [u8; 32] {
        self.derive(
            "group",
            &[study.as_bytes(), &batch.to_be_bytes(), player.as_bytes()],
        )
    }

    /// A player's place among those of whom something is hidden, the same in every batch.
    #[must_use]
    pub fn hiding_order(&self, study: &str, player: Uuid) -> [u8; 32] {
        self.derive("hiding", &[study.as_bytes(), player.as_bytes()])
    }

    /// Secret bytes that a block of plans of one kind in one study is drawn from.
    #[must_use]
    pub fn plan_block(&self, study: &str, kind: &str, block: u64) -> [u8; 32] {
        self.derive(
            "plan",
            &[study.as_bytes(), kind.as_bytes(), &block.to_be_bytes()],
        )
    }

    /// What a form of the host's pages has to carry in one sign-in, named by its hash.
    #[must_use]
    pub fn form_token(&self, sign_in: &[u8; 32]) -> [u8; 32] {
        self.derive("form", &[sign_in])
    }

    /// Keyed hash of one figure of a contribution, by which another one with the same figure is
    /// found.
    #[must_use]
    pub fn mark(&self, study: &str, text: &str) -> [u8; 16] {
        let mut mark = [0; 16];
        let long = self.derive("mark", &[study.as_bytes(), text.as_bytes()]);
        for (to, from) in mark.iter_mut().zip(long) {
            *to = from;
        }
        mark
    }

    /// What of an invitation's code is kept. Without the key a code cannot be found by trying all.
    #[must_use]
    pub fn invitation(&self, study: &str, code: &str) -> [u8; 32] {
        self.derive("invitation", &[study.as_bytes(), code.as_bytes()])
    }

    /// HMAC over length-prefixed parts, so that no two lists of parts look alike.
    fn derive(&self, purpose: &str, parts: &[&[u8]]) -> [u8; 32] {
        #[expect(clippy::expect_used, reason = "HMAC takes a key of any length")]
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.0).expect("any key length");
        for part in std::iter::once(purpose.as_bytes()).chain(parts.iter().copied()) {
            mac.update(&(part.len() as u64).to_be_bytes());
            mac.update(part);
        }
        mac.finalize().into_bytes().into()
    }
}

/// A receipt as a contributor holds it.
#[derive(Clone, PartialEq, Eq)]
pub struct Receipt([u8; LENGTH]);

impl std::fmt::Debug for Receipt {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("Receipt(..)")
    }
}

impl Receipt {
    /// Reads a receipt as typed: upper or lower case, with or without hyphens and spaces, and with 0
    /// for O or 8 for B, since Base32 has neither.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let bytes = BASE32_NOPAD.decode(plain(text).as_bytes()).ok()?;
        bytes.try_into().ok().map(Self)
    }

    /// As it is shown, once.
    #[must_use]
    pub fn reveal(&self) -> String {
        spelled(&self.0)
    }

    /// What is stored of it.
    #[must_use]
    pub fn hash(&self) -> [u8; 32] {
        sha256(&[&self.0])
    }
}

/// SHA-256 of a text that others hash too (FIPS 180-4).
#[must_use]
pub fn sha256_of(bytes: &[u8]) -> [u8; 32] {
    Sha256::digest(bytes).into()
}

/// Passes bytes on and hashes them.
#[derive(Debug)]
pub struct Sha256Writer<W> {
    inner: W,
    hash: Sha256,
    length: usize,
}

impl<W: Write> Sha256Writer<W> {
    /// Nothing was written yet.
    pub fn new(inner: W) -> Self {
        Self {
            inner,
            hash: Sha256::new(),
            length: 0,
        }
    }

    /// Where the bytes went, their SHA-256, and how many they were.
    pub fn finish(self) -> (W, [u8; 32], usize) {
        (self.inner, self.hash.finalize().into(), self.length)
    }
}

impl<W: Write> Write for Sha256Writer<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let n = self.inner.write(bytes)?;
        self.hash.update(bytes.get(..n).unwrap_or_default());
        self.length += n;
        Ok(n)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

/// A secret as a person copies it: Base32 (RFC 4648) in groups of four.
#[must_use]
pub fn spelled(secret: &[u8]) -> String {
    let plain = BASE32_NOPAD.encode(secret);
    let mut shown = String::with_capacity(plain.len() + plain.len() / 4);
    for (place, character) in plain.chars().enumerate() {
        if place != 0 && place % 4 == 0 {
            shown.push('-');
        }
        shown.push(character);
    }
    shown
}

/// A [`spelled`] secret without what may differ between two ways of typing it.
#[must_use]
pub fn plain(typed: &str) -> String {
    let characters = typed
        .chars()
        .filter(|character| !matches!(character, '-' | ' '));
    let alike = characters.map(|character| match character {
        '0' => 'O',
        '8' => 'B',
        other => other.to_ascii_uppercase(),
    });
    alike.collect()
}

/// SHA-256 over length-prefixed parts.
#[must_use]
pub fn sha256(parts: &[&[u8]]) -> [u8; 32] {
    let mut digest = Sha256::new();
    for part in parts {
        digest.update((part.len() as u64).to_be_bytes());
        digest.update(part);
    }
    digest.finalize().into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_receipt_reads_back_however_it_is_typed() {
        let key = ReceiptKey::fresh().unwrap();
        let receipt = key.receipt(Uuid::from_u128(7));
        let shown = receipt.reveal();
        assert_eq!(shown.len(), 39);
        assert_eq!(Receipt::parse(&shown), Some(receipt.clone()));
        assert_eq!(
            Receipt::parse(&shown.to_lowercase().replace('-', " ")),
            Some(receipt)
        );
        let misread = shown.replace('O', "0").replace('B', "8");
        assert_eq!(Receipt::parse(&misread), Receipt::parse(&shown));
        assert_eq!(Receipt::parse("AAAA"), None);
    }

    #[test]
    fn the_same_player_gets_the_same_receipt_and_no_debug_print_shows_it() {
        let key = ReceiptKey::fresh().unwrap();
        let (one, two) = (Uuid::from_u128(1), Uuid::from_u128(2));
        assert_eq!(key.receipt(one), key.receipt(one));
        assert_ne!(key.receipt(one), key.receipt(two));
        assert_eq!(
            format!("{key:?} {:?}", key.receipt(one)),
            "ReceiptKey(..) Receipt(..)"
        );
    }

    #[test]
    fn blocks_of_plans_have_bytes_of_their_own() {
        let key = ReceiptKey::fresh().unwrap();
        let block = key.plan_block("a", "two_sessions", 0);
        assert_eq!(block, key.plan_block("a", "two_sessions", 0));
        for other in [
            key.plan_block("a", "two_sessions", 1),
            key.plan_block("a", "four_sessions", 0),
            key.plan_block("b", "two_sessions", 0),
            ReceiptKey::fresh()
                .unwrap()
                .plan_block("a", "two_sessions", 0),
        ] {
            assert_ne!(block, other);
        }
    }

    #[test]
    fn a_folder_keeps_its_key() {
        let folder = tempfile::tempdir().unwrap();
        let first = ReceiptKey::of_folder(folder.path()).unwrap();
        let again = ReceiptKey::of_folder(folder.path()).unwrap();
        assert_eq!(first.fingerprint(), again.fingerprint());
        fs::write(folder.path().join(ReceiptKey::FILE), b"short").unwrap();
        assert!(ReceiptKey::of_folder(folder.path()).is_err());
    }
}
