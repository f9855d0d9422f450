//! How often a client may ask. The quota and what is left of it stand in the header fields of
//! draft-ietf-httpapi-ratelimit-headers-10 (structured fields, RFC 9651).

use super::client;
use super::problem::Problem;
use crate::access::{Left, Quota, Requests};
use crate::clock;
use crate::wire::problem::ProblemKind;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::Method;
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::{Error, HttpRequest, web};
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

/// Middleware: counts a request, and refuses it when its client has used the quota up.
pub(super) async fn request(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let Some(left) = take(request.request()) else {
        return Ok(next.call(request).await?.map_into_boxed_body());
    };
    let mut answer = if left.allowed {
        next.call(request).await?.map_into_boxed_body()
    } else {
        let (request, _) = request.into_parts();
        let answer = too_many(left).answer(&request);
        ServiceResponse::new(request, answer)
    };
    tell(answer.headers_mut(), left);
    Ok(answer)
}

fn take(request: &HttpRequest) -> Option<Left> {
    let limit = request.app_data::<web::Data<Limit>>()?;
    let requests = limit.0.as_ref()?;
    let reads = [Method::GET, Method::HEAD, Method::OPTIONS].contains(request.method());
    let quota = if reads {
        Quota::Reading
    } else {
        Quota::Writing
    };
    let client = client::address(request);
    // The buckets are whole whoever held the lock before: nothing in them can panic half way.
    let mut requests = requests.lock().unwrap_or_else(PoisonError::into_inner);
    Some(requests.take(client, quota, clock::now_ms()))
}

fn too_many(left: Left) -> Problem {
    let what = match left.quota {
        Quota::Reading => "requests for reading",
        Quota::Writing => "requests that may change something",
    };
    Problem::new(
        ProblemKind::TooManyRequests,
        format!(
            "Your network has sent {} {what} within a minute, which is as many as one may. Ask again in {} s; nothing was done.",
            left.a_minute, left.seconds
        ),
    )
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
