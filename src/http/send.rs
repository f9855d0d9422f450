//! The form by which sessions are sent: showing it, moving through it, sending it.
//!
//! What was typed travels in the page, so nothing is kept here between two requests. A form is
//! always answered with a page, whatever is wrong with it.

mod asked;
mod moves;

use super::body;
use super::contributions::{blocking, private};
use super::form::{self, MEDIA_TYPE};
use super::limit;
use super::own;
use super::problem::{self, Problem};
use crate::clock;
use crate::form::{FieldFault, Step};
use crate::intake::entries::{self, Checked};
use crate::intake::{FaultCode, FlagCode};
use crate::pages::send::{Hindrance, Purpose, SendView};
use crate::pages::{self, Station};
use crate::protocol::Study;
use crate::service::{Accepted, Correction, Incoming, Refused, Service};
use crate::vocabulary::CorrectionReason;
use crate::wire::form_check::form_check;
use crate::wire::problem::ProblemKind;
use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderValue};
use actix_web::{HttpRequest, HttpResponse, web};
pub(super) use asked::TRAP;
use asked::{Action, Asked};
use moves::Form;
use std::sync::Arc;
use uuid::Uuid;

/// `GET /studies/{study}/send`
pub(super) async fn begin(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    match service.study(&slug) {
        Some(public) if !public.is_recruiting() => {
            form::closed(&request, StatusCode::OK, &public, Station::Send)
        }
        Some(public) => page(
            &request,
            &public.study,
            StatusCode::OK,
            &Asked::blank(),
            &Told::default(),
        ),
        None => Problem::from(Refused::StudyUnknown).answer(&request),
    }
}

/// `POST /studies/{study}/send`
pub(super) async fn take(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
    payload: web::Payload,
) -> HttpResponse {
    let Some(public) = service.study(&slug) else {
        return Problem::from(Refused::StudyUnknown).answer(&request);
    };
    match received(&request, payload).await {
        Ok(asked) => taken(&request, service, &public.study, asked).await,
        Err(problem) => not_received(&request, &public.study, &problem),
    }
}

/// Sends what was typed, or shows the form as the button that was pressed asks for it.
async fn taken(
    request: &HttpRequest,
    service: web::Data<Service>,
    study: &Arc<Study>,
    mut asked: Asked,
) -> HttpResponse {
    let checked = match checked(&service, study, &asked).await {
        Ok(checked) => checked,
        Err(problem) => return hindered(request, study, &asked, &problem),
    };
    let current = &study.protocol.consent.version;
    if asked.entries.get("consent_version") != current {
        asked.entries.forget_consent(current);
    }
    if asked.action == Action::Send && checked.faults.is_empty() {
        return match submit(service, study, &asked, checked.document).await {
            Ok(accepted) => own::sent(request, &accepted, Some(&asked.token)),
            Err(problem) => hindered(request, study, &asked, &problem),
        };
    }
    let mut form = Form::new(asked, checked.faults, checked.flags);
    form.act();
    let status = if form.kept {
        StatusCode::UNPROCESSABLE_ENTITY
    } else {
        StatusCode::OK
    };
    let told = Told {
        faults: form.faults(),
        flags: form.flags(),
        asks: form.asks,
        hindrance: None,
    };
    page(request, study, status, &form.asked, &told)
}

/// The form with a contribution in it, to be corrected; `None` when it holds more than the form has
/// room for.
pub(super) fn correction(
    request: &HttpRequest,
    study: &Study,
    document: &[u8],
    receipt: String,
    contribution: Uuid,
) -> Option<HttpResponse> {
    let mut asked = Asked::blank();
    asked.entries = entries::entries(&serde_json::from_slice(document).ok()?, study)?;
    asked.receipt = receipt;
    asked.correcting = Some(contribution);
    let told = Told::default();
    Some(page(request, study, StatusCode::OK, &asked, &told))
}

/// `POST /studies/{study}/send/check`
pub(super) async fn check(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
    payload: web::Payload,
) -> HttpResponse {
    let Some(public) = service.study(&slug) else {
        return Problem::from(Refused::StudyUnknown).answer(&request);
    };
    let found = async {
        let asked = received(&request, payload).await?;
        checked(&service, &public.study, &asked).await
    };
    match found.await {
        Ok(checked) => private(
            HttpResponse::Ok(),
            &form_check(&checked.faults, &checked.flags),
        ),
        Err(problem) => problem.answer(&request),
    }
}

async fn received(request: &HttpRequest, payload: web::Payload) -> Result<Asked, Problem> {
    body::declared_as(request, MEDIA_TYPE, ProblemKind::NotForm)?;
    let body = body::read(request, payload).await?;
    Ok(Asked::read(&body))
}

/// What is made of the entries, and everything that is to be mended before it can be sent.
async fn checked(
    service: &web::Data<Service>,
    study: &Arc<Study>,
    asked: &Asked,
) -> Result<Checked, Problem> {
    let (typed, of) = (asked.entries.clone(), Arc::clone(study));
    let mut checked = blocking(move || Ok(entries::check(&typed, &of))).await?;
    checked.faults.extend(reason_missing(asked));
    checked.faults.extend(trap_filled(asked));
    let at_code = |fault: &FieldFault| fault.field.as_deref() == Some("plan_code");
    if !checked.faults.iter().any(at_code) {
        checked
            .faults
            .extend(plan_unknown(service, study, asked).await?);
    }
    Ok(checked)
}

/// A plan code that was never drawn here. A program is only told; a person has mistyped it, and
/// after sending it would be too late to mend.
async fn plan_unknown(
    service: &web::Data<Service>,
    study: &Study,
    asked: &Asked,
) -> Result<Option<FieldFault>, Problem> {
    let typed = asked.entries.get("plan_code").to_owned();
    if typed.is_empty() || asked.correcting.is_some() {
        return Ok(None);
    }
    let (service, slug) = (web::Data::clone(service), study.label.slug.clone());
    let known = blocking(move || Ok(service.knows_plan(&slug, &typed).map_err(Refused::from)?));
    Ok((!known.await?).then(|| FieldFault {
        field: Some("plan_code".to_owned()),
        step: Step::Setup,
        pointer: "/plan_code".to_owned(),
        code: FlagCode::PlanNotFound.code(),
        sentence: PLAN_UNKNOWN.to_owned(),
    }))
}

/// What is said of a plan code that nobody drew.
pub(super) const PLAN_UNKNOWN: &str = "No plan with this code was drawn in this study; compare it with what you wrote down, or leave it blank.";

async fn submit(
    service: web::Data<Service>,
    study: &Study,
    asked: &Asked,
    document: Vec<u8>,
) -> Result<Accepted, Problem> {
    let slug = study.label.slug.clone();
    let (token, invitation) = (asked.token.clone(), asked.invitation.clone());
    let receipt = (!asked.receipt.is_empty()).then(|| asked.receipt.clone());
    let correcting = asked.correcting.zip(reason(asked));
    blocking(move || {
        let now_ms = clock::now_ms();
        Ok(match correcting {
            None => service.submit_invited(
                &Incoming {
                    study: &slug,
                    document: &document,
                    request_key: Some(&token),
                    receipt: receipt.as_deref(),
                    now_ms,
                },
                Some(&invitation),
            )?,
            Some((contribution, reason)) => service.mend(&Correction {
                study: &slug,
                receipt: receipt.as_deref().unwrap_or_default(),
                contribution,
                reason,
                document: &document,
                now_ms,
            })?,
        })
    })
    .await
}

/// Why a contribution is corrected; `None` when that was not chosen.
fn reason(asked: &Asked) -> Option<CorrectionReason> {
    CorrectionReason::from_code(asked.entries.get("reason"))
}

/// A correction without its reason.
fn reason_missing(asked: &Asked) -> Option<FieldFault> {
    (asked.correcting.is_some() && reason(asked).is_none()).then(|| FieldFault {
        field: Some("reason".to_owned()),
        step: Step::Send,
        pointer: String::new(),
        code: FaultCode::Missing.code(),
        sentence: "Say why you correct it.".to_owned(),
    })
}

/// What is said when that field was filled in.
pub(super) const TRAP_FILLED: &str = "Empty the field that says that it is to be left empty: something filled it in, perhaps your browser.";

/// A field that people do not see was filled in, as programs do that fill in every field.
fn trap_filled(asked: &Asked) -> Option<FieldFault> {
    (!asked.trap.is_empty()).then(|| FieldFault {
        field: Some(TRAP.to_owned()),
        step: Step::Send,
        pointer: String::new(),
        code: FaultCode::TooLong.code(),
        sentence: TRAP_FILLED.to_owned(),
    })
}

fn purpose(asked: &Asked) -> Purpose {
    asked.correcting.map_or(Purpose::Pair, Purpose::Correction)
}

/// The form again with everything that was typed, after nothing was stored.
fn hindered(
    request: &HttpRequest,
    study: &Study,
    asked: &Asked,
    problem: &Problem,
) -> HttpResponse {
    limit::guessed(request, problem);
    let status = match problem.kind {
        // Its own status promises a header that a page of a form has no use for.
        ProblemKind::ReceiptUnknown => StatusCode::UNPROCESSABLE_ENTITY,
        kind => problem::status(kind),
    };
    let hindrance = match problem.kind {
        ProblemKind::KeyUsedOtherwise => Hindrance::AlreadySent,
        ProblemKind::ReceiptUnknown => Hindrance::ReceiptUnknown,
        ProblemKind::InvitationNeeded if asked.invitation.is_empty() => {
            Hindrance::InvitationMissing
        }
        ProblemKind::InvitationNeeded => Hindrance::InvitationUnknown,
        ProblemKind::TooManyPairs => Hindrance::TooManyPairs,
        ProblemKind::NotFound => Hindrance::ContributionUnknown,
        ProblemKind::AlreadyWithdrawn => Hindrance::Withdrawn,
        ProblemKind::TooManyVersions => Hindrance::TooManyVersions,
        ProblemKind::NotRecruiting => Hindrance::Closed,
        ProblemKind::Unavailable => Hindrance::Unavailable,
        ProblemKind::TooLarge => Hindrance::TooLarge,
        ProblemKind::TooSlow | ProblemKind::BadRequest => Hindrance::BrokenOff,
        _ => Hindrance::Failed,
    };
    let told = Told {
        hindrance: Some(hindrance),
        ..Told::default()
    };
    let page = page(request, study, status, asked, &told);
    form::told(page, problem.kind)
}

/// The answer to a body that could not be read.
fn not_received(request: &HttpRequest, study: &Study, problem: &Problem) -> HttpResponse {
    if problem.kind == ProblemKind::NotForm {
        return problem.answer(request);
    }
    let mut answer = hindered(request, study, &Asked::blank(), problem);
    // The rest of the body is not read, so the connection cannot carry another request.
    answer
        .head_mut()
        .set_connection_type(actix_web::http::ConnectionType::Close);
    answer
}

/// What a page of the form tells beside its fields.
#[derive(Default)]
struct Told {
    faults: Vec<FieldFault>,
    flags: Vec<FieldFault>,
    /// Whether the flags of the step that is shown are asked about.
    asks: bool,
    hindrance: Option<Hindrance>,
}

fn page(
    request: &HttpRequest,
    study: &Study,
    status: StatusCode,
    asked: &Asked,
    told: &Told,
) -> HttpResponse {
    let service = request.app_data::<web::Data<Service>>();
    let needs_invitation =
        service.is_some_and(|service| service.needs_invitation(&study.label.slug));
    let rendered = pages::send(&SendView {
        study,
        entries: &asked.entries,
        purpose: purpose(asked),
        step: asked.step,
        reached: asked.reached,
        checked: asked.checked,
        token: &asked.token,
        receipt: &asked.receipt,
        trap: &asked.trap,
        invitation: (needs_invitation && asked.correcting.is_none())
            .then_some(asked.invitation.as_str()),
        faults: &told.faults,
        flags: &told.flags,
        asks: told.asks,
        hindrance: told.hindrance,
    });
    let mut answer = form::page(request, status, rendered);
    if asked.receipt.is_empty() {
        // Without a script the browser's own way back leads to such a page, and one that may not be
        // kept cannot be gone back to. A page with a receipt in it is not kept all the same.
        answer.headers_mut().insert(
            header::CACHE_CONTROL,
            HeaderValue::from_static("private, no-cache"),
        );
    }
    answer
}
