//! Figures for whoever runs the service, in the text format of Prometheus (version 0.0.4).
//!
//! How many players sent something, and when, is told in public in steps only. Here the counts are
//! exact, so they are served on a listener of their own, which this machine alone reaches, and no
//! public address leads here. No label takes a text from a client: routes stand as their patterns,
//! and methods that HTTP does not define are one.

mod process;
mod state;

use super::connections::Connections;
use crate::access::Quota;
use crate::clock;
use crate::service::Service;
use actix_web::dev::Server;
use actix_web::http::header::{self, HeaderValue};
use actix_web::http::{Method, StatusCode};
use actix_web::middleware::DefaultHeaders;
use actix_web::{App, HttpRequest, HttpResponse, HttpServer, web};
use prometheus_client::encoding::prometheus_text;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::registry::Registry;
use std::fmt;
use std::io;
use std::net::TcpListener;
use std::sync::Arc;
use std::time::Duration;

/// Upper bounds of the classes of durations, in seconds: from an answer that lies ready to one that
/// had to wait for figures (ours).
const SECONDS: [f64; 12] = [
    0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0,
];

/// What tells the series of a figure apart.
type Labels = Vec<(&'static str, String)>;

/// What is counted while requests are answered.
pub(super) struct Metrics {
    registry: Registry,
    requests: Family<Labels, Counter>,
    durations: Family<Labels, Histogram>,
    limited: Family<Labels, Counter>,
    connections: Arc<Connections>,
    started_ms: i64,
}

impl fmt::Debug for Metrics {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.debug_struct("Metrics").finish_non_exhaustive()
    }
}

impl Metrics {
    /// Nothing counted yet.
    pub(super) fn new(connections: Arc<Connections>) -> Self {
        let requests = Family::default();
        let durations = Family::new_with_constructor((|| Histogram::new(SECONDS)) as fn() -> _);
        let limited = Family::default();
        let mut registry = Registry::with_prefix("tautpool");
        registry.register(
            "http_requests",
            "Requests by route, method and class of status",
            requests.clone(),
        );
        registry.register(
            "http_request_duration_seconds",
            "Time from the head of a request to the head of its answer",
            durations.clone(),
        );
        registry.register(
            "http_requests_limited",
            "Requests refused because their client had used up a quota",
            limited.clone(),
        );
        Self {
            registry,
            requests,
            durations,
            limited,
            connections,
            started_ms: clock::now_ms(),
        }
    }

    /// Counts a request that was answered.
    pub(super) fn answered(
        &self,
        route: &str,
        method: &Method,
        status: StatusCode,
        took: Duration,
    ) {
        let class = format!("{}xx", status.as_u16() / 100);
        let labels = vec![
            ("route", route.to_owned()),
            ("method", known(method).to_owned()),
            ("status", class),
        ];
        self.requests.get_or_create(&labels).inc();
        let labels = vec![("route", route.to_owned())];
        self.durations
            .get_or_create(&labels)
            .observe(took.as_secs_f64());
    }

    /// Counts a request that was refused by a limit.
    pub(super) fn limited(&self, quota: Quota) {
        let labels = vec![("quota", quota.name().to_owned())];
        self.limited.get_or_create(&labels).inc();
    }

    /// Everything that is counted, and what the service says of itself now.
    fn written(&self, service: &Service, now_ms: i64) -> Result<String, fmt::Error> {
        let mut text = String::new();
        prometheus_text::encode(&mut text, &self.registry)?;
        let now = state::of(service, self.connections.tally(), now_ms);
        prometheus_text::encode(&mut text, &now)?;
        prometheus_text::encode(&mut text, &process::of_this(self.started_ms))?;
        Ok(text)
    }
}

/// Where a request is counted; `None` when nobody wants to know.
pub(super) fn of(request: &HttpRequest) -> Option<Arc<Metrics>> {
    let metrics = request.app_data::<web::Data<Option<Arc<Metrics>>>>()?;
    metrics.as_ref().clone()
}

/// A method that HTTP defines (RFC 9110, section 9; RFC 5789), or that it is another one.
fn known(method: &Method) -> &str {
    let defined = [
        Method::GET,
        Method::HEAD,
        Method::POST,
        Method::PUT,
        Method::DELETE,
        Method::OPTIONS,
        Method::PATCH,
        Method::CONNECT,
        Method::TRACE,
    ];
    if defined.contains(method) {
        method.as_str()
    } else {
        "other"
    }
}

/// A server of the figures alone. It runs as long as the process does.
pub(super) fn server(
    listener: TcpListener,
    metrics: Arc<Metrics>,
    service: web::Data<Service>,
) -> io::Result<Server> {
    let metrics = web::Data::from(metrics);
    let server = HttpServer::new(move || {
        App::new()
            .app_data(web::Data::clone(&metrics))
            .app_data(web::Data::clone(&service))
            .wrap(DefaultHeaders::new().add((header::X_CONTENT_TYPE_OPTIONS, "nosniff")))
            .route("/metrics", web::get().to(told))
    });
    Ok(server.workers(1).disable_signals().listen(listener)?.run())
}

/// `GET /metrics`
async fn told(
    request: HttpRequest,
    metrics: web::Data<Metrics>,
    service: web::Data<Service>,
) -> HttpResponse {
    if !names_this_machine(&request) {
        return HttpResponse::MisdirectedRequest().finish();
    }
    let written = web::block(move || metrics.written(&service, clock::now_ms())).await;
    match written {
        Ok(Ok(text)) => HttpResponse::Ok()
            .insert_header((header::CONTENT_TYPE, prometheus_text::CONTENT_TYPE))
            .insert_header((header::CACHE_CONTROL, HeaderValue::from_static("no-store")))
            .body(text),
        Ok(Err(_)) | Err(_) => HttpResponse::InternalServerError().finish(),
    }
}

/// Whether a request was meant for this listener: a page elsewhere whose name is made to lead here
/// sends its own name.
fn names_this_machine(request: &HttpRequest) -> bool {
    let host = request.headers().get(header::HOST);
    let host = host.and_then(|host| host.to_str().ok()).unwrap_or_default();
    let name = host.rsplit_once(':').map_or(host, |(name, _)| name);
    let address = name.trim_matches(['[', ']']).parse::<std::net::IpAddr>();
    name == "localhost" || address.is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_made_up_method_makes_no_series_of_its_own() {
        assert_eq!(known(&Method::PUT), "PUT");
        let other = Method::from_bytes(b"MADE-UP").unwrap();
        assert_eq!(known(&other), "other");
    }
}
