//! Bodies that are ready to be sent: made once, kept with their entity tag and, once that was asked
//! for, in compressed form. Large ones are kept in compressed form alone.

use crate::receipt::Sha256Writer;
use bytes::Bytes;
use data_encoding::HEXLOWER;
use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use serde_json::Value;
use std::fmt;
use std::io::{self, BufWriter, Cursor, Read, Write};
use std::sync::{Arc, OnceLock};

/// A body ready to be sent, with its strong entity tag.
#[derive(Clone, Debug)]
pub struct Ready {
    /// Quoted, as it stands in the header.
    pub etag: String,
    /// The SHA-256 of the body.
    pub sha256: [u8; 32],
    body: Body,
}

/// How a body is kept.
#[derive(Clone, Debug)]
enum Body {
    /// As it is, and in gzip format once that was asked for. Clones share it.
    Plain(Bytes, Arc<OnceLock<Option<Bytes>>>),
    /// So many bytes, in gzip format alone.
    Squeezed(usize, Bytes),
}

/// Bytes that are hashed and compressed at once.
const PIECE: usize = 64 * 1024;

/// How large a body will be, by whoever makes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Extent {
    /// It can be kept as it is.
    Usual,
    /// It would take as much memory as all that it is made from.
    Large,
}

impl Ready {
    /// A text with its tag.
    #[must_use]
    pub fn new(text: String) -> Self {
        // Bytes keep all the room that a text was given.
        Self::of_bytes(text.into_boxed_str().into_boxed_bytes().into())
    }

    /// Bytes with their tag.
    #[must_use]
    pub fn of_bytes(body: Bytes) -> Self {
        let sha256 = crate::receipt::sha256_of(&body);
        Self::hashed(body, sha256)
    }

    /// Bytes whose SHA-256 is known already.
    #[must_use]
    pub fn hashed(body: Bytes, sha256: [u8; 32]) -> Self {
        Self::with(sha256, Body::Plain(body, Arc::default()))
    }

    fn with(sha256: [u8; 32], body: Body) -> Self {
        Self {
            etag: format!("\"{}\"", HEXLOWER.encode(&sha256)),
            sha256,
            body,
        }
    }

    /// A JSON document on its own line.
    #[must_use]
    pub fn json(document: &Value) -> Self {
        Self::new(format!("{document}\n"))
    }

    /// The text that somebody writes, who has no errors of their own.
    #[expect(clippy::expect_used, reason = "writing to memory does not fail")]
    pub(crate) fn written(
        extent: Extent,
        write: impl FnOnce(&mut dyn fmt::Write) -> fmt::Result,
    ) -> Self {
        match extent {
            Extent::Usual => {
                let mut text = String::new();
                write(&mut text).expect("memory takes everything");
                Self::new(text)
            }
            Extent::Large => {
                // The lowest level takes a third of the time, for a third more bytes.
                let squeezed = GzEncoder::new(Vec::new(), Compression::fast());
                // Both take large pieces a hundred times as fast as single words.
                let out = BufWriter::with_capacity(PIECE, Sha256Writer::new(squeezed));
                let mut out = AsText(out);
                write(&mut out).expect("memory takes everything");
                let hashed = out.0.into_inner().expect("memory takes everything");
                let (squeezed, sha256, length) = hashed.finish();
                let squeezed = squeezed.finish().expect("memory takes everything");
                let squeezed = squeezed.into_boxed_slice();
                Self::with(sha256, Body::Squeezed(length, squeezed.into()))
            }
        }
    }

    /// How many bytes the body has.
    #[must_use]
    pub const fn length(&self) -> usize {
        match &self.body {
            Body::Plain(body, _) => body.len(),
            Body::Squeezed(length, _) => *length,
        }
    }

    /// The body as it is; `None` where it is kept in compressed form alone.
    #[must_use]
    pub const fn plain(&self) -> Option<&Bytes> {
        match &self.body {
            Body::Plain(body, _) => Some(body),
            Body::Squeezed(..) => None,
        }
    }

    /// The body out of the compressed form that alone is kept; `None` where it is there as it is.
    #[must_use]
    pub fn inflating(&self) -> Option<Inflating> {
        match &self.body {
            Body::Plain(..) => None,
            Body::Squeezed(length, gzip) => Some(Inflating {
                length: *length,
                decoder: GzDecoder::new(Cursor::new(gzip.clone())),
            }),
        }
    }

    /// The bytes in gzip format (RFC 1952), made when they are first asked for; `None` when they
    /// cannot be made, and the body has to be sent as it is.
    #[must_use]
    pub fn gzip(&self) -> Option<Bytes> {
        match &self.body {
            Body::Plain(body, made) => made.get_or_init(|| gzip(body)).clone(),
            Body::Squeezed(_, gzip) => Some(gzip.clone()),
        }
    }
}

/// Where bytes go, for those who write text.
struct AsText<W>(W);

impl<W: Write> fmt::Write for AsText<W> {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.0.write_all(text.as_bytes()).map_err(|_| fmt::Error)
    }
}

/// A body that comes out of its compressed form piece by piece.
#[derive(Debug)]
pub struct Inflating {
    length: usize,
    decoder: GzDecoder<Cursor<Bytes>>,
}

impl Inflating {
    /// How many bytes come out in all.
    #[must_use]
    pub const fn length(&self) -> usize {
        self.length
    }

    /// The next bytes, at most so many; none at the end.
    ///
    /// # Errors
    /// None, since it was compressed here.
    pub fn next_piece(&mut self, most: usize) -> io::Result<Bytes> {
        let mut piece = Vec::with_capacity(most);
        let most = u64::try_from(most).unwrap_or(u64::MAX);
        Read::by_ref(&mut self.decoder)
            .take(most)
            .read_to_end(&mut piece)?;
        Ok(piece.into())
    }
}

/// The level is the usual one: the next ones take twice the time for some hundredths of the size.
fn gzip(body: &[u8]) -> Option<Bytes> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(body).ok()?;
    let squeezed = encoder.finish().ok()?;
    Some(squeezed.into_boxed_slice().into())
}

#[cfg(test)]
mod tests {
    use super::*;
    fn inflated(gzip: &[u8]) -> Vec<u8> {
        let mut text = Vec::new();
        GzDecoder::new(gzip).read_to_end(&mut text).unwrap();
        text
    }

    #[test]
    fn the_compressed_form_is_made_once_and_reads_back() {
        let ready = Ready::new("looser or tighter, ".repeat(100));
        let compressed = ready.gzip().unwrap();
        assert!(compressed.len() < ready.length() / 10);
        assert_eq!(ready.clone().gzip().unwrap().as_ptr(), compressed.as_ptr());
        assert_eq!(inflated(&compressed), **ready.plain().unwrap());
    }

    #[test]
    fn a_large_body_has_the_tag_and_the_bytes_of_a_usual_one() {
        let written = |extent| {
            let write = |out: &mut dyn fmt::Write| {
                for number in 0..10_000 {
                    writeln!(out, "{number}")?;
                }
                Ok(())
            };
            Ready::written(extent, write)
        };
        let (usual, large) = (written(Extent::Usual), written(Extent::Large));
        assert_eq!(
            (&usual.etag, usual.sha256, usual.length()),
            (&large.etag, large.sha256, large.length())
        );
        assert!(large.plain().is_none());
        assert_eq!(inflated(&large.gzip().unwrap()), **usual.plain().unwrap());
        let mut pieces = large.inflating().unwrap();
        let mut text = Vec::new();
        loop {
            let piece = pieces.next_piece(1_000).unwrap();
            if piece.is_empty() {
                break;
            }
            text.extend(piece);
        }
        assert_eq!(text, **usual.plain().unwrap());
    }
}
