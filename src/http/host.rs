//! The host's pages: who may see them, and what every one of them has in common.
//!
//! A handler of the desk begins with [`signed_in`]; one that changes something then reads its form
//! with [`read_form`], which refuses what another site sent. Both give back an answer to return as
//! it is. Pages leave through [`desk_page`], failures through [`problem_page`].

mod cookie;
mod desk;
mod review;
mod sign_in;

use super::came_from;
use super::contributions::blocking;
use super::documents::reading;
use super::form::{self, Fields};
use super::problem::{self, Problem};
use crate::clock;
use crate::pages::host::{self as pages, Trouble};
use crate::service::{Refused, Service, ServiceError, SignedIn};
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::http::{Method, StatusCode};
use actix_web::{HttpRequest, HttpResponse, web};

/// Where the host signs in.
const SIGN_IN: &str = "/host/sign-in";

/// The routes of the host.
pub(super) fn routes(config: &mut web::ServiceConfig) {
    let posting = |path: &str, handler: actix_web::Route| {
        web::resource(path)
            .route(handler)
            .default_service(web::to(problem::only_post))
    };
    config
        .service(
            web::resource("/host")
                .route(reading().to(desk::studies))
                .default_service(web::to(problem::only_read)),
        )
        .service(
            web::resource(SIGN_IN)
                .route(reading().to(sign_in::asked))
                .route(web::post().to(sign_in::tried))
                .default_service(web::to(problem::read_or_post)),
        )
        .service(posting("/host/sign-out", web::post().to(desk::sign_out)))
        .service(posting(
            "/host/sign-out-everywhere",
            web::post().to(desk::sign_out_everywhere),
        ))
        .service(
            web::resource("/host/studies/{study}/review")
                .route(reading().to(review::list))
                .default_service(web::to(problem::only_read)),
        )
        .service(
            web::resource("/host/studies/{study}/review/{contribution}")
                .route(reading().to(review::case))
                .route(web::post().to(review::decide))
                .default_service(web::to(problem::read_or_post)),
        )
        .service(
            web::resource("/host/open/{code}")
                .route(reading().to(sign_in::link))
                .route(web::post().to(sign_in::opened))
                .default_service(web::to(problem::read_or_post)),
        );
}

/// The signed-in host, or the answer for somebody who is not: the way to the sign-in page, or for a
/// form a page that says that nothing was done.
pub(super) async fn signed_in(
    request: &HttpRequest,
    service: &web::Data<Service>,
) -> Result<SignedIn, HttpResponse> {
    let found = match cookie::token(request) {
        None => Ok(None),
        Some(token) => {
            let service = web::Data::clone(service);
            on_the_pool(move || service.signed_in(&token, clock::now_ms())).await
        }
    };
    match found {
        Ok(Some(signed_in)) => Ok(signed_in),
        Ok(None) if [Method::GET, Method::HEAD].contains(request.method()) => Err(go_to(SIGN_IN)),
        Ok(None) => Err(trouble(request, StatusCode::FORBIDDEN, &Trouble::SignedOut)),
        Err(problem) => Err(problem_page(request, &problem)),
    }
}

/// A form of the desk, sent by one of its own pages.
pub(super) type HostForm = Fields;

/// Reads a form of the desk. One without the sign-in's `form_token`, or from another site, is
/// refused with a page.
pub(super) async fn read_form(
    request: &HttpRequest,
    payload: web::Payload,
    signed_in: &SignedIn,
) -> Result<HostForm, HttpResponse> {
    let fields = own_form(request, payload).await?;
    if !signed_in.form_token.is(fields.get("form_token")) {
        return Err(trouble(request, StatusCode::FORBIDDEN, &Trouble::OtherForm));
    }
    Ok(fields)
}

/// The fields of a form that no other site sent.
async fn own_form(request: &HttpRequest, payload: web::Payload) -> Result<Fields, HttpResponse> {
    if !came_from::own_page(request) {
        return Err(trouble(request, StatusCode::FORBIDDEN, &Trouble::OtherForm));
    }
    let fields = form::fields(request, payload).await;
    fields.map_err(|problem| problem_page(request, &problem))
}

/// A page of the desk.
pub(super) fn desk_page(
    request: &HttpRequest,
    rendered: Result<String, askama::Error>,
) -> HttpResponse {
    desk_page_as(request, StatusCode::OK, rendered)
}

/// A page of the desk with another status, such as one that shows a form with what is to be mended.
pub(super) fn desk_page_as(
    request: &HttpRequest,
    status: StatusCode,
    rendered: Result<String, askama::Error>,
) -> HttpResponse {
    private(form::page(request, status, rendered))
}

/// A failure as a page.
pub(super) fn problem_page(request: &HttpRequest, problem: &Problem) -> HttpResponse {
    let mut answer = problem.answer(request);
    let page = pages::trouble(&Trouble::Other {
        heading: problem.kind.title(),
        words: &problem.detail,
    });
    let Ok(page) = page else {
        return answer;
    };
    answer.headers_mut().insert(
        header::CONTENT_TYPE,
        HeaderValue::from_static("text/html; charset=utf-8"),
    );
    private(answer.set_body(page).map_into_boxed_body())
}

fn trouble(request: &HttpRequest, status: StatusCode, trouble: &Trouble<'_>) -> HttpResponse {
    desk_page_as(request, status, pages::trouble(trouble))
}

/// The way to another page of the host.
pub(super) fn go_to(path: &str) -> HttpResponse {
    private(
        HttpResponse::SeeOther()
            .insert_header((header::LOCATION, path))
            .finish(),
    )
}

/// Kept by nobody, found by no search.
fn private(mut answer: HttpResponse) -> HttpResponse {
    let headers = answer.headers_mut();
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(
        HeaderName::from_static("x-robots-tag"),
        HeaderValue::from_static("noindex"),
    );
    answer
}

/// Work of the service that blocks.
async fn on_the_pool<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, ServiceError> + Send + 'static,
) -> Result<T, Problem> {
    blocking(move || work().map_err(|error| Refused::from(error).into())).await
}
