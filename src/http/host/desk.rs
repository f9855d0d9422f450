//! The desk's first page, and leaving it.

use super::{cookie, desk_page, go_to, on_the_pool, problem_page, read_form, signed_in};
use crate::pages::host::{self as pages, Desk, DeskStudy};
use crate::service::{Service, ServiceError, SignedIn};
use actix_web::{HttpRequest, HttpResponse, web};

/// `GET /host`
pub(super) async fn studies(request: HttpRequest, service: web::Data<Service>) -> HttpResponse {
    let signed_in = match signed_in(&request, &service).await {
        Ok(signed_in) => signed_in,
        Err(answer) => return answer,
    };
    let desk = web::Data::clone(&service);
    let studies = match on_the_pool(move || desk.desk()).await {
        Ok(studies) => studies,
        Err(problem) => return problem_page(&request, &problem),
    };
    let listed: Vec<DeskStudy<'_>> = studies
        .iter()
        .map(|life| {
            let label = &life.newest.study.label;
            DeskStudy {
                slug: &label.slug,
                question: &label.question,
                invented: label.invented,
                state: life.state,
            }
        })
        .collect();
    let desk = Desk::new(signed_in.form_token.text());
    desk_page(&request, pages::studies(desk, &listed))
}

/// `POST /host/sign-out`
pub(super) async fn sign_out(
    request: HttpRequest,
    service: web::Data<Service>,
    payload: web::Payload,
) -> HttpResponse {
    leave(request, service, payload, Service::sign_out).await
}

/// `POST /host/sign-out-everywhere`
pub(super) async fn sign_out_everywhere(
    request: HttpRequest,
    service: web::Data<Service>,
    payload: web::Payload,
) -> HttpResponse {
    leave(request, service, payload, |service, _| {
        service.sign_out_everywhere()
    })
    .await
}

async fn leave(
    request: HttpRequest,
    service: web::Data<Service>,
    payload: web::Payload,
    end: impl FnOnce(&Service, &SignedIn) -> Result<(), ServiceError> + Send + 'static,
) -> HttpResponse {
    let signed_in = match signed_in(&request, &service).await {
        Ok(signed_in) => signed_in,
        Err(answer) => return answer,
    };
    if let Err(answer) = read_form(&request, payload, &signed_in).await {
        return answer;
    }
    match on_the_pool(move || end(&service, &signed_in)).await {
        Ok(()) => {
            let mut answer = go_to(super::SIGN_IN);
            cookie::take_away(&mut answer);
            answer
        }
        Err(problem) => problem_page(&request, &problem),
    }
}
