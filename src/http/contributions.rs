//! Taking contributions in.

use super::body::{self, only};
use super::key::request_key;
use super::problem::Problem;
use crate::clock;
use crate::screening;
use crate::service::{Accepted, Incoming, Refused, Service};
use crate::vocabulary::State;
use crate::wire::problem::ProblemKind;
use crate::wire::reply;
use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder, web};
use serde_json::Value;
use tracing::Span;

/// `POST /api/v1/studies/{study}/contributions`
pub(super) async fn create(
    request: HttpRequest,
    service: web::Data<Service>,
    study: web::Path<String>,
    payload: web::Payload,
) -> HttpResponse {
    match accept(&request, service, study.into_inner(), payload).await {
        Ok(accepted) => private(HttpResponse::Created(), &receipt(&accepted)),
        Err(problem) => problem.answer(&request),
    }
}

/// A document for one client alone.
pub(super) fn private(mut builder: HttpResponseBuilder, document: &Value) -> HttpResponse {
    builder
        .content_type("application/json")
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .body(format!("{document}\n"))
}

async fn accept(
    request: &HttpRequest,
    service: web::Data<Service>,
    study: String,
    payload: web::Payload,
) -> Result<Accepted, Problem> {
    if service.study(&study).is_none() {
        return Err(Refused::StudyUnknown.into());
    }
    body::declared_as(request, "application/json", ProblemKind::NotJson)?;
    let key = request_key(request)?;
    let receipt = presented_receipt(request)?;
    let invitation = only(request, "invitation")?.map(str::to_owned);
    let body = body::read(request, payload).await?;
    blocking(move || {
        let _under_way = service.under_way(&study, key.as_deref())?;
        let incoming = Incoming {
            study: &study,
            document: &body,
            request_key: key.as_deref(),
            receipt: receipt.as_deref(),
            now_ms: clock::now_ms(),
        };
        Ok(service.submit_invited(&incoming, invitation.as_deref())?)
    })
    .await
}

/// Work that blocks, on the pool made for it and inside the request's span.
pub(super) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Problem> + Send + 'static,
) -> Result<T, Problem> {
    let span = Span::current();
    let done = web::block(move || span.in_scope(work)).await;
    done.map_err(|error| Problem::internal(&error.to_string()))?
}

pub(super) fn receipt(accepted: &Accepted) -> Value {
    reply::receipt(&reply::Receipt {
        study: &accepted.public.study,
        contribution: accepted.contribution.to_string(),
        receipt: accepted.receipt.reveal(),
        repeated: accepted.repeated,
        state: accepted.state,
        counts: counts(accepted),
        pair: &accepted.pair,
        flags: &accepted.flags,
    })
}

/// When it counts, in words.
pub(super) fn counts(accepted: &Accepted) -> String {
    if accepted.state == State::Held {
        return screening::waiting_words(&accepted.flags);
    }
    if accepted.corrects {
        return "It is a correction: what was sent before is kept beside it, and public figures take the new version up with the next batch.".to_owned();
    }
    if accepted.repeated {
        return "It was received before; what became of it stands with your receipt.".to_owned();
    }
    match accepted.closed_batch {
        Some(number) => format!("It counts in public batch {number}."),
        None => format!(
            "It counts in the next public batch, which closes when {} new players are in.",
            accepted.public.study.protocol.batch_players
        ),
    }
}

/// The receipt of `Authorization: Receipt <receipt>`. Credentials of another scheme are none that
/// open anything here (RFC 9110, section 15.5.2).
pub(super) fn presented_receipt(request: &HttpRequest) -> Result<Option<String>, Problem> {
    let Some(text) = only(request, "authorization")? else {
        return Ok(None);
    };
    let receipt = text.split_once(' ').and_then(|(scheme, receipt)| {
        scheme
            .eq_ignore_ascii_case("receipt")
            .then(|| receipt.trim().to_owned())
    });
    receipt.map(Some).ok_or_else(|| {
        Problem::new(
            ProblemKind::ReceiptUnknown,
            "The Authorization header must read `Receipt` and then the receipt.",
        )
    })
}
