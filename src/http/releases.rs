//! Releases: the list of them, and each one byte for byte as it was published.

mod desk;
mod pages;

use super::cards;
use super::contributions::blocking;
use super::documents::{reading, ready};
use super::problem::{self, Problem};
use crate::clock;
use crate::protocol::StudyLabel;
use crate::release::file_name;
use crate::service::{Frozen, Ready, Service, ServiceError};
use crate::store::StoredRelease;
use crate::wire::problem::ProblemKind;
use crate::wire::release::{Listed, index};
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::{HttpRequest, HttpResponse, web};
use data_encoding::{BASE64, HEXLOWER};
use std::sync::Arc;

/// What never changes may be kept for a year, the longest that caches are asked to
/// (RFC 9111 names no bound; a year is common practice), and need not be asked for again (RFC 8246).
const IMMUTABLE: HeaderValue = HeaderValue::from_static("public, max-age=31536000, immutable");

/// The routes of releases.
pub(super) fn routes(config: &mut web::ServiceConfig) {
    let read = |path: &str, handler: actix_web::Route| {
        web::resource(path)
            .route(handler)
            .default_service(web::to(problem::only_read))
    };
    config
        .service(read("/studies/{study}/releases", reading().to(pages::list)))
        .service(read(
            "/studies/{study}/releases/{number}",
            reading().to(pages::frozen),
        ))
        .service(read(
            "/studies/{study}/releases/{number}/pairs",
            reading().to(pages::pairs),
        ))
        .service(read(
            "/studies/{study}/releases/{number}/pictures/{name}.svg",
            reading().to(pages::picture),
        ))
        .service(read(
            "/studies/{study}/releases/{number}/{card:card[.-][^/]*}",
            reading().to(cards::of_release),
        ))
        .service(
            web::resource("/host/studies/{study}/release")
                .route(reading().to(desk::asked))
                .route(web::post().to(desk::publish))
                .default_service(web::to(problem::read_or_post)),
        )
        .service(read("/api/v1/studies/{study}/releases", reading().to(list)))
        .service(read(
            "/api/v1/studies/{study}/releases/{number}",
            reading().to(document),
        ))
        .service(read(
            "/api/v1/studies/{study}/releases/{number}/sha256",
            reading().to(sha256),
        ));
}

/// `GET /api/v1/studies/{study}/releases`
pub(super) async fn list(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    let listed = blocking(move || listed(&service, &slug)).await;
    match listed {
        Ok((label, releases)) => ready(
            &request,
            "application/json",
            &Ready::json(&index(&label, &releases)),
        ),
        Err(problem) => problem.answer(&request),
    }
}

/// `GET /api/v1/studies/{study}/releases/{number}`
pub(super) async fn document(
    request: HttpRequest,
    service: web::Data<Service>,
    path: web::Path<(String, String)>,
) -> HttpResponse {
    let found = blocking(move || {
        let (slug, release) = one(&service, &path)?;
        let document = service.release_document(&slug, release.number);
        let document = document.map_err(failed)?.ok_or_else(no_release)?;
        Ok((file_name(&slug, release.number), release, document))
    });
    match found.await {
        Ok((name, release, document)) => {
            let ready_made = Ready {
                body: document.into(),
                etag: format!("\"{}\"", HEXLOWER.encode(&release.sha256)),
            };
            let answer = ready(&request, "application/json", &ready_made);
            let digest = format!("sha-256=:{}:", BASE64.encode(&release.sha256));
            let name = format!("inline; filename=\"{name}\"");
            frozen(
                answer,
                &[
                    (HeaderName::from_static("repr-digest"), &digest),
                    (header::CONTENT_DISPOSITION, &name),
                ],
            )
        }
        Err(problem) => problem.answer(&request),
    }
}

/// `GET /api/v1/studies/{study}/releases/{number}/sha256`: what `sha256sum -c` reads.
pub(super) async fn sha256(
    request: HttpRequest,
    service: web::Data<Service>,
    path: web::Path<(String, String)>,
) -> HttpResponse {
    let found = blocking(move || one(&service, &path)).await;
    match found {
        Ok((slug, release)) => {
            let hash = HEXLOWER.encode(&release.sha256);
            let line = format!("{hash}  {}\n", file_name(&slug, release.number));
            let answer = ready(&request, "text/plain; charset=utf-8", &Ready::new(line));
            frozen(answer, &[])
        }
        Err(problem) => problem.answer(&request),
    }
}

/// An answer that will always be the same, with more headers.
fn frozen(mut answer: HttpResponse, more: &[(HeaderName, &String)]) -> HttpResponse {
    let headers = answer.headers_mut();
    headers.insert(header::CACHE_CONTROL, IMMUTABLE);
    for (name, value) in more {
        if let Ok(value) = HeaderValue::from_str(value) {
            headers.insert(name.clone(), value);
        }
    }
    answer
}

/// A study's label and its releases, as they are listed.
pub(super) fn listed(service: &Service, slug: &str) -> Result<(StudyLabel, Vec<Listed>), Problem> {
    let public = service.study(slug).ok_or_else(no_study)?;
    let releases = service.releases(slug).map_err(failed)?;
    let listed = releases.into_iter().map(|release| Listed {
        number: release.number,
        kind: release.kind,
        reason: release.reason,
        date: clock::date(release.made_at_ms),
        sha256: HEXLOWER.encode(&release.sha256),
        bytes: release.bytes,
        address: release.address,
    });
    Ok((public.study.label.clone(), listed.collect()))
}

/// The release that a path names, with the short name of its study.
fn one(
    service: &Service,
    (slug, number): &(String, String),
) -> Result<(String, StoredRelease), Problem> {
    service.study(slug).ok_or_else(no_study)?;
    let mut releases = service.releases(slug).map_err(failed)?.into_iter();
    // As it is written in addresses: no sign, no zero before it.
    let found = releases.find(|release| release.number.to_string() == *number);
    found
        .map(|release| (slug.clone(), release))
        .ok_or_else(no_release)
}

/// A release made again from its bytes.
pub(super) fn made_again(
    service: &Service,
    path: &(String, String),
) -> Result<Arc<Frozen>, Problem> {
    let (slug, stored) = one(service, path)?;
    let frozen = service.frozen(&slug, stored.number).map_err(failed)?;
    frozen.ok_or_else(no_release)
}

pub(super) fn no_study() -> Problem {
    Problem::new(ProblemKind::NotFound, "There is no study of this name.")
}

pub(super) fn no_release() -> Problem {
    Problem::new(
        ProblemKind::NotFound,
        "This study has no release of this number.",
    )
}

pub(super) fn failed(error: ServiceError) -> Problem {
    Problem::from(crate::service::Refused::from(error))
}
