//! `GET /.well-known/security.txt`: whom to tell of a hole in the service.

use super::documents::{reading, ready};
use super::problem::{self, Problem};
use crate::clock;
use crate::release::PublicUrl;
use crate::service::{Ready, Service};
use crate::wire::problem::ProblemKind;
use crate::wire::security_txt::PATH;
use actix_web::{HttpRequest, HttpResponse, web};

const DAY_MS: i64 = 24 * 60 * 60 * 1000;

/// How many days the file holds, counted from the day it is read, unless the host names a day. The
/// standard recommends less than a year (RFC 9116, section 2.5.5); half of one is ours.
const HOLDS_DAYS: i64 = 180;

/// The routes of the file.
pub(super) fn routes(config: &mut web::ServiceConfig) {
    config.service(
        web::resource(PATH)
            .route(reading().to(told))
            .default_service(web::to(problem::only_read)),
    );
}

async fn told(request: HttpRequest, service: web::Data<Service>) -> HttpResponse {
    let Some(notice) = service.notice() else {
        let words = "Whoever runs this service has named nobody to tell of a hole in it. Each study names its host.";
        return Problem::new(ProblemKind::NotFound, words).answer(&request);
    };
    let expires_ms = notice.expires_ms.unwrap_or_else(|| {
        let today = clock::now_ms().div_euclid(DAY_MS);
        (today + HOLDS_DAYS) * DAY_MS
    });
    let origin = service.public_url().map(PublicUrl::as_str);
    let text = notice.text(&clock::date_time(expires_ms), origin);
    ready(&request, "text/plain; charset=utf-8", &Ready::new(text))
}
