//! What can be read: pages, documents, schemas, health. Strong entity tags, conditional requests.

use super::coding;
use super::contributions::{blocking, private};
use super::form;
use super::listing::{self, Asked};
use super::part::{self, Part};
use super::pieces::Pieces;
use super::problem::Problem;
use crate::intake::schema::Schema;
use crate::pages::{self, Station};
use crate::protocol::Study;
use crate::service::{Public, Ready, Service};
use crate::units::Units;
use crate::wire::problem::ProblemKind;
use crate::wire::reply;
use actix_web::guard::{self, Guard};
use actix_web::http::StatusCode;
use actix_web::http::header::{
    self, ETag, EntityTag, Header, HeaderValue, IfNoneMatch, TryIntoHeaderValue,
};
use actix_web::{HttpRequest, HttpResponse, Route, web};
use std::sync::Arc;

pub(super) const JSON: &str = "application/json";
pub(super) const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
pub(super) const SVG: &str = "image/svg+xml";
const SCHEMA: &str = "application/schema+json";

/// A route for GET and HEAD.
pub(super) fn reading() -> Route {
    web::route().guard(guard::fn_guard(|context| {
        guard::Get().check(context) || guard::Head().check(context)
    }))
}

pub(super) async fn studies_page(
    request: HttpRequest,
    service: web::Data<Service>,
) -> HttpResponse {
    let studies = service.studies();
    let studies: Vec<&Study> = studies.iter().map(|public| &*public.study).collect();
    page(&request, pages::studies(&studies))
}

pub(super) async fn problems_page(request: HttpRequest) -> HttpResponse {
    page(&request, pages::problems())
}

pub(super) async fn study_page(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    in_units(&request, &service, &slug, Public::page).await
}

pub(super) async fn pairs_page(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    in_units(&request, &service, &slug, Public::pairs).await
}

/// One picture, which pages of other origins may show.
pub(super) async fn picture(
    request: HttpRequest,
    service: web::Data<Service>,
    place: web::Path<(String, String)>,
) -> HttpResponse {
    let (slug, name) = place.into_inner();
    let Some(public) = service.study(&slug) else {
        return no_study(&request);
    };
    let units = pages::units_asked(request.query_string(), public.unchosen_units().tension);
    match blocking(move || Ok(public.picture(&name, units))).await {
        Ok(picture) => shown_picture(&request, picture),
        Err(problem) => problem.answer(&request),
    }
}

/// One picture by itself, or that there is none of its name.
pub(super) fn shown_picture(request: &HttpRequest, picture: Option<Ready>) -> HttpResponse {
    match picture {
        Some(picture) => ready(request, SVG, &picture),
        None => Problem::new(
            ProblemKind::NotFound,
            "This study has no picture of this name: the page of the study leads to every one.",
        )
        .answer(request),
    }
}

pub(super) async fn take_part_page(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    match service.study(&slug) {
        Some(public) if !public.is_recruiting() => {
            form::closed(&request, StatusCode::OK, &public, Station::TakePart)
        }
        Some(public) => {
            let by_invitation = service.needs_invitation(&slug);
            page(&request, pages::take_part(&public.study, by_invitation))
        }
        None => no_study(&request),
    }
}

pub(super) async fn pooled(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    of_study(&request, &service, &slug, |public| &public.pooled)
}

pub(super) async fn aggregate(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    of_study(&request, &service, &slug, |public| &public.aggregate)
}

/// `GET /api/v1/studies`: in parts, by short name.
pub(super) async fn studies(request: HttpRequest, service: web::Data<Service>) -> HttpResponse {
    let asked = match Asked::of(request.query_string()) {
        Ok(asked) => asked,
        Err(problem) => return problem.answer(&request),
    };
    let studies = service.studies();
    let studies: Vec<&Study> = studies.iter().map(|public| &*public.study).collect();
    let names: Vec<String> = studies
        .iter()
        .map(|study| study.label.slug.clone())
        .collect();
    let n_before = asked
        .after()
        .map_or(0, |key| names.partition_point(|name| name.as_str() <= key));
    let part = asked.part(request.path(), &names, n_before);
    let shown = studies.get(part.entries).unwrap_or_default();
    let next = part.next.as_deref();
    let document = reply::studies(shown, next);
    listing::link(ready(&request, JSON, &Ready::json(&document)), next)
}

pub(super) async fn style(request: HttpRequest) -> HttpResponse {
    ready(&request, CSS, &Ready::new(pages::STYLE.to_owned()))
}

pub(super) async fn icon(request: HttpRequest) -> HttpResponse {
    ready(&request, SVG, &Ready::new(pages::ICON.to_owned()))
}

pub(super) async fn script(request: HttpRequest, file: web::Path<String>) -> HttpResponse {
    match pages::script(&file) {
        Some(text) => ready(&request, SCRIPT, &Ready::new(text.to_owned())),
        None => {
            Problem::new(ProblemKind::NotFound, "There is no script of this name.").answer(&request)
        }
    }
}

pub(super) async fn worker(request: HttpRequest) -> HttpResponse {
    ready(&request, SCRIPT, &Ready::new(pages::worker()))
}

pub(super) async fn schema(request: HttpRequest, file: web::Path<String>) -> HttpResponse {
    match Schema::ALL
        .iter()
        .find(|schema| schema.file_name() == *file)
    {
        Some(schema) => ready(&request, SCHEMA, &Ready::new(schema.text().to_owned())),
        None => {
            Problem::new(ProblemKind::NotFound, "There is no schema of this name.").answer(&request)
        }
    }
}

pub(super) async fn health(request: HttpRequest, service: web::Data<Service>) -> HttpResponse {
    let asked = web::block(move || service.store().count_contributions()).await;
    let answering = matches!(asked, Ok(Ok(_)));
    let document = reply::health(answering);
    if answering {
        ready(&request, JSON, &Ready::json(&document))
    } else {
        let answer = private(HttpResponse::ServiceUnavailable(), &document);
        form::told(answer, ProblemKind::Unavailable)
    }
}

fn of_study(
    request: &HttpRequest,
    service: &Service,
    slug: &str,
    body: impl Fn(&Arc<Public>) -> &Ready,
) -> HttpResponse {
    match service.study(slug) {
        Some(public) => download(request, JSON, body(&public)),
        None => no_study(request),
    }
}

/// A page of a study in the units that the address asks for. Making it can take seconds where there
/// are many rows.
async fn in_units(
    request: &HttpRequest,
    service: &Service,
    slug: &str,
    page: impl FnOnce(&Public, Units) -> Result<Ready, askama::Error> + Send + 'static,
) -> HttpResponse {
    let Some(public) = service.study(slug) else {
        return no_study(request);
    };
    let units = pages::units_asked(request.query_string(), public.unchosen_units().tension);
    let made = blocking(move || {
        page(&public, units).map_err(|error| Problem::internal(&error.to_string()))
    });
    match made.await {
        Ok(page) => ready(request, HTML, &page),
        Err(problem) => problem.answer(request),
    }
}

fn no_study(request: &HttpRequest) -> HttpResponse {
    Problem::new(ProblemKind::NotFound, "There is no study of this name.").answer(request)
}

pub(super) fn page(request: &HttpRequest, rendered: Result<String, askama::Error>) -> HttpResponse {
    match rendered {
        Ok(text) => ready(request, HTML, &Ready::new(text)),
        Err(error) => Problem::internal(&error.to_string()).answer(request),
    }
}

/// A body that is ready, or 304 when the client has it already.
pub(super) fn ready(
    request: &HttpRequest,
    content_type: &'static str,
    ready: &Ready,
) -> HttpResponse {
    let coded = coding::liked(request, content_type, ready);
    let mut answer = if has(request, &coded.tag) {
        HttpResponse::NotModified().finish()
    } else {
        let mut builder = HttpResponse::Ok();
        if coded.is_gzip {
            builder.insert_header((header::CONTENT_ENCODING, "gzip"));
        }
        builder.content_type(content_type).body(coded.body)
    };
    validated(&mut answer, coded.tag);
    if coding::has_forms(content_type, ready) {
        let vary = HeaderValue::from_static("accept-encoding");
        answer.headers_mut().insert(header::VARY, vary);
    }
    answer
}

/// The same for a file that one may want to fetch in pieces. A piece is one of the body as it is,
/// so that pieces fetched from different versions of the program fit together.
pub(super) fn download(
    request: &HttpRequest,
    content_type: &'static str,
    file: &Ready,
) -> HttpResponse {
    let mut answer = if part::is_asked(request) {
        piece(request, content_type, file)
    } else {
        ready(request, content_type, file)
    };
    let units = if file.plain().is_some() {
        "bytes"
    } else {
        "none"
    };
    let units = HeaderValue::from_static(units);
    answer.headers_mut().insert(header::ACCEPT_RANGES, units);
    answer
}

fn piece(request: &HttpRequest, content_type: &'static str, file: &Ready) -> HttpResponse {
    let (tag, length) = (coding::tag(file, ""), file.length());
    // A body that is kept in compressed form alone has no middle that could be begun at: whoever asks
    // for a part of it gets all of it, as the standard allows.
    let Some(body) = file.plain().filter(|_| !has(request, &tag)) else {
        return ready(request, content_type, file);
    };
    let mut answer = match part::asked(request, &tag, length) {
        Part::All => return ready(request, content_type, file),
        Part::Bytes(range) => HttpResponse::PartialContent()
            .content_type(content_type)
            .insert_header((
                header::CONTENT_RANGE,
                format!("bytes {}-{}/{length}", range.start, range.end - 1),
            ))
            .body(Pieces::Bytes(body.slice(range))),
        Part::Beyond => return beyond(request, length),
    };
    validated(&mut answer, tag);
    answer
}

fn beyond(request: &HttpRequest, length: usize) -> HttpResponse {
    let detail =
        format!("The file has {length} bytes, and none of them is in the range asked for.");
    let mut answer = Problem::new(ProblemKind::RangeNotThere, detail).answer(request);
    if let Ok(value) = HeaderValue::from_str(&format!("bytes */{length}")) {
        answer.headers_mut().insert(header::CONTENT_RANGE, value);
    }
    answer
}

/// Whether the client says that it has a body with this tag.
fn has(request: &HttpRequest, tag: &EntityTag) -> bool {
    match IfNoneMatch::parse(request) {
        Ok(IfNoneMatch::Any) => request.headers().contains_key(header::IF_NONE_MATCH),
        Ok(IfNoneMatch::Items(tags)) => tags.iter().any(|theirs| theirs.weak_eq(tag)),
        Err(_) => false,
    }
}

/// What a client needs to ask next time whether it still has the newest.
fn validated(answer: &mut HttpResponse, tag: EntityTag) {
    let headers = answer.headers_mut();
    if let Ok(tag) = ETag(tag).try_into_value() {
        headers.insert(header::ETAG, tag);
    }
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-cache"));
}

#[cfg(test)]
mod tests;
