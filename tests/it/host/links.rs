//! Links that sign in once, as the demonstration prints one.

use super::{SIGN_IN, assert_private_page};
use crate::harness::Server;
use crate::harness::host::{Desk, post, post_with};

/// A demonstration, and the path of the link it printed.
fn demo() -> (Server, String) {
    let arguments = ["demo", "--log", "tautpool=trace"];
    let demo = Server::start(&arguments, |line| line.contains(" --send "));
    let mut words = demo.printed.split_whitespace();
    let link = words.find(|word| word.contains("/host/open/")).unwrap();
    let (_, path) = link.split_once(&demo.address).unwrap();
    let path = path.to_owned();
    (demo, path)
}

#[test]
fn a_link_signs_in_once_and_looking_at_it_does_not_use_it_up() {
    let (demo, path) = demo();
    for method in ["GET", "HEAD", "GET"] {
        let page = demo.send(method, &path, &[], b"").expect(200);
        assert_eq!(page.header("set-cookie"), "");
        assert_eq!(page.header("referrer-policy"), "no-referrer");
    }
    assert_private_page(&demo.get(&path));
    // Another site cannot spend it.
    let foreign = [("sec-fetch-site", "cross-site")];
    post_with(&demo, &path, &foreign, &[]).expect(403);
    let opened = post(&demo, &path, &[]).expect(303);
    let desk = Desk::given(&demo, &opened);
    assert!(desk.is_in());
    for method in ["GET", "POST"] {
        let headers = [("content-type", "application/x-www-form-urlencoded")];
        let again = demo.send(method, &path, &headers, b"").expect(404);
        assert_private_page(&again);
        assert!(again.text().contains("once"), "{}", again.text());
        assert_eq!(again.header("set-cookie"), "");
    }
    assert!(desk.is_in());
    // The log tells the way, and not the code.
    let code = path.rsplit('/').next().unwrap();
    let log = demo.log();
    assert!(log.contains("/host/open/{code}"), "{log}");
    assert!(!log.contains(code), "{log}");
}

#[test]
fn a_made_up_link_opens_nothing_and_the_demo_has_no_credential() {
    let (demo, _) = demo();
    for code in ["x", &"A".repeat(43), "%2e%2e", "%00"] {
        let path = format!("/host/open/{code}");
        assert_private_page(&demo.get(&path).expect(404));
        assert_private_page(&post(&demo, &path, &[]).expect(404));
    }
    let page = demo.get(SIGN_IN).expect(200);
    assert!(page.text().contains("The demonstration has none"));
}
