//! Cards: pictures of what a study has found, for pages of other origins too.

use super::contributions::blocking;
use super::documents::{SVG, ready};
use super::problem::Problem;
use super::releases::{made_again, no_study};
use crate::pages::units_asked;
use crate::raster::RasterError;
use crate::service::{CardFile, Ready, Service};
use crate::wire::problem::ProblemKind;
use actix_web::{HttpRequest, HttpResponse, web};

const PNG: &str = "image/png";

/// `GET /studies/{study}/card…`
pub(super) async fn card(
    request: HttpRequest,
    service: web::Data<Service>,
    place: web::Path<(String, String)>,
) -> HttpResponse {
    let query = request.query_string().to_owned();
    let drawn = blocking(move || {
        let (slug, name) = place.into_inner();
        let public = service.study(&slug).ok_or_else(no_study)?;
        let file = file_of(&name)?;
        let units = units_asked(&query, public.unchosen_units().tension);
        Ok((
            file,
            public
                .card(file, units)
                .map_err(|error| not_drawn(&error))?,
        ))
    });
    answer(&request, drawn.await)
}

/// `GET /studies/{study}/releases/{number}/card…`
pub(super) async fn of_release(
    request: HttpRequest,
    service: web::Data<Service>,
    place: web::Path<(String, String, String)>,
) -> HttpResponse {
    let query = request.query_string().to_owned();
    let drawn = blocking(move || {
        let (slug, number, name) = place.into_inner();
        let frozen = made_again(&service, &(slug, number))?;
        let file = file_of(&name)?;
        let units = units_asked(&query, frozen.unchosen_units().tension);
        Ok((
            file,
            frozen
                .card(file, units)
                .map_err(|error| not_drawn(&error))?,
        ))
    });
    answer(&request, drawn.await)
}

fn file_of(name: &str) -> Result<CardFile, Problem> {
    CardFile::of_name(name).ok_or_else(|| {
        let names: Vec<String> = CardFile::ALL.iter().map(|file| file.name()).collect();
        let detail = format!("A study has these cards: {}.", names.join(", "));
        Problem::new(ProblemKind::NotFound, detail)
    })
}

fn not_drawn(error: &RasterError) -> Problem {
    Problem::internal(&error.to_string())
}

/// A picture that pages of other origins may show.
fn answer(request: &HttpRequest, drawn: Result<(CardFile, Ready), Problem>) -> HttpResponse {
    match drawn {
        Ok((file, picture)) => ready(request, content_type(file), &picture),
        Err(problem) => problem.answer(request),
    }
}

const fn content_type(file: CardFile) -> &'static str {
    match file {
        CardFile::Svg => SVG,
        CardFile::Png(_) => PNG,
    }
}
