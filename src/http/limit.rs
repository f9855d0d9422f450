//! How often a client may ask. The quota and what is left of it stand in the header fields of
//! draft-ietf-httpapi-ratelimit-headers-10 (structured fields, RFC 9651).

mod kind;

pub(super) use kind::Kind;

use super::browser;
use super::client;
use super::form;
use super::metrics;
use super::open;
use super::problem::Problem;
use crate::access::{Left, Quota, Requests};
use crate::clock;
use crate::pages;
use crate::wire::problem::ProblemKind;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::{Error, HttpMessage, HttpRequest, HttpResponse, web};
use std::io;
use std::sync::{Mutex, PoisonError};

/// The limit of this server, shared by its workers; `None` when there is none.
#[derive(Debug)]
pub(super) struct Limit(Option<Mutex<Requests>>);

impl Limit {
    /// A limit of requests for reading a minute and client; 0 is none.
    pub(super) fn new(a_minute: u32) -> io::Result<Self> {
        let limited = 0 < a_minute;
        let requests = limited.then(|| Requests::new(a_minute)).transpose()?;
        Ok(Self(requests.map(Mutex::new)))
    }
}

/// What a request carries from the moment that it named a secret which does not exist.
struct Guessed;

/// Notes when a request named a receipt or an invitation that does not exist.
pub(super) fn guessed(request: &HttpRequest, problem: &Problem) {
    if problem.is_guess {
        request.extensions_mut().insert(Guessed);
    }
}

/// Middleware: counts a request, and refuses it when its client has used the quota up. Secrets that
/// do not exist are counted afterwards; who has named too many of them may name none for a while.
pub(super) async fn request(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let pattern = request.match_pattern();
    let kind = Kind::of(pattern.as_deref(), request.method());
    let Some(left) = taken(request.request(), kind) else {
        return Ok(next.call(request).await?.map_into_boxed_body());
    };
    let mut answer = if left.allowed {
        next.call(request).await?.map_into_boxed_body()
    } else {
        let (request, _) = request.into_parts();
        if let Some(metrics) = metrics::of(&request) {
            metrics.limited(left.quota);
        }
        let answer = too_many(&request, kind, left);
        ServiceResponse::new(request, answer)
    };
    if answer.request().extensions().contains::<Guessed>() {
        count(answer.request(), |requests, client, now_ms| {
            requests.take(client, Quota::Guesses, now_ms)
        });
    }
    tell(answer.headers_mut(), left);
    Ok(answer)
}

/// What is left after a request was taken, or what it has to wait for; `None` when it is not limited.
fn taken(request: &HttpRequest, kind: Kind) -> Option<Left> {
    let quota = kind.quota?;
    let names_one = |field: &&str| request.headers().contains_key(*field);
    let names_a_secret =
        kind.takes_secrets || ["authorization", "invitation"].iter().any(names_one);
    count(request, |requests, client, now_ms| {
        let guesses = requests.look(client, Quota::Guesses, now_ms);
        if names_a_secret && !guesses.allowed {
            return guesses;
        }
        requests.take(client, quota, now_ms)
    })
}

fn count(
    request: &HttpRequest,
    what: impl FnOnce(&mut Requests, std::net::IpAddr, i64) -> Left,
) -> Option<Left> {
    let limit = request.app_data::<web::Data<Limit>>()?;
    let requests = limit.0.as_ref()?;
    let client = client::address(request);
    // The buckets are whole whoever held the lock before: nothing in them can panic half way.
    let mut requests = requests.lock().unwrap_or_else(PoisonError::into_inner);
    Some(what(&mut requests, client, clock::now_ms()))
}

fn too_many(request: &HttpRequest, kind: Kind, left: Left) -> HttpResponse {
    if kind.is_page && browser::asks(request) {
        let sends = left.quota != Quota::Pages;
        let page = pages::too_many(left.seconds, sends);
        return form::page(request, StatusCode::TOO_MANY_REQUESTS, page);
    }
    let what = match left.quota {
        Quota::Reading => "requests for reading",
        Quota::Writing => "requests that may change something",
        Quota::Pages => "requests for pages",
        Quota::Forms => "forms",
        Quota::Plans => "requests that draw plans",
        Quota::Uploads => "files",
        Quota::Guesses => "receipts or invitations that do not exist",
    };
    let mut answer = Problem::new(
        ProblemKind::TooManyRequests,
        format!(
            "Your network has sent {} {what} within a minute, which is as many as one may. Ask again in {} s; nothing was done.",
            left.a_minute, left.seconds
        ),
    )
    .answer(request);
    if kind.is_open {
        open::to_every_origin(answer.headers_mut());
    }
    answer
}

fn tell(headers: &mut HeaderMap, left: Left) {
    let name = left.quota.name();
    let policy = format!("\"{name}\";q={};w=60", left.a_minute);
    let now = format!("\"{name}\";r={};t={}", left.requests, left.seconds);
    for (field, text) in [("ratelimit-policy", policy), ("ratelimit", now)] {
        if let Ok(value) = HeaderValue::from_str(&text) {
            headers.insert(HeaderName::from_static(field), value);
        }
    }
    if !left.allowed {
        headers.insert(header::RETRY_AFTER, left.seconds.into());
    }
}
