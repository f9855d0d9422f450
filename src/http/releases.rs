//! Releases: the list of them, and each one byte for byte as it was published.

mod desk;
mod pages;

use super::cards;
use super::contributions::blocking;
use super::documents::{download, reading, ready};
use super::listing::{self, Asked};
use super::open::open;
use super::problem::{self, Problem};
use super::query;
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
        .service(open(
            "/studies/{study}/releases/{number}/pictures/{name}.svg",
            reading().to(pages::picture),
        ))
        .service(open(
            "/studies/{study}/releases/{number}/{card:card[.-][^/]*}",
            reading().to(cards::of_release),
        ))
        .service(
            web::resource("/host/studies/{study}/release")
                .route(reading().to(desk::asked))
                .route(web::post().to(desk::publish))
                .default_service(web::to(problem::read_or_post)),
        )
        .service(open("/api/v1/studies/{study}/releases", reading().to(list)))
        .service(open(
            "/api/v1/studies/{study}/releases/{number}",
            reading().to(document),
        ))
        .service(open(
            "/api/v1/studies/{study}/releases/{number}/query",
            reading().to(query::of_release),
        ))
        .service(open(
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
    let path = request.path().to_owned();
    let found = async {
        let asked = Asked::of(request.query_string())?;
        let n_before = asked.after().map_or(Ok(0), number_before)?;
        let (label, releases) = blocking(move || listed(&service, &slug)).await?;
        let numbers = releases.iter().map(|release| release.number.to_string());
        let numbers: Vec<String> = numbers.collect();
        // They are numbered from 1 without a gap.
        let part = asked.part(&path, &numbers, n_before.min(releases.len()));
        let next = part.next.as_deref();
        Ok((index(&label, &releases, part.entries, next), part.next))
    };
    match found.await {
        Ok((document, next)) => {
            let answer = ready(&request, "application/json", &Ready::json(&document));
            listing::link(answer, next.as_deref())
        }
        Err(problem) => Problem::answer(&problem, &request),
    }
}

/// How many releases are before the one after which a part of the list begins.
fn number_before(key: &str) -> Result<usize, Problem> {
    let is_number = !key.is_empty() && key.bytes().all(|byte| byte.is_ascii_digit());
    let number = key.parse().ok().filter(|_| is_number);
    number.ok_or_else(|| listing::refused("`after` must be the number of a release."))
}

/// `GET /api/v1/studies/{study}/releases/{number}`
pub(super) async fn document(
    request: HttpRequest,
    service: web::Data<Service>,
    path: web::Path<(String, String)>,
) -> HttpResponse {
    let found = blocking(move || {
        let (slug, release) = one(&service, &path)?;
        let file = service.release_file(&slug, &release).map_err(failed)?;
        Ok((file_name(&slug, release.number), release, file))
    });
    match found.await {
        Ok((name, release, file)) => {
            let answer = download(&request, "application/json", &file);
            // The digest is one of the body as it is (RFC 9530, section 3).
            let is_plain = answer
                .headers()
                .get(header::ETAG)
                .is_some_and(|tag| tag.as_bytes() == file.etag.as_bytes());
            let digest = format!("sha-256=:{}:", BASE64.encode(&release.sha256));
            let digest = is_plain.then_some((HeaderName::from_static("repr-digest"), digest));
            let name = format!("inline; filename=\"{name}\"");
            let more = digest.into_iter();
            frozen(answer, more.chain([(header::CONTENT_DISPOSITION, name)]))
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
            frozen(answer, [])
        }
        Err(problem) => problem.answer(&request),
    }
}

/// An answer that will always be the same, with more headers. An error is none.
fn frozen(
    mut answer: HttpResponse,
    more: impl IntoIterator<Item = (HeaderName, String)>,
) -> HttpResponse {
    if answer.status().is_client_error() {
        return answer;
    }
    let headers = answer.headers_mut();
    headers.insert(header::CACHE_CONTROL, IMMUTABLE);
    for (name, value) in more {
        if let Ok(value) = HeaderValue::from_str(&value) {
            headers.insert(name, value);
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
