//! Forms that a page sends: read like any body, answered with a page.

use super::contributions::{body, declared_small_enough};
use super::problem::Problem;
use crate::wire::problem::ProblemKind;
use actix_web::http::{StatusCode, header};
use actix_web::{HttpRequest, HttpResponse, web};

/// The fields of a form in the order they were sent.
#[derive(Debug)]
pub(super) struct Fields(Vec<(String, String)>);

impl Fields {
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
    let declared = request.headers().get(header::CONTENT_TYPE);
    let declared = declared.and_then(|value| value.to_str().ok());
    let essence = declared.unwrap_or_default().split(';').next();
    let is_form = essence.is_some_and(|essence| {
        essence
            .trim()
            .eq_ignore_ascii_case("application/x-www-form-urlencoded")
    });
    if !is_form {
        return Err(Problem::new(
            ProblemKind::BadRequest,
            "This address takes a form, as its page sends it.",
        ));
    }
    declared_small_enough(request)?;
    let body = body(payload).await?;
    let pairs = form_urlencoded::parse(&body).into_owned();
    Ok(Fields(pairs.collect()))
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
