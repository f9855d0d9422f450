//! What somebody gets who asks in a browser for an address where nothing is: a page that leads on.
//! Programs get the problem document.

use super::problem::Problem;
use crate::pages::{self, Nowhere};
use crate::service::{Public, Service};
use crate::wire::problem::ProblemKind;
use actix_web::http::header::{self, Accept, Header, HeaderValue, Quality};
use actix_web::{HttpRequest, HttpResponse, web};
use std::sync::Arc;

/// Whether somebody looks at the answer in a browser: only those ask for HTML by its name, and
/// rather than for JSON.
pub(super) fn asks(request: &HttpRequest) -> bool {
    let Ok(Accept(accepted)) = Accept::parse(request) else {
        return false;
    };
    let quality = |names: &[&str]| {
        let named = accepted
            .iter()
            .filter(|one| names.contains(&one.item.essence_str()));
        named.map(|one| one.quality).max().unwrap_or(Quality::ZERO)
    };
    let json = quality(&["application/json", "application/problem+json"]);
    json < quality(&["text/html", "application/xhtml+xml"])
}

/// The answer to a problem with the address itself, as whoever asked can use it.
pub(super) fn answer(
    request: &HttpRequest,
    problem: &Problem,
    mut answer: HttpResponse,
) -> HttpResponse {
    let of_address = [ProblemKind::NotFound, ProblemKind::MethodNotAllowed];
    if !of_address.contains(&problem.kind) {
        return answer;
    }
    let headers = answer.headers_mut();
    headers.insert(header::VARY, HeaderValue::from_static("Accept"));
    if !asks(request) {
        return answer;
    }
    let study = study_of(request);
    let page = pages::nowhere(&Nowhere {
        heading: problem.kind.title(),
        words: &problem.detail,
        study: study.as_ref().map(|public| &*public.study),
        is_of_host: request.path().starts_with("/host"),
    });
    let Ok(page) = page else {
        return answer;
    };
    let html = HeaderValue::from_static("text/html; charset=utf-8");
    answer.headers_mut().insert(header::CONTENT_TYPE, html);
    answer.set_body(page).map_into_boxed_body()
}

/// The study below whose address something was looked for, when there is one.
fn study_of(request: &HttpRequest) -> Option<Arc<Public>> {
    let service = request.app_data::<web::Data<Service>>()?;
    let below = request.path().strip_prefix("/studies/")?;
    service.study(below.split('/').next()?)
}
