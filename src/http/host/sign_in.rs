//! Signing in: with the credential, or with a link that opens once.

use super::super::client;
use super::{cookie, desk_page_as, go_to, on_the_pool, own_form, problem_page, trouble};
use crate::access::Token;
use crate::clock;
use crate::pages::host::{self as pages, SignInStep, Trouble};
use crate::service::{Service, SignIn};
use actix_web::http::{StatusCode, header};
use actix_web::{HttpRequest, HttpResponse, web};

/// `GET /host/sign-in`
pub(super) async fn asked(request: HttpRequest, service: web::Data<Service>) -> HttpResponse {
    if super::signed_in(&request, &service).await.is_ok() {
        return go_to("/host");
    }
    match on_the_pool(move || service.has_credential()).await {
        Ok(true) => page(&request, StatusCode::OK, SignInStep::Ask),
        Ok(false) => page(&request, StatusCode::OK, SignInStep::NoCredential),
        Err(problem) => problem_page(&request, &problem),
    }
}

/// `POST /host/sign-in`
pub(super) async fn tried(
    request: HttpRequest,
    service: web::Data<Service>,
    payload: web::Payload,
) -> HttpResponse {
    let typed = match own_form(&request, payload).await {
        Ok(fields) => fields.get("credential").to_owned(),
        Err(answer) => return answer,
    };
    let client = client::address(&request);
    let keeper = web::Data::clone(&service);
    match on_the_pool(move || service.sign_in(&typed, client, clock::now_ms())).await {
        Ok(SignIn::Done(token)) => entered(&request, keeper, &token).await,
        Ok(SignIn::Wrong) => page(&request, StatusCode::FORBIDDEN, SignInStep::Wrong),
        Ok(SignIn::NoCredential) => page(&request, StatusCode::FORBIDDEN, SignInStep::NoCredential),
        Ok(SignIn::TooOften(seconds)) => too_often(&request, seconds),
        Err(problem) => problem_page(&request, &problem),
    }
}

fn too_often(request: &HttpRequest, seconds: u32) -> HttpResponse {
    let mut answer = page(
        request,
        StatusCode::TOO_MANY_REQUESTS,
        SignInStep::TooOften { seconds },
    );
    answer
        .headers_mut()
        .insert(header::RETRY_AFTER, seconds.into());
    answer
}

/// `GET /host/open/{code}`: looking at it does not use the link up, since programs look at links
/// before people do.
pub(super) async fn link(
    request: HttpRequest,
    service: web::Data<Service>,
    code: web::Path<String>,
) -> HttpResponse {
    if service.link_is_open(&code, clock::now_ms()) {
        let page = pages::open_link(&code);
        return desk_page_as(&request, StatusCode::OK, page);
    }
    trouble(&request, StatusCode::NOT_FOUND, &Trouble::LinkUsedUp)
}

/// `POST /host/open/{code}`
pub(super) async fn opened(
    request: HttpRequest,
    service: web::Data<Service>,
    code: web::Path<String>,
    payload: web::Payload,
) -> HttpResponse {
    if let Err(answer) = own_form(&request, payload).await {
        return answer;
    }
    let keeper = web::Data::clone(&service);
    match on_the_pool(move || service.open_link(&code, clock::now_ms())).await {
        Ok(Some(token)) => entered(&request, keeper, &token).await,
        Ok(None) => trouble(&request, StatusCode::NOT_FOUND, &Trouble::LinkUsedUp),
        Err(problem) => problem_page(&request, &problem),
    }
}

/// Gives the browser its new token. What it held before ends, whoever put it there.
async fn entered(
    request: &HttpRequest,
    service: web::Data<Service>,
    token: &Token,
) -> HttpResponse {
    if let Some(held) = cookie::token(request)
        && let Err(problem) = on_the_pool(move || service.let_go(&held)).await
    {
        return problem_page(request, &problem);
    }
    let mut answer = go_to("/host");
    cookie::give(&mut answer, token);
    answer
}

fn page(request: &HttpRequest, status: StatusCode, step: SignInStep) -> HttpResponse {
    desk_page_as(request, status, pages::sign_in(step))
}
