//! Bodies of requests: how they are declared, how large they may be and how long they may take.

use super::problem::Problem;
use crate::protocol::limits;
use crate::wire::problem::ProblemKind;
use actix_web::HttpRequest;
use actix_web::rt::time::timeout;
use actix_web::web::{self, BytesMut};
use futures_util::StreamExt;
use std::time::Duration;

/// How long a body may take: 256 KiB over a line of 10 kB/s, and some.
pub(super) const WITHIN: Duration = Duration::from_secs(30);

/// The text of a header; `None` when it is absent.
pub(super) fn only<'a>(request: &'a HttpRequest, name: &str) -> Result<Option<&'a str>, Problem> {
    let mut values = request.headers().get_all(name);
    let first = values.next();
    if values.next().is_some() {
        return Err(Problem::new(
            ProblemKind::BadRequest,
            format!("The header {name} stands there twice; send it once."),
        ));
    }
    // A value that is not visible ASCII is no value that any header here can have.
    Ok(first.map(|value| value.to_str().unwrap_or_default()))
}

/// Refuses a body that is compressed, so that none is ever inflated.
pub(super) fn uncoded(request: &HttpRequest, otherwise: ProblemKind) -> Result<(), Problem> {
    let coding = only(request, "content-encoding")?.unwrap_or("identity");
    if coding.eq_ignore_ascii_case("identity") {
        return Ok(());
    }
    Err(Problem::new(
        otherwise,
        "The body must be sent as it is, without Content-Encoding.",
    ))
}

/// Refuses a body that is not declared as this media type, or is compressed.
pub(super) fn declared_as(
    request: &HttpRequest,
    media_type: &str,
    otherwise: ProblemKind,
) -> Result<(), Problem> {
    uncoded(request, otherwise)?;
    let declared = only(request, "content-type")?.unwrap_or_default();
    let essence = declared.split(';').next().unwrap_or_default().trim();
    if essence.eq_ignore_ascii_case(media_type) {
        return Ok(());
    }
    Err(Problem::new(
        otherwise,
        format!("The body must be declared as Content-Type: {media_type}."),
    ))
}

/// The whole body. One that declares too great a length is refused before any of it is read.
pub(super) async fn read(
    request: &HttpRequest,
    payload: web::Payload,
) -> Result<BytesMut, Problem> {
    let length = only(request, "content-length")?.and_then(|text| text.parse::<u64>().ok());
    let limit = u64::try_from(limits::BODY_BYTES).unwrap_or(u64::MAX);
    if length.is_some_and(|length| limit < length) {
        return Err(too_large());
    }
    timeout(WITHIN, collect(payload)).await.map_err(|_| {
        Problem::new(
            ProblemKind::TooSlow,
            "The body did not arrive within 30 seconds.",
        )
    })?
}

fn too_large() -> Problem {
    Problem::new(
        ProblemKind::TooLarge,
        format!("The body is larger than {} bytes.", limits::BODY_BYTES),
    )
}

async fn collect(mut payload: web::Payload) -> Result<BytesMut, Problem> {
    let mut body = BytesMut::new();
    while let Some(chunk) = payload.next().await {
        let chunk =
            chunk.map_err(|_| Problem::new(ProblemKind::BadRequest, "The body broke off."))?;
        if limits::BODY_BYTES < body.len() + chunk.len() {
            return Err(too_large());
        }
        body.extend_from_slice(&chunk);
    }
    Ok(body)
}
