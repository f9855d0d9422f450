//! The anonymised download as tables, of the live study and of releases; and the JSON of a release.
//!
//! A release's own document never changes. These are made from it by the program that runs, and a
//! newer one may write a further column, so caches have to ask: by entity tag.

use super::contributions::blocking;
use super::documents::{JSON, download, reading};
use super::open::open;
use super::problem::Problem;
use super::releases::{made_again, no_study};
use crate::service::{Ready, Service};
use crate::wire::package::File;
use crate::wire::problem::ProblemKind;
use actix_web::{HttpRequest, HttpResponse, web};

/// The routes of the tables.
pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(open(
            "/api/v1/studies/{study}/aggregate/{table}",
            reading().to(live),
        ))
        .service(open(
            "/api/v1/studies/{study}/releases/{number}/aggregate",
            reading().to(aggregate_of_release),
        ))
        .service(open(
            "/api/v1/studies/{study}/releases/{number}/aggregate/{table}",
            reading().to(of_release),
        ));
}

/// `GET /api/v1/studies/{study}/aggregate/{table}`
async fn live(
    request: HttpRequest,
    service: web::Data<Service>,
    path: web::Path<(String, String)>,
) -> HttpResponse {
    let found = blocking(move || {
        let (slug, name) = path.into_inner();
        let public = service.study(&slug).ok_or_else(no_study)?;
        let file = file_of(&name)?;
        Ok((file, public.package(file).ok_or_else(no_file)?))
    });
    answer(&request, found.await)
}

/// `GET /api/v1/studies/{study}/releases/{number}/aggregate/{table}`
async fn of_release(
    request: HttpRequest,
    service: web::Data<Service>,
    path: web::Path<(String, String, String)>,
) -> HttpResponse {
    let found = blocking(move || {
        let (slug, number, name) = path.into_inner();
        let frozen = made_again(&service, &(slug, number))?;
        let file = file_of(&name)?;
        Ok((file, frozen.package(file).ok_or_else(no_file)?))
    });
    answer(&request, found.await)
}

/// `GET /api/v1/studies/{study}/releases/{number}/aggregate`
async fn aggregate_of_release(
    request: HttpRequest,
    service: web::Data<Service>,
    path: web::Path<(String, String)>,
) -> HttpResponse {
    let found = blocking(move || Ok(made_again(&service, &path)?.aggregate()));
    match found.await {
        Ok(aggregate) => download(&request, JSON, &aggregate),
        Err(problem) => problem.answer(&request),
    }
}

fn file_of(name: &str) -> Result<File, Problem> {
    File::of_name(name).ok_or_else(no_file)
}

fn no_file() -> Problem {
    let names: Vec<String> = File::all().into_iter().map(File::name).collect();
    let detail = format!("A download has these files: {}.", names.join(", "));
    Problem::new(ProblemKind::NotFound, detail)
}

fn answer(request: &HttpRequest, found: Result<(File, Ready), Problem>) -> HttpResponse {
    match found {
        Ok((file, table)) => download(request, file.media_type(), &table),
        Err(problem) => problem.answer(request),
    }
}
