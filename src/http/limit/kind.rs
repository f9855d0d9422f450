//! What a request is counted as, by its route and its method.

use crate::access::Quota;
use actix_web::http::Method;

/// Whoever watches the service asks for these, and is not to be kept from it.
const WATCHED: &[&str] = &["/health", "/ready"];

/// Pages whose forms may name a receipt or an invitation.
const WITH_SECRETS: &[&str] = &[
    "/studies/{study}/receipt",
    "/studies/{study}/send",
    "/studies/{study}/upload",
];

/// What a request is counted as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::http) struct Kind {
    /// `None` when it is not limited.
    pub(super) quota: Option<Quota>,
    /// Whether the address is for people.
    pub(in crate::http) is_page: bool,
    /// Whether scripts of other origins may read the answer.
    pub(in crate::http) is_open: bool,
    /// Whether it is a form that may name a secret.
    pub(super) takes_secrets: bool,
}

impl Kind {
    /// By the pattern of its route, `None` for an address where nothing is.
    pub(in crate::http) fn of(pattern: Option<&str>, method: &Method) -> Self {
        let pattern = pattern.unwrap_or_default();
        let reads = [Method::GET, Method::HEAD, Method::OPTIONS].contains(method);
        let is_open = is_open(pattern);
        let is_page = !is_open && !pattern.starts_with("/api/v1/");
        let quota = match (is_page, reads) {
            _ if WATCHED.contains(&pattern) => None,
            (true, true) => Some(Quota::Pages),
            (false, true) => Some(Quota::Reading),
            (_, false) if pattern.ends_with("/plan") || pattern.ends_with("/plans") => {
                Some(Quota::Plans)
            }
            (_, false) if pattern.ends_with("/upload") => Some(Quota::Uploads),
            (true, false) => Some(Quota::Forms),
            (false, false) => Some(Quota::Writing),
        };
        Self {
            quota,
            is_page,
            is_open,
            takes_secrets: !reads && WITH_SECRETS.contains(&pattern),
        }
    }
}

/// Documents, files and pictures, which take no receipt and are routes of `http::open`.
fn is_open(pattern: &str) -> bool {
    let takes_a_receipt = pattern.contains("/contributions") || pattern.contains("/plans");
    let is_document = pattern.starts_with("/api/v1/") && !takes_a_receipt;
    let is_file = [".svg", ".csv", "[^/]*}"]
        .iter()
        .any(|end| pattern.starts_with("/studies/") && pattern.ends_with(end));
    is_document || is_file || pattern.starts_with("/schema/") || pattern == "/api/openapi.json"
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quota(pattern: &str, method: &Method) -> Option<Quota> {
        Kind::of(Some(pattern), method).quota
    }

    #[test]
    fn every_kind_of_request_has_its_quota() {
        let (get, post) = (Method::GET, Method::POST);
        for (pattern, method, expected) in [
            ("/api/v1/studies/{study}/pooled", &get, Quota::Reading),
            (
                "/api/v1/studies/{study}/contributions",
                &get,
                Quota::Reading,
            ),
            (
                "/api/v1/studies/{study}/contributions",
                &post,
                Quota::Writing,
            ),
            ("/api/v1/studies/{study}/plans", &post, Quota::Plans),
            (
                "/api/v1/studies/{study}/plans/{code}/open",
                &post,
                Quota::Writing,
            ),
            ("/studies/{study}", &get, Quota::Pages),
            ("/style.css", &get, Quota::Pages),
            ("/icon.svg", &get, Quota::Pages),
            ("/studies/{study}/plan", &get, Quota::Pages),
            ("/studies/{study}/plan", &post, Quota::Plans),
            ("/studies/{study}/send/check", &post, Quota::Forms),
            ("/studies/{study}/upload", &post, Quota::Uploads),
            ("/host/sign-in", &post, Quota::Forms),
            (
                "/studies/{study}/{card:card[.-][^/]*}",
                &get,
                Quota::Reading,
            ),
        ] {
            assert_eq!(quota(pattern, method), Some(expected), "{pattern}");
        }
        assert_eq!(quota("/health", &get), None);
        let nothing = Kind::of(None, &get);
        assert_eq!((nothing.quota, nothing.is_page), (Some(Quota::Pages), true));
    }
}
