//! Bodies that go out in pieces. The framework copies what a body gives at once, so that a
//! download given whole would be in memory once for every client that takes its time.

use crate::service::Inflating;
use actix_web::body::{BodySize, MessageBody};
use actix_web::web::Bytes;
use std::pin::Pin;
use std::task::{Context, Poll};

/// Bytes of one piece.
const PIECE: usize = 32 * 1024;

/// A body that is shared, of which a piece at a time is copied or inflated.
#[derive(Debug)]
pub(super) enum Pieces {
    /// These bytes.
    Bytes(Bytes),
    /// What comes out of a compressed form.
    Inflating(Box<Inflating>),
}

impl MessageBody for Pieces {
    type Error = std::io::Error;

    fn size(&self) -> BodySize {
        let length = match self {
            Self::Bytes(left) => left.len(),
            Self::Inflating(inflating) => inflating.length(),
        };
        BodySize::Sized(u64::try_from(length).unwrap_or(u64::MAX))
    }

    fn poll_next(
        self: Pin<&mut Self>,
        _: &mut Context<'_>,
    ) -> Poll<Option<Result<Bytes, std::io::Error>>> {
        let piece = match self.get_mut() {
            Self::Bytes(left) => Ok(left.split_to(PIECE.min(left.len()))),
            Self::Inflating(inflating) => inflating.next_piece(PIECE),
        };
        Poll::Ready(match piece {
            Ok(piece) if piece.is_empty() => None,
            piece => Some(piece),
        })
    }
}
