//! Sign-ins that somebody else set up, or kept.

use crate::harness::host::{COOKIE, Desk, credential, post, post_with};
use crate::harness::{Server, folder};

/// A cookie that nobody gave out.
fn made_up(letter: &str) -> String {
    format!("{COOKIE}={}", letter.repeat(43))
}

#[test]
fn a_cookie_that_was_there_before_is_never_adopted() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let set = made_up("A");
    // Looking at the page gives none and takes none over.
    let page = server.send("GET", "/host/sign-in", &[("cookie", &set)], b"");
    assert_eq!(page.expect(200).header("set-cookie"), "");
    let headers = [("cookie", set.as_str())];
    let fields = [("credential", credential.as_str())];
    let answer = post_with(&server, "/host/sign-in", &headers, &fields).expect(303);
    let desk = Desk::given(&server, &answer);
    assert_ne!(desk.cookie, set);
    assert!(desk.is_in() && !Desk::holding(&server, &set).is_in());
    // With two of one name the first counts, and a made-up one lets nobody in; nor does one of
    // another name.
    let (_, token) = desk.cookie.split_once('=').unwrap();
    for cookies in [
        format!("{set}; {}", desk.cookie),
        format!("tautpool={token}"),
        format!("__host-tautpool={token}"),
        format!("{COOKIE}=\"{token}\""),
        format!("{COOKIE}={token}x"),
    ] {
        assert!(!Desk::holding(&server, &cookies).is_in(), "{cookies}");
    }
}

#[test]
fn whoever_signs_in_again_leaves_nothing_behind_that_opens_the_desk() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let [first, other] = [0, 1].map(|_| Desk::enter(&server, &credential));
    let token = first.form_token();
    let headers = [("cookie", first.cookie.as_str())];
    let fields = [("credential", credential.as_str())];
    let answer = post_with(&server, "/host/sign-in", &headers, &fields).expect(303);
    let second = Desk::given(&server, &answer);
    assert_eq!(
        [&first, &second, &other].map(Desk::is_in),
        [false, true, true]
    );
    // The forms of the one before are worth nothing to it.
    let form = [("form_token", token.as_str())];
    second.post_bare("/host/sign-out", &[], &form).expect(403);
    // A wrong credential ends nothing.
    let headers = [("cookie", second.cookie.as_str())];
    post_with(&server, "/host/sign-in", &headers, &[("credential", "x")]).expect(403);
    assert!(second.is_in());
}

#[test]
fn a_link_opened_by_who_is_signed_in_gives_a_new_sign_in_for_the_old() {
    let demo = Server::start(&["demo"], |line| line.contains(" --send "));
    let words: Vec<&str> = demo.printed.split_whitespace().collect();
    let link = words
        .iter()
        .find(|word| word.contains("/host/open/"))
        .unwrap();
    let (_, path) = link.split_once(&demo.address).unwrap();
    let set = made_up("B");
    let answer = post_with(&demo, path, &[("cookie", &set)], &[]).expect(303);
    let desk = Desk::given(&demo, &answer);
    assert_ne!(desk.cookie, set);
    assert!(desk.is_in() && !Desk::holding(&demo, &set).is_in());
    // The link is used up, also for who is signed in, whose sign-in it does not touch.
    post_with(&demo, path, &[("cookie", &desk.cookie)], &[]).expect(404);
    assert!(desk.is_in());
}

#[test]
fn signing_out_ends_it_on_the_server_whatever_the_browser_keeps() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let desk = Desk::enter(&server, &credential);
    let token = desk.form_token();
    desk.post("/host/sign-out", &[]).expect(303);
    assert!(!desk.is_in());
    let form = [("form_token", token.as_str())];
    for path in ["/host/sign-out", "/host/sign-out-everywhere", "/host/new"] {
        desk.post_bare(path, &[], &form).expect(403);
    }
    // Nobody is let in by what is not the credential, however it is sent.
    for fields in [
        vec![("credential", "")],
        vec![("credential", "x"), ("credential", credential.as_str())],
        vec![("Credential", credential.as_str())],
    ] {
        post(&server, "/host/sign-in", &fields).expect(403);
    }
    let asked = format!("/host/sign-in?credential={credential}");
    assert_eq!(server.get(&asked).expect(200).header("set-cookie"), "");
}
