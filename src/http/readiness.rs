//! Whether the service could take a contribution now, for whoever sends it traffic.

use super::contributions::{blocking, private};
use super::problem::{Problem, sentence};
use crate::clock;
use crate::service::Service;
use crate::wire::problem::ProblemKind;
use crate::wire::reply;
use actix_web::{HttpRequest, HttpResponse, web};

/// `GET /ready`
pub(super) async fn told(request: HttpRequest, service: web::Data<Service>) -> HttpResponse {
    let asked = blocking(move || {
        let found = service.readiness(clock::now_ms());
        found.map_err(|why| Problem::new(ProblemKind::NotReady, sentence(&why)))
    });
    match asked.await {
        Ok(()) => private(HttpResponse::Ok(), &reply::ready()),
        Err(problem) => problem.answer(&request),
    }
}
