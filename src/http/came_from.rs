//! Whether a form was sent by a page of our own, by what the browser says of it.

use super::body::only;
use super::problem::Problem;
use crate::wire::problem::ProblemKind;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::Method;
use actix_web::middleware::Next;
use actix_web::{Error, HttpRequest};

/// Middleware for forms without a sign-in: one that another site sends does nothing here.
///
/// There is nothing that it could do in its sender's name, since what opens anything is typed into
/// these forms. But it would come from the sender's address, so that a page elsewhere could have its
/// visitors send made-up sessions. Only a browser that says so is believed: one that is too old to
/// say it writes `Origin: null` for our own forms too, and its owner shall take part.
pub(super) async fn no_other_site(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let site = only(request.request(), "sec-fetch-site").ok().flatten();
    let is_foreign = matches!(site, Some("cross-site" | "same-site"));
    if !is_foreign || request.method() != Method::POST {
        return Ok(next.call(request).await?.map_into_boxed_body());
    }
    let (request, _) = request.into_parts();
    let words = "Another site sent this form, and nothing was done. Open the page here, and send it from there.";
    let answer = Problem::new(ProblemKind::BadRequest, words).answer(&request);
    Ok(ServiceResponse::new(request, answer))
}

/// Whether a request was begun by a page of this very service, or by its user.
///
/// `Sec-Fetch-Site` (W3C Fetch Metadata Request Headers) decides where it is sent: our referrer
/// policy makes browsers write `Origin: null` for their own pages too (Fetch standard, "append a
/// request Origin header"). Without it the `Origin` must be ours. What sends neither is no browser
/// of these years, and acts for nobody else.
pub(super) fn own_page(request: &HttpRequest) -> bool {
    let site = only(request, "sec-fetch-site");
    let origin = only(request, "origin");
    match (site, origin) {
        (Ok(Some(site)), Ok(_)) => ["same-origin", "none"].contains(&site),
        (Ok(None), Ok(Some(origin))) => is_ours(request, origin),
        (Ok(None), Ok(None)) => true,
        _ => false,
    }
}

/// Whether an origin names the host and port that the request itself was sent to. A proxy in front
/// has to pass the `Host` header on.
fn is_ours(request: &HttpRequest, origin: &str) -> bool {
    let authority = origin
        .strip_prefix("https://")
        .or_else(|| origin.strip_prefix("http://"));
    let host = only(request, "host").ok().flatten();
    authority.is_some() && authority == host
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::test::TestRequest;

    fn is_own(headers: &[(&'static str, &'static str)]) -> bool {
        let mut request = TestRequest::post();
        for header in headers {
            request = request.append_header(*header);
        }
        own_page(&request.to_http_request())
    }

    #[test]
    fn what_the_browser_says_of_the_site_decides() {
        let null = ("origin", "null");
        assert!(is_own(&[("sec-fetch-site", "same-origin"), null]));
        assert!(is_own(&[("sec-fetch-site", "none")]));
        for site in [
            "cross-site",
            "same-site",
            "",
            "Same-Origin",
            "same-origin, none",
        ] {
            assert!(!is_own(&[("sec-fetch-site", site)]), "{site}");
        }
        let both = [
            ("sec-fetch-site", "cross-site"),
            ("sec-fetch-site", "same-origin"),
        ];
        assert!(!is_own(&both), "a header that stands there twice");
        let host = ("host", "a.test");
        let cross = ("sec-fetch-site", "cross-site");
        assert!(!is_own(&[cross, host, ("origin", "https://a.test")]));
    }

    #[test]
    fn without_it_the_origin_has_to_be_ours() {
        let host = ("host", "a.test:8080");
        assert!(is_own(&[host, ("origin", "http://a.test:8080")]));
        assert!(is_own(&[host, ("origin", "https://a.test:8080")]));
        for origin in [
            "null",
            "",
            "http://a.test",
            "http://b.test:8080",
            "ftp://a.test:8080",
            "http://a.test:8080.b.test",
        ] {
            assert!(!is_own(&[host, ("origin", origin)]), "{origin}");
        }
        assert!(!is_own(&[("origin", "http://a.test:8080")]), "no host");
        assert!(is_own(&[host]), "neither header");
    }
}
