//! What a contributor gets to see after sending.

use super::form;
use crate::pages;
use crate::service::Accepted;
use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse};

/// The answer to a form that was taken.
pub(super) fn sent(request: &HttpRequest, accepted: &Accepted) -> HttpResponse {
    let page = pages::send::sent(&accepted.public.study, &accepted.receipt.reveal());
    form::page(request, StatusCode::CREATED, page)
}
