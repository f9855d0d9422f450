//! Bodies that go out in pieces. The framework copies what a body gives at once, so that a
//! download given whole would be in memory once for every client that takes its time.

use actix_web::body::{BodySize, MessageBody};
use actix_web::web::Bytes;
use std::convert::Infallible;
use std::pin::Pin;
use std::task::{Context, Poll};

/// Bytes of one piece.
const PIECE: usize = 32 * 1024;

/// A body that is shared, of which a piece at a time is copied.
#[derive(Debug)]
pub(super) struct Pieces(pub(super) Bytes);

impl MessageBody for Pieces {
    type Error = Infallible;

    fn size(&self) -> BodySize {
        BodySize::Sized(u64::try_from(self.0.len()).unwrap_or(u64::MAX))
    }

    fn poll_next(
        self: Pin<&mut Self>,
        _: &mut Context<'_>,
    ) -> Poll<Option<Result<Bytes, Infallible>>> {
        let left = &mut self.get_mut().0;
        let piece = left.split_to(PIECE.min(left.len()));
        Poll::Ready((!piece.is_empty()).then_some(Ok(piece)))
    }
}
