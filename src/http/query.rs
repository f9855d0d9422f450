//! Questions to published rows: those of the live batch, and those of a release.

use super::contributions::blocking;
use super::documents::ready;
use super::problem::Problem;
use super::releases::{made_again, no_study};
use crate::service::{Ready, Service};
use crate::wire::problem::ProblemKind;
use actix_web::{HttpRequest, HttpResponse, web};

/// `GET /api/v1/studies/{study}/query`
pub(super) async fn live(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    answered(&request, service, move |service, question| {
        let public = service.study(&slug).ok_or_else(no_study)?;
        Ok(public.answer(question)?)
    })
    .await
}

/// `GET /api/v1/studies/{study}/releases/{number}/query`
pub(super) async fn of_release(
    request: HttpRequest,
    service: web::Data<Service>,
    path: web::Path<(String, String)>,
) -> HttpResponse {
    answered(&request, service, move |service, question| {
        Ok(made_again(service, &path)?.answer(question)?)
    })
    .await
}

/// Answers what stands behind the question mark, a bounded number of times at once.
async fn answered(
    request: &HttpRequest,
    service: web::Data<Service>,
    answer: impl FnOnce(&Service, &str) -> Result<Ready, Problem> + Send + 'static,
) -> HttpResponse {
    let Some(turn) = service.turn() else {
        let detail = "As many questions as may be are being answered; ask again in a moment.";
        return Problem::new(ProblemKind::Busy, detail).answer(request);
    };
    let question = request.query_string().to_owned();
    let found = blocking(move || {
        let answer = answer(&service, &question);
        drop(turn);
        answer
    });
    match found.await {
        Ok(answer) => ready(request, "application/json", &answer),
        Err(problem) => problem.answer(request),
    }
}
