//! Forms that another site sent, or tried to.

use super::{SIGN_IN, assert_private_page};
use crate::harness::host::{Desk, credential, post_with};
use crate::harness::{Server, folder};

/// What a browser says of a request that another site began.
const FOREIGN: [&[(&str, &str)]; 6] = [
    &[("sec-fetch-site", "cross-site"), ("origin", "null")],
    &[("sec-fetch-site", "same-site")],
    &[
        ("sec-fetch-site", "cross-site"),
        ("origin", "http://a.test"),
    ],
    &[("origin", "http://a.test")],
    &[("origin", "http://127.0.0.1:1")],
    &[("origin", "null")],
];

#[test]
fn a_form_without_its_token_is_refused_and_does_nothing() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let [desk, other] = [0, 1].map(|_| Desk::enter(&server, &credential));
    let (own, others) = (desk.form_token(), other.form_token());
    for path in ["/host/sign-out", "/host/sign-out-everywhere"] {
        for fields in [
            vec![],
            vec![("form_token", "")],
            vec![("form_token", "x")],
            vec![("form_token", others.as_str())],
            vec![("form_token", &own[1..])],
            vec![("token", own.as_str())],
        ] {
            let refused = desk.post_bare(path, &[], &fields).expect(403);
            assert_private_page(&refused);
            assert!(refused.text().contains("Nothing was done"));
        }
    }
    assert!(desk.is_in() && other.is_in());
}

#[test]
fn a_form_from_another_site_is_refused_even_with_its_token() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let desk = Desk::enter(&server, &credential);
    let token = desk.form_token();
    let fields = [("form_token", token.as_str())];
    for headers in FOREIGN {
        let refused = desk.post_bare("/host/sign-out-everywhere", headers, &fields);
        assert_private_page(&refused.expect(403));
    }
    assert!(desk.is_in());
    let own = [("sec-fetch-site", "same-origin"), ("origin", "null")];
    desk.post_bare("/host/sign-out", &own, &fields).expect(303);
    assert!(!desk.is_in());
}

#[test]
fn no_other_site_signs_a_browser_in() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let fields = [("credential", credential.as_str())];
    // More often than an attempt may be made: what is refused here is none.
    for headers in FOREIGN {
        let refused = post_with(&server, SIGN_IN, headers, &fields).expect(403);
        assert_private_page(&refused);
        assert_eq!(refused.header("set-cookie"), "");
    }
    let origin = format!("http://{}", server.address);
    let own = [("origin", origin.as_str())];
    post_with(&server, SIGN_IN, &own, &fields).expect(303);
}

#[test]
fn what_is_no_form_is_refused_with_a_page() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let desk = Desk::enter(&server, &credential);
    let headers = [
        ("cookie", desk.cookie.as_str()),
        ("content-type", "application/json"),
    ];
    for path in [SIGN_IN, "/host/sign-out"] {
        let refused = server.send("POST", path, &headers, b"{}").expect(415);
        assert_private_page(&refused);
    }
    let many = "x".repeat(300 * 1024);
    let refused = desk.post_bare("/host/sign-out", &[], &[("x", &many)]);
    assert_private_page(&refused.expect(413));
    assert!(desk.is_in());
}
