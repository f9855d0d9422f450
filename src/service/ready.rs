//! Bodies that are ready to be sent: made once, kept with their entity tag and, once somebody asked
//! for it, in compressed form.

use crate::receipt::sha256;
use bytes::Bytes;
use data_encoding::HEXLOWER;
use flate2::Compression;
use flate2::write::GzEncoder;
use serde_json::Value;
use std::io::Write;
use std::sync::{Arc, OnceLock};

/// A body ready to be sent, with its strong entity tag.
#[derive(Clone, Debug)]
pub struct Ready {
    /// The bytes.
    pub body: Bytes,
    /// Quoted, as it stands in the header.
    pub etag: String,
    /// The same in gzip format, once it was asked for. Clones share it.
    gzip: Arc<OnceLock<Option<Bytes>>>,
}

impl Ready {
    /// A text with its tag.
    #[must_use]
    pub fn new(text: String) -> Self {
        Self::of_bytes(text.into())
    }

    /// Bytes with their tag.
    #[must_use]
    pub fn of_bytes(body: Bytes) -> Self {
        let hash = sha256(&[&body]);
        Self::hashed(body, &hash)
    }

    /// Bytes whose SHA-256 is known already.
    #[must_use]
    pub fn hashed(body: Bytes, hash: &[u8]) -> Self {
        Self {
            etag: format!("\"{}\"", HEXLOWER.encode(hash)),
            body,
            gzip: Arc::default(),
        }
    }

    /// A JSON document on its own line.
    #[must_use]
    pub fn json(document: &Value) -> Self {
        Self::new(format!("{document}\n"))
    }

    /// The bytes in gzip format (RFC 1952), made when they are first asked for; `None` when they
    /// cannot be made, and the body has to be sent as it is.
    #[must_use]
    pub fn gzip(&self) -> Option<Bytes> {
        self.gzip.get_or_init(|| gzip(&self.body)).clone()
    }
}

/// The level is the usual one: the next ones take twice the time for some hundredths of the size.
fn gzip(body: &[u8]) -> Option<Bytes> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(body).ok()?;
    encoder.finish().ok().map(Bytes::from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use flate2::read::GzDecoder;
    use std::io::Read;

    #[test]
    fn the_compressed_form_is_made_once_and_reads_back() {
        let ready = Ready::new("looser or tighter, ".repeat(100));
        let compressed = ready.gzip().unwrap();
        assert!(compressed.len() < ready.body.len() / 10);
        assert_eq!(ready.clone().gzip().unwrap().as_ptr(), compressed.as_ptr());
        let mut text = Vec::new();
        GzDecoder::new(&*compressed).read_to_end(&mut text).unwrap();
        assert_eq!(text, &*ready.body);
    }
}
