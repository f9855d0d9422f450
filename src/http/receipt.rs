//! The page of a receipt. The receipt comes in the body of a form, never in an address.

use super::contributions::blocking;
use super::form::{self, Fields};
use super::held;
use super::limit;
use super::own;
use super::problem::Problem;
use super::send;
use crate::clock;
use crate::form::reason_words;
use crate::pages::{self, Corrected, ReceiptView, SentPair};
use crate::service::{Own, OwnSent, Public, Refused, Service};
use crate::store::StoredConsent;
use crate::units::Tension;
use crate::vocabulary::{Arm, ConsentEvent, ConsentScope, State};
use crate::wire::problem::ProblemKind;
use actix_web::http::{StatusCode, header};
use actix_web::{HttpRequest, HttpResponse, web};
use std::sync::Arc;
use uuid::Uuid;

/// `GET /studies/{study}/receipt`
pub(super) async fn asked(
    request: HttpRequest,
    service: web::Data<Service>,
    study: web::Path<String>,
) -> HttpResponse {
    match known(&service, &study) {
        Ok(public) => empty(&request, &public, None),
        Err(problem) => problem.answer(&request),
    }
}

/// `POST /studies/{study}/receipt`
pub(super) async fn opened(
    request: HttpRequest,
    service: web::Data<Service>,
    study: web::Path<String>,
    payload: web::Payload,
) -> HttpResponse {
    let public = match known(&service, &study) {
        Ok(public) => public,
        Err(problem) => return problem.answer(&request),
    };
    let fields = match form::fields(&request, payload).await {
        Ok(fields) => fields,
        Err(problem) => return problem.answer(&request),
    };
    let receipt = fields.get("receipt").to_owned();
    let withdrawn = (fields.get("do") == "withdraw-now").then(|| chosen(&fields));
    let own = blocking(move || {
        Ok(match withdrawn {
            Some(contribution) => {
                service.withdraw(&study, &receipt, contribution?, clock::now_ms())?
            }
            None => service.own(&study, &receipt)?,
        })
    });
    match own.await {
        Ok(own) => answer(&request, &fields, &own),
        Err(problem) => refused(&request, &public, &problem),
    }
}

fn known(service: &Service, study: &str) -> Result<Arc<Public>, Problem> {
    service
        .study(study)
        .ok_or_else(|| Refused::StudyUnknown.into())
}

fn chosen(fields: &Fields) -> Result<Uuid, Refused> {
    Uuid::try_parse(fields.get("contribution")).map_err(|_| Refused::ContributionUnknown)
}

fn answer(request: &HttpRequest, fields: &Fields, own: &Own) -> HttpResponse {
    let pairs = pairs(own);
    let named = |pair: &&SentPair| pair.contribution == fields.get("contribution");
    match (fields.get("do"), pairs.iter().find(named)) {
        ("withdraw", Some(pair)) => {
            let receipt = own.receipt.reveal();
            let page = pages::withdraw(&own.public.study, &receipt, pair);
            form::page(request, StatusCode::OK, page)
        }
        ("answer", Some(pair)) => {
            let sent = own.contributions.get(pair.number - 1);
            sent.and_then(|sent| own::seen(request, own, sent))
                .unwrap_or_else(|| list(request, own, &pairs, None))
        }
        ("correct", Some(pair)) => correct(request, own, &pairs, pair),
        ("export", _) => export(own),
        _ => list(request, own, &pairs, None),
    }
}

fn correct(request: &HttpRequest, own: &Own, pairs: &[SentPair], pair: &SentPair) -> HttpResponse {
    let sent = own.contributions.get(pair.number - 1);
    let last = sent.and_then(|sent| sent.stored.versions.last().map(|last| (sent, last)));
    let form = last.and_then(|(sent, last)| {
        send::correction(
            request,
            &own.public.study,
            last.document.as_deref()?,
            own.receipt.reveal(),
            sent.stored.uuid,
        )
    });
    form.unwrap_or_else(|| list(request, own, pairs, Some(&pair.contribution)))
}

/// Why a contribution cannot be corrected by form.
const MORE_THAN_THE_FORM: &str =
    "This pair holds more than the form can show, so it is corrected by sending its file anew.";

/// Everything that was sent; `by_file` is a contribution that the form has no room for.
fn list(
    request: &HttpRequest,
    own: &Own,
    pairs: &[SentPair],
    by_file: Option<&str>,
) -> HttpResponse {
    let receipt = own.receipt.reveal();
    let page = pages::receipt(&ReceiptView {
        study: &own.public.study,
        receipt: Some(&receipt),
        trouble: by_file.map(|_| MORE_THAN_THE_FORM),
        pairs,
        by_file,
    });
    form::page(request, StatusCode::OK, page)
}

fn empty(request: &HttpRequest, public: &Public, trouble: Option<&str>) -> HttpResponse {
    let page = pages::receipt(&ReceiptView {
        study: &public.study,
        receipt: None,
        trouble,
        pairs: &[],
        by_file: None,
    });
    let status = match trouble {
        None => StatusCode::OK,
        Some(_) => StatusCode::UNPROCESSABLE_ENTITY,
    };
    form::page(request, status, page)
}

fn refused(request: &HttpRequest, public: &Public, problem: &Problem) -> HttpResponse {
    limit::guessed(request, problem);
    let trouble = match problem.kind {
        ProblemKind::ReceiptUnknown => {
            "Nobody in this study holds this receipt. Check each group, or whether it is of another study."
        }
        _ => &problem.detail,
    };
    let mut answer = empty(request, public, Some(trouble));
    if problem.kind == ProblemKind::Unavailable {
        *answer.status_mut() = StatusCode::SERVICE_UNAVAILABLE;
    }
    form::told(answer, problem.kind)
}

fn export(own: &Own) -> HttpResponse {
    HttpResponse::Ok()
        .content_type("application/json")
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .insert_header((
            header::CONTENT_DISPOSITION,
            format!(
                "attachment; filename=\"{}-my-sessions.json\"",
                own.public.study.label.slug
            ),
        ))
        .body(format!("{}\n", held::document(own)))
}

fn pairs(own: &Own) -> Vec<SentPair> {
    let numbered = own.contributions.iter().zip(1..);
    numbered.map(|(sent, number)| pair(sent, number)).collect()
}

fn pair(sent: &OwnSent, number: usize) -> SentPair {
    let stored = &sent.stored;
    let day = |version: &crate::store::StoredVersion| clock::date(version.received_at_ms);
    let corrections = stored.versions.iter().filter_map(|version| {
        Some(Corrected {
            date: day(version),
            reason: reason_words(version.reason?),
        })
    });
    SentPair {
        number,
        contribution: stored.uuid.to_string(),
        what: sent.newest.as_ref().and_then(|(contribution, _)| {
            let looser = contribution.tension(Arm::Looser)?;
            let tighter = contribution.tension(Arm::Tighter)?;
            Some(tensions(looser, tighter))
        }),
        sent: stored.versions.first().map(day).unwrap_or_default(),
        standing: sent.standing(),
        corrections: corrections.collect(),
        consents: sent.consents.iter().map(consent).collect(),
        n_rows: sent.rows.len(),
        readable: sent.newest.is_some(),
        mendable: sent.newest.is_some() && stored.state != State::Withdrawn,
    }
}

/// One event of a consent in a sentence.
fn consent(stored: &StoredConsent) -> String {
    let day = clock::date(stored.at_ms);
    let Some(agreed) = &stored.agreed else {
        return format!("{day}: you withdrew; the consent ended.");
    };
    let scope = match agreed.scope {
        ConsentScope::Pooling => "pooling",
        ConsentScope::PoolingAndRows => "pooling and rows",
    };
    let to = match stored.event {
        ConsentEvent::Changed => "from then on to",
        ConsentEvent::Given | ConsentEvent::Ended => "to",
    };
    format!(
        "{day}: you agreed {to} {scope}, by the wording \u{201C}{}\u{201D} of protocol version {}.",
        agreed.text_version, agreed.protocol_version
    )
}

/// "46 against 52 lb", to a tenth of a pound.
fn tensions(looser: Tension, tighter: Tension) -> String {
    let shown = |tension: Tension| {
        let text = crate::numbers::fixed(tension.pounds(), 1);
        text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
    };
    format!("{} against {} lb", shown(looser), shown(tighter))
}
