//! Addresses that every program may read: open to pages of other origins.

use super::headers;
use super::problem;
use actix_web::body::MessageBody;
use actix_web::dev::{HttpServiceFactory, ServiceRequest, ServiceResponse};
use actix_web::http::Method;
use actix_web::http::header::{self, HeaderMap, HeaderValue};
use actix_web::middleware::{Next, from_fn};
use actix_web::{Error, HttpResponse, Route, web};

/// What scripts of other origins may see of an answer, besides the headers that they always may
/// (Fetch Standard, "CORS-safelisted response-header name").
const EXPOSED: HeaderValue = HeaderValue::from_static(
    "Accept-Ranges, Content-Disposition, Content-Range, ETag, Link, RateLimit, RateLimit-Policy, Repr-Digest, Request-Id, Retry-After",
);

/// How long browsers may remember the answer to a preflight, in seconds: a day. They cut it
/// shorter anyway (common practice, no source).
const REMEMBERED: &str = "86400";

/// An address with a public document: GET and HEAD, from pages of every origin. It takes no
/// receipt and no cookie, so there is nothing that another origin could do in somebody's name.
pub(super) fn open(path: &str, handler: Route) -> impl HttpServiceFactory + 'static {
    web::resource(path)
        .route(handler)
        .route(web::method(Method::OPTIONS).to(preflight))
        .default_service(web::to(problem::only_read_openly))
        .wrap(from_fn(for_every_origin))
}

/// What a browser asks before a script of another origin sends a header of its own.
async fn preflight() -> HttpResponse {
    HttpResponse::NoContent()
        .insert_header((header::ALLOW, problem::READ_OPENLY))
        .insert_header((header::ACCESS_CONTROL_ALLOW_METHODS, "GET, HEAD"))
        .insert_header((
            header::ACCESS_CONTROL_ALLOW_HEADERS,
            "If-None-Match, If-Range, Range",
        ))
        .insert_header((header::ACCESS_CONTROL_MAX_AGE, REMEMBERED))
        .finish()
}

/// Middleware: errors may be read as well, so that a script can tell what went wrong.
async fn for_every_origin(
    request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    let mut answer = next.call(request).await?;
    to_every_origin(answer.headers_mut());
    Ok(answer)
}

/// Lets scripts of every origin read an answer.
pub(super) fn to_every_origin(headers: &mut HeaderMap) {
    let every = HeaderValue::from_static("*");
    headers.insert(header::ACCESS_CONTROL_ALLOW_ORIGIN, every);
    headers.insert(header::ACCESS_CONTROL_EXPOSE_HEADERS, EXPOSED);
    headers::for_every_origin(headers);
}
