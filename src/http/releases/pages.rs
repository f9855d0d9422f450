//! The public pages of releases.

use super::{failed, listed, made_again};
use crate::http::contributions::blocking;
use crate::http::documents::{page, shown_picture};
use crate::pages::{self, ReleaseView};
use crate::service::{Frozen, Service};
use crate::units::Units;
use actix_web::{HttpRequest, HttpResponse, web};
use data_encoding::HEXLOWER;

/// `GET /studies/{study}/releases`
pub(super) async fn list(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    let found = blocking(move || {
        let (label, releases) = listed(&service, &slug)?;
        let newest = match releases.last() {
            Some(newest) => service.frozen(&slug, newest.number).map_err(failed)?,
            None => None,
        };
        let citation = newest.map(|newest| newest.release.citation());
        Ok(pages::releases(&label, &releases, citation.as_deref()))
    });
    match found.await {
        Ok(rendered) => page(&request, rendered),
        Err(problem) => problem.answer(&request),
    }
}

/// `GET /studies/{study}/releases/{number}`: made from the frozen bytes, and from which releases
/// came after.
pub(super) async fn frozen(
    request: HttpRequest,
    service: web::Data<Service>,
    path: web::Path<(String, String)>,
) -> HttpResponse {
    let query = request.query_string().to_owned();
    let found = blocking(move || {
        let frozen = made_again(&service, &path)?;
        let (_, releases) = listed(&service, &path.0)?;
        Ok(pages::release(&ReleaseView {
            release: &frozen.release,
            findings: &frozen.said,
            units: units(&frozen, &query),
            releases: &releases,
            sha256: &HEXLOWER.encode(&frozen.sha256),
        }))
    });
    match found.await {
        Ok(rendered) => page(&request, rendered),
        Err(problem) => problem.answer(&request),
    }
}

/// `GET /studies/{study}/releases/{number}/pairs`
pub(super) async fn pairs(
    request: HttpRequest,
    service: web::Data<Service>,
    path: web::Path<(String, String)>,
) -> HttpResponse {
    let query = request.query_string().to_owned();
    let found = blocking(move || {
        let frozen = made_again(&service, &path)?;
        Ok(pages::pairs(&frozen.view(units(&frozen, &query))))
    });
    match found.await {
        Ok(rendered) => page(&request, rendered),
        Err(problem) => problem.answer(&request),
    }
}

/// `GET /studies/{study}/releases/{number}/pictures/{name}.svg`
pub(super) async fn picture(
    request: HttpRequest,
    service: web::Data<Service>,
    path: web::Path<(String, String, String)>,
) -> HttpResponse {
    let query = request.query_string().to_owned();
    let found = blocking(move || {
        let (slug, number, name) = path.into_inner();
        let frozen = made_again(&service, &(slug, number))?;
        Ok(frozen.picture(&name, units(&frozen, &query)))
    });
    match found.await {
        Ok(picture) => shown_picture(&request, picture),
        Err(problem) => problem.answer(&request),
    }
}

fn units(frozen: &Frozen, query: &str) -> Units {
    pages::units_asked(query, frozen.unchosen_units().tension)
}
