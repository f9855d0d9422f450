//! What pages of other origins may do: read what is public, and nothing else.

use super::{aggregate, pooled};
use crate::harness::{STUDY, server};

const ORIGIN: (&str, &str) = ("origin", "https://elsewhere.example");

#[test]
fn public_documents_may_be_read_from_every_origin_and_errors_too() {
    let (_folder, server) = server();
    let open = [
        "/api/openapi.json".to_owned(),
        "/api/v1/studies".to_owned(),
        pooled(),
        aggregate(),
        format!("/api/v1/studies/{STUDY}/protocol"),
        format!("/api/v1/studies/{STUDY}/releases"),
        "/schema/aggregate.v1.schema.json".to_owned(),
        format!("/studies/{STUDY}/card.svg"),
        format!("/studies/{STUDY}/shots-template.csv"),
    ];
    for path in open {
        let answer = server.send("GET", &path, &[ORIGIN], b"").expect(200);
        assert_eq!(answer.header("access-control-allow-origin"), "*", "{path}");
        let exposed = answer.header("access-control-expose-headers");
        for name in ["ETag", "Link", "RateLimit", "Retry-After", "Content-Range"] {
            assert!(exposed.split(", ").any(|known| known == name), "{name}");
        }
        let tag = answer.header("etag");
        let has = server.send("GET", &path, &[ORIGIN, ("if-none-match", tag)], b"");
        assert_eq!(has.expect(304).header("access-control-allow-origin"), "*");
        let wishes = [
            ORIGIN,
            ("access-control-request-method", "GET"),
            ("access-control-request-headers", "if-none-match"),
        ];
        let preflight = server.send("OPTIONS", &path, &wishes, b"").expect(204);
        assert!(preflight.body.is_empty());
        for (name, value) in [
            ("allow", "GET, HEAD, OPTIONS"),
            ("access-control-allow-origin", "*"),
            ("access-control-allow-methods", "GET, HEAD"),
            (
                "access-control-allow-headers",
                "If-None-Match, If-Range, Range",
            ),
            ("access-control-max-age", "86400"),
        ] {
            assert_eq!(preflight.header(name), value, "{path}");
        }
    }
    let absent = server.send("GET", "/api/v1/studies/none/pooled", &[ORIGIN], b"");
    assert_eq!(absent.header("access-control-allow-origin"), "*");
    absent.expect_problem(404, "not-found");
}

#[test]
fn nothing_that_takes_a_receipt_a_form_or_a_cookie_is_open_to_other_origins() {
    let (_folder, server) = server();
    let of_study = |rest: &str| format!("/api/v1/studies/{STUDY}/{rest}");
    for path in [
        of_study("contributions"),
        of_study("contributions/0192e5a0-7e3c-7c9a-9d7b-3f1f6f0a1b2c"),
        of_study("plans"),
        of_study("plans/7K3M9QX2ABCD/open"),
        "/host".to_owned(),
        "/host/sign-in".to_owned(),
        format!("/studies/{STUDY}"),
        format!("/studies/{STUDY}/send"),
        format!("/studies/{STUDY}/receipt"),
        "/health".to_owned(),
        "/ready".to_owned(),
    ] {
        for method in ["OPTIONS", "GET", "POST", "PUT", "DELETE"] {
            let answer = server.send(method, &path, &[ORIGIN], b"");
            let names = answer.header_names();
            let mut open = names
                .iter()
                .filter(|name| name.starts_with("access-control"));
            assert_eq!(open.next(), None, "{method} {path}");
            assert!(method != "OPTIONS" || answer.status == 405, "{path}");
        }
    }
}
