//! What every answer tells the browser that gets it: what it may load, run, show and keep.
//!
//! An answer of the framework itself, to what is not HTTP at all, does not come this way.

use super::Front;
use actix_web::Error;
use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::Next;

/// A page loads what its own origin has, and nothing inline: no style, no script, no handler. It
/// stands in no frame. The answer of a script has it too, since a worker takes its policy from there.
const OF_PAGES: &str = "default-src 'none'; style-src 'self'; img-src 'self'; script-src 'self'; connect-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";

/// A document or a picture that is opened by itself loads and runs nothing at all. Pictures have
/// their looks in attributes, which no policy touches (CSP level 3, "style-src": attributes named
/// `style` alone).
///
/// There is no `sandbox` in it: the HTML Standard refuses to show what is in a sandbox and has an
/// opener policy ("navigation params": a network error), and the latter is worth more here.
const OF_DOCUMENTS: &str =
    "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// What browsers can do and no page here asks for. What is left out is used: writing to the
/// clipboard, where a code or a receipt can be copied.
const PERMISSIONS: &str = "accelerometer=(), autoplay=(), camera=(), display-capture=(), encrypted-media=(), fullscreen=(), geolocation=(), gyroscope=(), magnetometer=(), microphone=(), midi=(), payment=(), picture-in-picture=(), publickey-credentials-get=(), screen-wake-lock=(), serial=(), sync-xhr=(), usb=(), xr-spatial-tracking=()";

/// Browsers that came over TLS once come no other way for a year (RFC 6797). Whether that holds of
/// names below the host's as well is the host's to say, who knows what else stands there: a proxy
/// that sets the header itself replaces this one.
const TLS_ALONE: &str = "max-age=31536000";

const STATIC: &[(&str, &str)] = &[
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("permissions-policy", PERMISSIONS),
];

/// Middleware: gives an answer every header that it has not set by itself.
pub(super) async fn of_every_answer(
    request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    let front = request.app_data::<Front>();
    let is_behind_tls = matches!(front, Some(Front::TlsProxy(_)));
    let mut answer = next.call(request).await?;
    let headers = answer.headers_mut();
    for (name, value) in STATIC {
        add(headers, HeaderName::from_static(name), value);
    }
    let policy = policy(headers);
    add(headers, header::CONTENT_SECURITY_POLICY, policy);
    add(headers, header::CROSS_ORIGIN_RESOURCE_POLICY, "same-origin");
    if is_behind_tls {
        add(headers, header::STRICT_TRANSPORT_SECURITY, TLS_ALONE);
    }
    Ok(answer)
}

/// For answers that pages of every origin may read and show.
pub(super) fn for_every_origin(headers: &mut HeaderMap) {
    add(
        headers,
        header::CROSS_ORIGIN_RESOURCE_POLICY,
        "cross-origin",
    );
    // A 304 has no media type to tell it by, and renews the headers of what the browser kept.
    add(headers, header::CONTENT_SECURITY_POLICY, OF_DOCUMENTS);
}

fn add(headers: &mut HeaderMap, name: HeaderName, value: &'static str) {
    if !headers.contains_key(&name) {
        headers.insert(name, HeaderValue::from_static(value));
    }
}

/// By what the answer is. One without a body belongs to a page: a 304, or the way to another page.
fn policy(headers: &HeaderMap) -> &'static str {
    let media_type = headers.get(header::CONTENT_TYPE);
    let essence = media_type
        .and_then(|value| value.to_str().ok())
        .and_then(|value| value.split(';').next());
    match essence {
        None | Some("text/html" | "text/css" | "text/javascript") => OF_PAGES,
        Some(_) => OF_DOCUMENTS,
    }
}
