//! What a backup says of itself, for whoever finds it years later.

use crate::release::Software;
use data_encoding::HEXLOWER;
use serde_json::{Map, Value, json};

/// What a backup holds.
#[derive(Debug)]
pub struct Backup<'a> {
    /// When it was made (RFC 3339).
    pub made: &'a str,
    /// Format of its database.
    pub format: i64,
    /// How much is in it, by name.
    pub counts: &'a [(&'static str, i64)],
    /// Fingerprint of its receipt key.
    pub receipt_key_fingerprint: &'a [u8],
}

/// The backup as a document.
#[must_use]
pub fn backup(backup: &Backup<'_>) -> Value {
    let software = Software::this();
    let counts = backup.counts.iter();
    let counts: Map<String, Value> = counts
        .map(|(name, count)| ((*name).to_owned(), json!(count)))
        .collect();
    json!({
        "document": "backup",
        "version": 1,
        "private": "Contributions word for word, and the key behind every receipt: not for publication.",
        "made": backup.made,
        "software": {"name": software.name, "version": software.version},
        "format": backup.format,
        "receipt_key_fingerprint": HEXLOWER.encode(backup.receipt_key_fingerprint),
        "holds": counts,
    })
}
