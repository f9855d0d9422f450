//! The host's pages of studies: the desk of one, opening and closing. Writing one is in [`mod@write`].

mod write;

use super::contributions::blocking;
use super::documents::reading;
use super::host::{desk_page, desk_page_as, go_to, problem_page, read_form, signed_in};
use super::problem::{self, Problem};
use crate::clock;
use crate::findings::progress::progress;
use crate::intake;
use crate::pages::desk::{self as pages, Arrivals, Opening, ProgressView, StudyDesk};
use crate::pages::host::Desk;
use crate::service::{Life, NotChanged, Public, Refused, Service, ServiceError, SignedIn};
use crate::vocabulary::StudyState;
use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse, web};
use std::sync::Arc;

/// Milliseconds of a day.
const DAY_MS: i64 = 86_400_000;

/// The routes of the desk of studies.
pub(super) fn routes(config: &mut web::ServiceConfig) {
    let form = |path: &str, shown: actix_web::Route, sent: actix_web::Route| {
        web::resource(path)
            .route(shown)
            .route(sent)
            .default_service(web::to(problem::read_or_post))
    };
    config
        .service(form(
            "/host/new",
            reading().to(write::begin),
            web::post().to(write::add),
        ))
        .service(
            web::resource("/host/studies/{study}")
                .route(reading().to(study))
                .default_service(web::to(problem::only_read)),
        )
        .service(form(
            "/host/studies/{study}/protocol",
            reading().to(write::go_on),
            web::post().to(write::change),
        ))
        .service(form(
            "/host/studies/{study}/open",
            reading().to(opening),
            web::post().to(open),
        ))
        .service(form(
            "/host/studies/{study}/close",
            reading().to(closing),
            web::post().to(close),
        ));
}

/// What a handler gives: an answer either way.
type Answer = Result<HttpResponse, HttpResponse>;

fn either(answer: Answer) -> HttpResponse {
    answer.unwrap_or_else(|answer| answer)
}

/// `GET /host/studies/{study}`
async fn study(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    let answer = async {
        let signed_in = signed_in(&request, &service).await?;
        let life = life(&request, &service, &slug).await?;
        let name = slug.clone();
        let came = on_the_pool(&request, &service, move |service| service.arrivals(&name)).await?;
        let public = service.study(&slug);
        let page = pages::study_desk(&StudyDesk {
            desk: Desk::new(signed_in.form_token.text()),
            study: &life.newest.study,
            state: life.state,
            opened: life.opened_at_ms.map(clock::date),
            closed: life.closed_at_ms.map(clock::date),
            plan_changed: life.is_plan_changed(&life.newest),
            progress: public.as_ref().map(|public| watched(public, &came)),
        });
        Ok(desk_page(&request, page))
    };
    either(answer.await)
}

/// How far a study has come, with when each of its players came.
fn watched<'a>(public: &'a Arc<Public>, came_ms: &[i64]) -> ProgressView<'a> {
    let publication = &public.publication;
    let since_ms = public.life.opened_at_ms.unwrap_or(0);
    ProgressView {
        bands: &publication.rules.bands,
        batch: publication.batch.as_ref().map(|batch| batch.date.as_str()),
        progress: progress(publication, &public.findings),
        arrivals: Arrivals {
            since: clock::date(since_ms),
            days: came_ms
                .iter()
                .map(|came_ms| came_ms.div_euclid(DAY_MS) - since_ms.div_euclid(DAY_MS))
                .collect(),
        },
    }
}

/// `GET /host/studies/{study}/open`
async fn opening(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    let answer = async {
        let signed_in = signed_in(&request, &service).await?;
        let life = life(&request, &service, &slug).await?;
        if life.state != StudyState::Draft {
            return Ok(go_to(&desk_of(&slug)));
        }
        Ok(asked(&request, &signed_in, &life, StatusCode::OK, false))
    };
    either(answer.await)
}

/// The page that asks whether to open recruiting.
fn asked(
    request: &HttpRequest,
    signed_in: &SignedIn,
    life: &Life,
    status: StatusCode,
    is_changed: bool,
) -> HttpResponse {
    let study = &life.newest.study;
    let missing = intake::ready_to_recruit(study).err();
    let missing = missing.into_iter().flat_map(|rejection| rejection.faults);
    let page = pages::opening(&Opening {
        desk: Desk::new(signed_in.form_token.text()),
        study,
        plan_hash: life.plan_hash_now(),
        missing: missing.map(|fault| fault.sentence).collect(),
        is_changed,
    });
    desk_page_as(request, status, page)
}

/// `POST /host/studies/{study}/open`
async fn open(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
    payload: web::Payload,
) -> HttpResponse {
    let answer = async {
        let signed_in = signed_in(&request, &service).await?;
        let form = read_form(&request, payload, &signed_in).await?;
        let life = life(&request, &service, &slug).await?;
        let is_changed = form.get("plan_hash") != life.plan_hash_now();
        let is_ready = intake::ready_to_recruit(&life.newest.study).is_ok();
        if life.state == StudyState::Draft && (is_changed || !is_ready) {
            let status = StatusCode::CONFLICT;
            return Ok(asked(&request, &signed_in, &life, status, is_changed));
        }
        changed(&request, &service, &slug, Service::open_recruiting).await
    };
    either(answer.await)
}

/// `GET /host/studies/{study}/close`
async fn closing(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    let answer = async {
        let signed_in = signed_in(&request, &service).await?;
        let life = life(&request, &service, &slug).await?;
        if life.state != StudyState::Recruiting {
            return Ok(go_to(&desk_of(&slug)));
        }
        let desk = Desk::new(signed_in.form_token.text());
        Ok(desk_page(
            &request,
            pages::closing(desk, &life.newest.study),
        ))
    };
    either(answer.await)
}

/// `POST /host/studies/{study}/close`
async fn close(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
    payload: web::Payload,
) -> HttpResponse {
    let answer = async {
        let signed_in = signed_in(&request, &service).await?;
        read_form(&request, payload, &signed_in).await?;
        changed(&request, &service, &slug, Service::close_recruiting).await
    };
    either(answer.await)
}

/// Opens or closes, and goes back to the desk of the study. What was done before is done.
async fn changed(
    request: &HttpRequest,
    service: &web::Data<Service>,
    slug: &str,
    change: fn(&Service, &str, i64) -> Result<Life, NotChanged>,
) -> Answer {
    let name = slug.to_owned();
    let done = on_the_pool(request, service, move |service| {
        match change(service, &name, clock::now_ms()) {
            Err(NotChanged::Service(error)) => Err(error),
            other => Ok(other.map(drop)),
        }
    });
    match done.await? {
        Ok(()) | Err(NotChanged::OpenedBefore | NotChanged::NotOpen) => Ok(go_to(&desk_of(slug))),
        Err(other) => Err(problem_page(request, &Problem::from(other))),
    }
}

/// Where a study stands, or the page that says that there is none of this name.
async fn life(
    request: &HttpRequest,
    service: &web::Data<Service>,
    slug: &str,
) -> Result<Life, HttpResponse> {
    let name = slug.to_owned();
    let life = on_the_pool(request, service, move |service| service.life(&name)).await?;
    life.ok_or_else(|| problem_page(request, &Refused::StudyUnknown.into()))
}

/// Work of the service that blocks; its failure as a page.
async fn on_the_pool<T: Send + 'static>(
    request: &HttpRequest,
    service: &web::Data<Service>,
    work: impl FnOnce(&Service) -> Result<T, ServiceError> + Send + 'static,
) -> Result<T, HttpResponse> {
    let service = web::Data::clone(service);
    let done = blocking(move || work(&service).map_err(|error| Refused::from(error).into()));
    done.await
        .map_err(|problem| problem_page(request, &problem))
}

/// The address of a study's desk.
fn desk_of(slug: &str) -> String {
    format!("/host/studies/{slug}")
}
