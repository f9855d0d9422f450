//! Content codings: which form of a body a client gets (RFC 9110, sections 8.4 and 12.5.3).
//!
//! Only what is public is ever compressed, since compressing secrets together with text that
//! somebody else chose tells of the secrets by the length (the BREACH attack): answers to
//! contributors, forms and the host's desk do not come this way.

use super::pieces::Pieces;
use crate::service::Ready;
use actix_web::HttpRequest;
use actix_web::http::header::{AcceptEncoding, Encoding, EntityTag, Header};

/// Shortest body that is worth compressing: with its headers a shorter one fits into one packet
/// anyway (1,460 bytes of payload over Ethernet and IPv4; common practice, no source).
const WORTHWHILE_BYTES: usize = 1024;

/// A body in the form that a client gets.
pub(super) struct Coded {
    pub(super) body: Pieces,
    /// Differs between forms of the same body (RFC 9110, section 8.8.3).
    pub(super) tag: EntityTag,
    pub(super) is_gzip: bool,
}

/// Whether a body has a compressed form: pictures in PNG are compressed already.
pub(super) fn has_forms(content_type: &str, ready: &Ready) -> bool {
    content_type != "image/png" && WORTHWHILE_BYTES <= ready.length()
}

/// The body as it is.
pub(super) fn plain(ready: &Ready) -> Coded {
    let body = match ready.inflating() {
        Some(inflating) => Pieces::Inflating(Box::new(inflating)),
        None => Pieces::Bytes(ready.plain().cloned().unwrap_or_default()),
    };
    Coded {
        body,
        tag: tag(ready, ""),
        is_gzip: false,
    }
}

/// The body in the form that the client likes best.
pub(super) fn liked(request: &HttpRequest, content_type: &str, ready: &Ready) -> Coded {
    let wanted = has_forms(content_type, ready) && wants_gzip(request);
    match wanted.then(|| ready.gzip()).flatten() {
        Some(body) => Coded {
            body: Pieces::Bytes(body),
            tag: tag(ready, "-gzip"),
            is_gzip: true,
        },
        None => plain(ready),
    }
}

pub(super) fn tag(ready: &Ready, form: &str) -> EntityTag {
    EntityTag::new_strong(format!("{}{form}", ready.etag.trim_matches('"')))
}

/// Without the header, or with one that cannot be read, a body is sent as it is.
fn wants_gzip(request: &HttpRequest) -> bool {
    let codings = [Encoding::gzip(), Encoding::identity()];
    AcceptEncoding::parse(request)
        .ok()
        .and_then(|accepted| accepted.negotiate(codings.iter()))
        .is_some_and(|coding| coding == Encoding::gzip())
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::body::{BodySize, MessageBody};
    use actix_web::test::TestRequest;

    fn form(accepted: Option<&'static str>, content_type: &str, bytes: usize) -> String {
        let ready = Ready::new("x".repeat(bytes));
        let mut request = TestRequest::get();
        if let Some(accepted) = accepted {
            request = request.insert_header(("accept-encoding", accepted));
        }
        let coded = liked(&request.to_http_request(), content_type, &ready);
        let length = u64::try_from(bytes).unwrap();
        assert_eq!(
            coded.is_gzip,
            !matches!(coded.body.size(), BodySize::Sized(all) if all == length)
        );
        assert_eq!(coded.is_gzip, coded.tag.tag().ends_with("-gzip"));
        let form = if coded.is_gzip { "gzip" } else { "plain" };
        form.to_owned()
    }

    #[test]
    fn a_client_gets_the_form_it_likes_best() {
        for (accepted, wanted) in [
            (Some("gzip"), "gzip"),
            (Some("gzip, deflate, br, zstd"), "gzip"),
            (Some("br, GZIP"), "gzip"),
            (Some("identity;q=0.5, gzip"), "gzip"),
            (Some("*;q=0, gzip;q=0.1"), "gzip"),
            (Some("gzip;q=0.2, identity;q=0.9"), "plain"),
            (Some("gzip;q=0"), "plain"),
            (Some("br"), "plain"),
            (Some("identity"), "plain"),
            (Some("*"), "plain"),
            (Some(""), "plain"),
            (Some("gzip;q=nonsense"), "plain"),
            (None, "plain"),
        ] {
            assert_eq!(
                form(accepted, "application/json", 2000),
                wanted,
                "{accepted:?}"
            );
        }
    }

    #[test]
    fn what_is_short_or_compressed_already_is_sent_as_it_is() {
        assert_eq!(form(Some("gzip"), "application/json", 1023), "plain");
        assert_eq!(form(Some("gzip"), "application/json", 1024), "gzip");
        assert_eq!(form(Some("gzip"), "image/png", 5000), "plain");
    }
}
