//! What the holder of a receipt may do: read, mend and withdraw what was sent. The receipt comes in
//! the Authorization header.

use super::body;
use super::contributions::{blocking, presented_receipt, private, receipt};
use super::problem::Problem;
use crate::clock;
use crate::service::{Correction, Own, Refused, Service, told_consent as consent};
use crate::store::StoredPlan;
use crate::vocabulary::CorrectionReason;
use crate::wire;
use crate::wire::problem::ProblemKind;
use actix_web::{HttpRequest, HttpResponse, web};
use serde_json::Value;
use uuid::Uuid;

/// `GET /api/v1/studies/{study}/contributions`: everything that the holder of the receipt sent.
pub(super) async fn read(
    request: HttpRequest,
    service: web::Data<Service>,
    study: web::Path<String>,
) -> HttpResponse {
    let own = async {
        let receipt = needed_receipt(&request)?;
        blocking(move || Ok(service.own(&study, &receipt)?)).await
    };
    answer(&request, own.await.map(|own| document(&own)))
}

/// `PUT /api/v1/studies/{study}/contributions/{contribution}?reason=WORD`: a mended contribution.
pub(super) async fn mend(
    request: HttpRequest,
    service: web::Data<Service>,
    place: web::Path<(String, String)>,
    payload: web::Payload,
) -> HttpResponse {
    let accepted = async {
        let (study, contribution) = place.into_inner();
        body::declared_as(&request, "application/json", ProblemKind::NotJson)?;
        let holder = needed_receipt(&request)?;
        let contribution = identifier(&contribution)?;
        let reason = reason(request.query_string())?;
        let body = body::read(&request, payload).await?;
        blocking(move || {
            Ok(service.mend(&Correction {
                study: &study,
                receipt: &holder,
                contribution,
                reason,
                document: &body,
                now_ms: clock::now_ms(),
            })?)
        })
        .await
    };
    answer(&request, accepted.await.map(|accepted| receipt(&accepted)))
}

/// `DELETE /api/v1/studies/{study}/contributions/{contribution}`: a withdrawal.
pub(super) async fn withdraw(
    request: HttpRequest,
    service: web::Data<Service>,
    place: web::Path<(String, String)>,
) -> HttpResponse {
    let own = async {
        let (study, contribution) = place.into_inner();
        let receipt = needed_receipt(&request)?;
        let contribution = identifier(&contribution)?;
        blocking(move || Ok(service.withdraw(&study, &receipt, contribution, clock::now_ms())?))
            .await
    };
    answer(&request, own.await.map(|own| document(&own)))
}

fn answer(request: &HttpRequest, document: Result<Value, Problem>) -> HttpResponse {
    match document {
        Ok(document) => private(HttpResponse::Ok(), &document),
        Err(problem) => problem.answer(request),
    }
}

fn needed_receipt(request: &HttpRequest) -> Result<String, Problem> {
    presented_receipt(request)?.ok_or_else(|| {
        Problem::new(
            ProblemKind::ReceiptUnknown,
            "This needs the receipt: send the header `Authorization: Receipt` and then the receipt.",
        )
    })
}

fn identifier(text: &str) -> Result<Uuid, Problem> {
    Uuid::try_parse(text).map_err(|_| Refused::ContributionUnknown.into())
}

/// The reason of a correction, from the address.
fn reason(query: &str) -> Result<CorrectionReason, Problem> {
    let word = query.strip_prefix("reason=").unwrap_or_default();
    CorrectionReason::from_code(word).ok_or_else(|| {
        let words: Vec<&str> = CorrectionReason::ALL
            .iter()
            .map(|word| word.code())
            .collect();
        Problem::new(
            ProblemKind::BadRequest,
            format!(
                "A correction needs its reason: add `?reason=` and one of {} to the address.",
                words.join(", ")
            ),
        )
    })
}

/// Everything that a receipt opens, as a document.
pub(super) fn document(own: &Own) -> Value {
    let contributions: Vec<wire::own::OwnContribution<'_>> = own
        .contributions
        .iter()
        .map(|sent| wire::own::OwnContribution {
            contribution: sent.stored.uuid.to_string(),
            state: sent.stored.state,
            standing: sent.standing(),
            withdrawn: sent.stored.withdrawn_at_ms.map(clock::date_time),
            versions: sent.stored.versions.iter().map(version).collect(),
            pair: sent.newest.as_ref().map(|(_, pair)| pair),
            flags: &sent.flags,
            plan: sent.plan.as_ref().map(|plan| named(plan, sent.planned)),
            consents: sent.consents.iter().map(consent).collect(),
            rows: sent
                .rows
                .iter()
                .map(|row| wire::aggregate::row(row, &own.public.publication.frames))
                .collect(),
        })
        .collect();
    wire::own::document(&own.public.study.label, &contributions)
}

fn named(plan: &StoredPlan, planned: bool) -> wire::own::NamedPlan<'_> {
    wire::own::NamedPlan {
        code: &plan.code,
        drawn: clock::date_time(plan.drawn_at_ms),
        opened: plan
            .opened_at_ms
            .map(|opened| (clock::date_time(opened), plan.sequence)),
        planned,
    }
}

fn version(version: &crate::store::StoredVersion) -> wire::own::SentVersion<'_> {
    wire::own::SentVersion {
        number: version.number,
        received: clock::date_time(version.received_at_ms),
        reason: version.reason,
        batch: version.batch,
        document: version.document.as_deref(),
    }
}
