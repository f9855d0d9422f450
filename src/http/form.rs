//! Forms that a page sends: read like any body, answered with a page.

use super::body;
use super::problem::{self, Problem};
use crate::pages::{self, Station};
use crate::service::Public;
use crate::wire::problem::ProblemKind;
use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderValue};
use actix_web::web::Query;
use actix_web::{HttpRequest, HttpResponse, web};
use uuid::Uuid;

/// The media type of a form without files.
pub(super) const MEDIA_TYPE: &str = "application/x-www-form-urlencoded";

/// The fields of a form in the order they were sent.
#[derive(Debug)]
pub(super) struct Fields(Vec<(String, String)>);

impl Fields {
    /// Every field with its value, in the order they were sent.
    pub(super) fn pairs(&self) -> impl Iterator<Item = (&str, &str)> {
        let pairs = self.0.iter();
        pairs.map(|(name, value)| (name.as_str(), value.as_str()))
    }

    /// The first value of a field, without spaces around it; empty when it is absent.
    pub(super) fn get(&self, name: &str) -> &str {
        let found = self.0.iter().find(|(known, _)| known == name);
        found.map_or("", |(_, value)| value.trim())
    }
}

/// The fields of an `application/x-www-form-urlencoded` body.
pub(super) async fn fields(
    request: &HttpRequest,
    payload: web::Payload,
) -> Result<Fields, Problem> {
    body::declared_as(request, MEDIA_TYPE, ProblemKind::NotForm)?;
    let body = body::read(request, payload).await?;
    Ok(Fields(pairs(&body)))
}

/// The names and values of a body that is declared as a form. What cannot be decoded is left out,
/// as browsers do it the other way round: there is no body that is no form.
pub(super) fn pairs(body: &[u8]) -> Vec<(String, String)> {
    let text = String::from_utf8_lossy(body);
    Query::<Vec<(String, String)>>::from_query(&text)
        .map(Query::into_inner)
        .unwrap_or_default()
}

/// What makes a form one form, however often it is sent.
pub(super) fn fresh_token() -> String {
    Uuid::new_v4().to_string()
}

/// A token as it came; a fresh one when it is none of ours.
pub(super) fn token(value: &str) -> String {
    Uuid::parse_str(value).map_or_else(|_| fresh_token(), |token| token.to_string())
}

/// What stands in the place of a contributor's page once recruiting is closed.
pub(super) fn closed(
    request: &HttpRequest,
    status: StatusCode,
    public: &Public,
    here: Station,
) -> HttpResponse {
    page(request, status, pages::closed(&public.study, here))
}

/// The page that tells of a problem, with when it is worth asking again.
pub(super) fn told(mut page: HttpResponse, kind: ProblemKind) -> HttpResponse {
    if let Some(seconds) = problem::retry_after(kind) {
        let seconds = HeaderValue::from_static(seconds);
        page.headers_mut().insert(header::RETRY_AFTER, seconds);
    }
    page
}

/// A page for one client alone.
pub(super) fn page(
    request: &HttpRequest,
    status: StatusCode,
    rendered: Result<String, askama::Error>,
) -> HttpResponse {
    match rendered {
        Ok(text) => HttpResponse::build(status)
            .content_type("text/html; charset=utf-8")
            .insert_header((header::CACHE_CONTROL, "no-store"))
            .body(text),
        Err(error) => Problem::internal(&error.to_string()).answer(request),
    }
}
