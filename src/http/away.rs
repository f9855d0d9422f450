//! A study that is there but cannot be shown: its addresses say so, instead of denying it.

use super::problem::Problem;
use crate::service::Service;
use crate::wire::problem::ProblemKind;
use actix_web::body::{EitherBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::middleware::Next;
use actix_web::{Error, web};

/// Middleware: answers for a study that is away at the moment.
pub(super) async fn request<B: MessageBody>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<EitherBody<B>>, Error> {
    let service = request.app_data::<web::Data<Service>>();
    let is_away = match (study_of(request.path()), service) {
        (Some(slug), Some(service)) => service.is_away(slug),
        _ => false,
    };
    if !is_away {
        return Ok(next.call(request).await?.map_into_left_body());
    }
    let problem = Problem::new(
        ProblemKind::Unavailable,
        "This study cannot be shown at the moment, because of a fault of this service.",
    );
    let answer = problem.answer(request.request());
    Ok(request.into_response(answer).map_into_right_body())
}

/// The study that an address speaks of.
fn study_of(path: &str) -> Option<&str> {
    let mut pieces = path.split('/');
    pieces.find(|piece| *piece == "studies")?;
    pieces.next()
}
