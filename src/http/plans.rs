//! Drawing and opening plans: for programs in JSON, for people as a page with two forms.

use super::body;
use super::contributions::{blocking, private};
use super::form;
use super::key::request_key;
use super::problem::{self, Problem};
use crate::clock;
use crate::intake;
use crate::pages::{self, PlanStep, Station};
use crate::plan::Kind;
use crate::protocol::StudyLabel;
use crate::service::{Refused, Service};
use crate::store::StoredPlan;
use crate::wire::plan::{Plan, plan};
use crate::wire::problem::ProblemKind;
use actix_web::http::StatusCode;
use actix_web::web;
use actix_web::{HttpRequest, HttpResponse};

/// `POST /api/v1/studies/{study}/plans`
pub(super) async fn draw(
    request: HttpRequest,
    service: web::Data<Service>,
    study: web::Path<String>,
    payload: web::Payload,
) -> HttpResponse {
    let drawn = drawn(&request, &service, &study, payload).await;
    answer(&request, &service, &study, StatusCode::CREATED, drawn)
}

/// `POST /api/v1/studies/{study}/plans/{code}/open`
pub(super) async fn open(
    request: HttpRequest,
    service: web::Data<Service>,
    path: web::Path<(String, String)>,
) -> HttpResponse {
    let (study, code) = path.into_inner();
    let opened = opened(&service, &study, code).await;
    let opened = opened.and_then(|opened| Ok(opened?));
    answer(&request, &service, &study, StatusCode::OK, opened)
}

/// `GET /studies/{study}/plan`
pub(super) async fn page(
    request: HttpRequest,
    service: web::Data<Service>,
    study: web::Path<String>,
) -> HttpResponse {
    shown(
        &request,
        &service,
        &study,
        StatusCode::OK,
        &PlanStep::Draw {
            token: form::fresh_token(),
            refused: None,
        },
    )
}

/// `POST /studies/{study}/plan`
pub(super) async fn act(
    request: HttpRequest,
    service: web::Data<Service>,
    study: web::Path<String>,
    payload: web::Payload,
) -> HttpResponse {
    match acted(&request, &service, &study, payload).await {
        Ok((status, step)) => shown(&request, &service, &study, status, &step),
        // The page that is shown says so, whatever the step.
        Err(problem) if problem.kind == ProblemKind::NotRecruiting => shown(
            &request,
            &service,
            &study,
            problem::status(problem.kind),
            &PlanStep::Draw {
                token: form::fresh_token(),
                refused: None,
            },
        ),
        Err(problem) => problem.answer(&request),
    }
}

async fn drawn(
    request: &HttpRequest,
    service: &web::Data<Service>,
    study: &str,
    payload: web::Payload,
) -> Result<StoredPlan, Problem> {
    if service.study(study).is_none() {
        return Err(Refused::StudyUnknown.into());
    }
    body::declared_as(request, "application/json", ProblemKind::NotJson)?;
    let key = request_key(request)?;
    let kind = intake::plan_request(&body::read(request, payload).await?)?;
    let _under_way = service.under_way(study, key.as_deref())?;
    lot(service, study, kind, key).await
}

async fn lot(
    service: &web::Data<Service>,
    study: &str,
    kind: Kind,
    key: Option<String>,
) -> Result<StoredPlan, Problem> {
    let (service, study) = (web::Data::clone(service), study.to_owned());
    blocking(move || Ok(service.draw_plan(&study, kind, key.as_deref(), clock::now_ms())?)).await
}

/// The outer error is a failure of the service, the inner one that of whoever asks.
async fn opened(
    service: &web::Data<Service>,
    study: &str,
    code: String,
) -> Result<Result<StoredPlan, Refused>, Problem> {
    let (service, study) = (web::Data::clone(service), study.to_owned());
    blocking(move || Ok(service.open_plan(&study, &code, clock::now_ms()))).await
}

fn answer(
    request: &HttpRequest,
    service: &Service,
    study: &str,
    status: StatusCode,
    found: Result<StoredPlan, Problem>,
) -> HttpResponse {
    match (found, service.study(study)) {
        (Ok(found), Some(public)) => private(
            HttpResponse::build(status),
            &document(&public.study.label, &found),
        ),
        (Ok(_), None) => Problem::from(Refused::StudyUnknown).answer(request),
        (Err(problem), _) => problem.answer(request),
    }
}

fn document(study: &StudyLabel, found: &StoredPlan) -> serde_json::Value {
    plan(&Plan {
        study,
        code: &found.code,
        kind: found.kind,
        drawn: clock::date_time(found.drawn_at_ms),
        opened: found
            .opened_at_ms
            .map(|ms| (clock::date_time(ms), found.sequence)),
    })
}

/// What a form asks for, done; the status goes with the page that says so.
async fn acted(
    request: &HttpRequest,
    service: &web::Data<Service>,
    study: &str,
    payload: web::Payload,
) -> Result<(StatusCode, PlanStep), Problem> {
    if service.study(study).is_none() {
        return Err(Refused::StudyUnknown.into());
    }
    let form = form::fields(request, payload).await?;
    match form.get("do") {
        "draw" => {
            let kind = Kind::from_code(form.get("kind")).ok_or_else(unreadable)?;
            let key = form::token(form.get("token"));
            let plan = lot(service, study, kind, Some(key)).await?;
            Ok((StatusCode::OK, step(plan)))
        }
        "open" => {
            let typed = form.get("code").to_owned();
            match opened(service, study, typed.clone()).await? {
                Ok(plan) => Ok((StatusCode::OK, step(plan))),
                Err(Refused::PlanUnknown) => Ok((
                    StatusCode::NOT_FOUND,
                    PlanStep::Draw {
                        token: form::fresh_token(),
                        refused: Some(typed.chars().take(LONGEST_SHOWN).collect()),
                    },
                )),
                Err(refused) => Err(refused.into()),
            }
        }
        _ => Err(unreadable()),
    }
}

/// Most characters of a mistyped code that are shown again.
const LONGEST_SHOWN: usize = 40;

fn step(plan: StoredPlan) -> PlanStep {
    match plan.opened_at_ms {
        None => PlanStep::Sealed(plan.code),
        Some(_) => PlanStep::Opened(plan.code, plan.sequence),
    }
}

fn unreadable() -> Problem {
    Problem::new(
        ProblemKind::BadRequest,
        "The form is not what this page sends; load the page anew.",
    )
}

fn shown(
    request: &HttpRequest,
    service: &Service,
    study: &str,
    status: StatusCode,
    step: &PlanStep,
) -> HttpResponse {
    let Some(public) = service.study(study) else {
        return Problem::from(Refused::StudyUnknown).answer(request);
    };
    if !public.is_recruiting() {
        return form::closed(request, status, &public, Station::Plan);
    }
    form::page(request, status, pages::plan(&public.study, step))
}
