//! What a study's protocol says and said: for people as a page, for programs in JSON.

use super::documents::{page, ready};
use super::problem::Problem;
use crate::clock;
use crate::pages;
use crate::pages::history::{Change, HistoryView};
use crate::service::{Life, ProtocolVersion, Public, Ready, Refused, Service};
use crate::wire::protocol::{History, Version, history};
use actix_web::{HttpRequest, HttpResponse, web};

/// `GET /studies/{study}/protocol`
pub(super) async fn shown(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    match service.study(&slug) {
        Some(public) => page(&request, pages::history::history(&view(&public))),
        None => Problem::from(Refused::StudyUnknown).answer(&request),
    }
}

/// `GET /api/v1/studies/{study}/protocol`
pub(super) async fn told(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    match service.study(&slug) {
        Some(public) => ready(
            &request,
            "application/json",
            &Ready::json(&document(&public)),
        ),
        None => Problem::from(Refused::StudyUnknown).answer(&request),
    }
}

fn view(public: &Public) -> HistoryView<'_> {
    let life = &public.life;
    let history = life.history.iter().rev();
    HistoryView {
        study: &public.study,
        opened: life.opened_at_ms.map(clock::date),
        closed: life.closed_at_ms.map(clock::date),
        plan_hash_at_opening: life.plan_hash_at_opening.as_deref(),
        plan_hash_now: life.plan_hash_now(),
        changes: history.map(|version| change(life, version)).collect(),
    }
}

fn change<'a>(life: &Life, version: &'a ProtocolVersion) -> Change<'a> {
    Change {
        version: version.version,
        from: clock::date(version.made_at_ms),
        reason: version.reason.as_deref(),
        plan_changed: life.is_plan_changed(version),
    }
}

fn document(public: &Public) -> serde_json::Value {
    let life = &public.life;
    let version = |version: &ProtocolVersion| Version {
        version: version.version,
        from: clock::date(version.made_at_ms),
        reason: version.reason.clone(),
        plan_hash: version.plan_hash.clone(),
        plan_changed: life.is_plan_changed(version),
        text: version.text.clone(),
    };
    history(&History {
        study: &public.study,
        state: life.state,
        opened: life.opened_at_ms.map(clock::date),
        closed: life.closed_at_ms.map(clock::date),
        plan_hash_at_opening: life.plan_hash_at_opening.as_deref(),
        plan_hash_now: life.plan_hash_now(),
        versions: life.history.iter().map(version).collect(),
    })
}
