//! The cookie that a signed-in browser holds.
//!
//! The prefix `__Host-` makes browsers take it only with `Secure`, with the path `/` and without a
//! domain, so that no other host, nor a neighbouring port's page over plain HTTP, sets one for us
//! (RFC 6265bis, section 4.1.3.2; from memory).

use crate::access::{LASTS_MS, Token};
use actix_web::http::header::{self, HeaderValue};
use actix_web::{HttpRequest, HttpResponse};

const NAME: &str = "__Host-tautpool";
const ATTRIBUTES: &str = "Path=/; Secure; HttpOnly; SameSite=Strict";

/// What the browser holds; `None` when it holds nothing.
pub(super) fn token(request: &HttpRequest) -> Option<String> {
    let headers = request.headers().get_all(header::COOKIE);
    let pairs = headers
        .filter_map(|header| header.to_str().ok())
        .flat_map(|header| header.split(';'));
    let mut named = pairs.filter_map(|pair| pair.trim().split_once('='));
    named
        .find(|(name, _)| *name == NAME)
        .map(|(_, value)| value.to_owned())
}

/// Gives the browser a token to hold for as long as a sign-in lasts at most.
pub(super) fn give(answer: &mut HttpResponse, token: &Token) {
    let seconds = LASTS_MS / 1000;
    let cookie = format!("{NAME}={}; {ATTRIBUTES}; Max-Age={seconds}", token.reveal());
    set(answer, &cookie);
}

/// Takes the token away from the browser.
pub(super) fn take_away(answer: &mut HttpResponse) {
    set(answer, &format!("{NAME}=; {ATTRIBUTES}; Max-Age=0"));
}

fn set(answer: &mut HttpResponse, cookie: &str) {
    if let Ok(value) = HeaderValue::from_str(cookie) {
        answer.headers_mut().insert(header::SET_COOKIE, value);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::test::TestRequest;

    #[test]
    fn the_token_is_found_among_other_cookies() {
        let found = |cookies: &'static str| {
            let request = TestRequest::get().append_header(("cookie", cookies));
            token(&request.to_http_request())
        };
        assert_eq!(
            found("a=b; __Host-tautpool=xyz; c=d").as_deref(),
            Some("xyz")
        );
        assert_eq!(found("__Host-tautpool=xyz").as_deref(), Some("xyz"));
        for cookies in [
            "",
            "a=b",
            "x__Host-tautpool=xyz",
            "tautpool=xyz",
            "__Host-tautpool",
        ] {
            assert_eq!(found(cookies), None, "{cookies}");
        }
    }
}
