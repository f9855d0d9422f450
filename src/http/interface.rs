//! What the data interface says of itself: a description for programs, and the page made from it.

use super::documents::{page, reading, ready};
use super::open::open;
use super::problem::{self, status};
use crate::pages;
use crate::release::PublicUrl;
use crate::service::{Ready, Service};
use crate::wire::openapi;
use actix_web::{HttpRequest, HttpResponse, web};
use std::sync::OnceLock;

/// What the program can do does not change while it runs.
static DESCRIPTION: OnceLock<Ready> = OnceLock::new();

/// The routes of the description.
pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(open("/api/openapi.json", reading().to(description)))
        .service(
            web::resource("/api")
                .route(reading().to(for_people))
                .default_service(web::to(problem::only_read)),
        );
}

fn document() -> serde_json::Value {
    openapi::document(|kind| status(kind).as_u16())
}

/// `GET /api/openapi.json`
async fn description(request: HttpRequest) -> HttpResponse {
    let made = DESCRIPTION.get_or_init(|| Ready::new(format!("{:#}\n", document())));
    ready(&request, "application/json", made)
}

/// `GET /api`
async fn for_people(request: HttpRequest, service: web::Data<Service>) -> HttpResponse {
    let outline = openapi::outline(&document());
    let address = service.public_url().map(PublicUrl::as_str);
    page(&request, pages::interface(&outline, address))
}

#[cfg(test)]
mod tests;
