//! Bodies that go out in pieces. The framework copies what a body gives at once, so that a
//! download given whole would be in memory once for every client that takes its time.

use actix_web::body::{BodySize, MessageBody};
use actix_web::web::Bytes;
use flate2::read::GzDecoder;
use std::io::{Cursor, Read};
use std::pin::Pin;
use std::task::{Context, Poll};

/// Bytes of one piece.
const PIECE: usize = 32 * 1024;

/// A body that is shared, of which a piece at a time is copied or inflated.
#[derive(Debug)]
pub(super) enum Pieces {
    /// These bytes.
    Bytes(Bytes),
    /// So many bytes that these are the compressed form of.
    Inflated(usize, Box<GzDecoder<Cursor<Bytes>>>),
}

impl Pieces {
    /// What bytes in gzip format are the compressed form of, `length` bytes.
    pub(super) fn inflated(length: usize, gzip: Bytes) -> Self {
        Self::Inflated(length, Box::new(GzDecoder::new(Cursor::new(gzip))))
    }
}

impl MessageBody for Pieces {
    type Error = std::io::Error;

    fn size(&self) -> BodySize {
        let length = match self {
            Self::Bytes(left) => left.len(),
            Self::Inflated(length, _) => *length,
        };
        BodySize::Sized(u64::try_from(length).unwrap_or(u64::MAX))
    }

    fn poll_next(
        self: Pin<&mut Self>,
        _: &mut Context<'_>,
    ) -> Poll<Option<Result<Bytes, std::io::Error>>> {
        let piece = match self.get_mut() {
            Self::Bytes(left) => Ok(left.split_to(PIECE.min(left.len()))),
            Self::Inflated(_, decoder) => next(decoder),
        };
        Poll::Ready(match piece {
            Ok(piece) if piece.is_empty() => None,
            piece => Some(piece),
        })
    }
}

fn next(decoder: &mut impl Read) -> std::io::Result<Bytes> {
    let mut piece = Vec::with_capacity(PIECE);
    let most = u64::try_from(PIECE).unwrap_or(u64::MAX);
    decoder.take(most).read_to_end(&mut piece)?;
    Ok(piece.into())
}
