//! One span and one log line per request. Never a body, an address of a client, or a secret.

use super::metrics;
use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::{Error, HttpMessage, HttpRequest};
use std::time::Instant;
use tracing::Instrument;
use uuid::Uuid;

/// The identifier of a request, repeated in its log lines and in its problem document.
#[derive(Clone, Copy)]
struct RequestId(Uuid);

/// The identifier that [`request`] gave.
pub(super) fn request_id(request: &HttpRequest) -> Uuid {
    request
        .extensions()
        .get::<RequestId>()
        .map_or_else(Uuid::nil, |id| id.0)
}

/// Middleware: gives the request its identifier and its span, and logs how it ended.
pub(super) async fn request(
    request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    let id = Uuid::new_v4();
    request.extensions_mut().insert(RequestId(id));
    let route = request.match_pattern().unwrap_or_else(|| "none".to_owned());
    let span = tracing::info_span!("request", request.id = %id, http.method = %request.method(), http.route = %route);
    let metrics = metrics::of(request.request());
    let method = request.method().clone();
    let began = Instant::now();
    async move {
        let mut response = next.call(request).await?;
        if let Ok(value) = HeaderValue::from_str(&id.to_string()) {
            response
                .headers_mut()
                .insert(HeaderName::from_static("request-id"), value);
        }
        let took = began.elapsed();
        if let Some(metrics) = metrics {
            metrics.answered(&route, &method, response.status(), took);
        }
        let duration_ms = took.as_secs_f64() * 1e3;
        tracing::info!(
            http.status = response.status().as_u16(),
            duration_ms,
            "answered"
        );
        Ok(response)
    }
    .instrument(span)
    .await
}
