//! The host's access, at the real program: who gets in, who is kept out, and what is left behind.

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod forms;
mod links;
mod traces;

use crate::harness::host::{COOKIE, Desk, credential, post};
use crate::harness::{Answer, Server, folder, run, server};
use std::fs;

const SIGN_IN: &str = "/host/sign-in";

/// A page of the host for people: HTML that nobody keeps and no search finds.
fn assert_private_page(answer: &Answer) {
    assert_eq!(answer.content_type(), "text/html; charset=utf-8");
    assert_eq!(answer.header("cache-control"), "no-store");
    assert_eq!(answer.header("x-robots-tag"), "noindex");
    assert!(answer.text().contains("<h1>"), "{}", answer.text());
}

#[test]
fn without_a_credential_the_page_says_how_to_make_one_and_nobody_gets_in() {
    let (_folder, server) = server();
    let page = server.get(SIGN_IN).expect(200);
    assert_private_page(&page);
    assert!(page.text().contains("tautpool host credential make"));
    assert!(!page.text().contains("<form"), "{}", page.text());
    for typed in ["", "admin", "password", "0000"] {
        let answer = post(&server, SIGN_IN, &[("credential", typed)]).expect(403);
        assert_private_page(&answer);
        assert_eq!(answer.header("set-cookie"), "");
    }
}

#[test]
fn every_page_of_the_desk_sends_a_stranger_to_the_sign_in_page() {
    let (_folder, server) = server();
    let forged = format!("{COOKIE}={}", "A".repeat(43));
    for cookie in ["", "other=1", &forged, COOKIE] {
        for method in ["GET", "HEAD"] {
            let answer = server.send(method, "/host", &[("cookie", cookie)], b"");
            let answer = answer.expect(303);
            assert_eq!(answer.header("location"), SIGN_IN);
            assert_eq!(answer.header("cache-control"), "no-store");
            assert_eq!(answer.header("x-robots-tag"), "noindex");
        }
    }
    for path in ["/host/sign-out", "/host/sign-out-everywhere"] {
        assert_private_page(&post(&server, path, &[]).expect(403));
    }
}

#[test]
fn the_credential_is_shown_once_lets_in_and_nothing_else_does() {
    let folder = folder();
    let made = credential(folder.path());
    let groups: Vec<usize> = made.split('-').map(str::len).collect();
    assert_eq!(groups, [4; 8], "{made}");
    assert_ne!(made, credential(folder.path()), "every one is new");
    let last = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    for wrong in [made.as_str(), ""] {
        let answer = post(&server, SIGN_IN, &[("credential", wrong)]).expect(403);
        assert_private_page(&answer);
        assert_eq!(answer.header("set-cookie"), "");
        assert!(answer.text().contains("This is not the credential"));
        assert!(!answer.text().contains(&made), "it is not repeated");
    }
    let typed = format!(" {} ", last.to_lowercase().replace('-', " "));
    let desk = Desk::enter(&server, &typed);
    let page = desk.get("/host").expect(200);
    assert_private_page(&page);
    assert!(page.text().contains("<h1>Desk</h1>"));
    // Who is in already is not asked again.
    assert_eq!(desk.get(SIGN_IN).expect(303).header("location"), "/host");
}

#[test]
fn the_cookie_is_bound_to_this_host_and_hidden_from_scripts() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let answer = post(&server, SIGN_IN, &[("credential", &credential)]).expect(303);
    let cookie = answer.header("set-cookie");
    let (pair, attributes) = cookie.split_once("; ").unwrap();
    let (name, token) = pair.split_once('=').unwrap();
    assert_eq!((name, token.len()), (COOKIE, 43));
    let expected = "Path=/; Secure; HttpOnly; SameSite=Strict; Max-Age=604800";
    assert_eq!(attributes, expected);
    let gone = Desk::given(&server, &answer).post("/host/sign-out", &[]);
    let expected = format!("{COOKIE}=; Path=/; Secure; HttpOnly; SameSite=Strict; Max-Age=0");
    assert_eq!(gone.expect(303).header("set-cookie"), expected);
}

#[test]
fn a_sixth_attempt_in_a_row_is_refused_in_words_even_with_the_right_credential() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    // Nobody gets more attempts by claiming to be somebody else.
    let claimed = |number: u8| format!("192.0.2.{number}");
    for number in 0..5 {
        let claimed = claimed(number);
        let headers = [("x-forwarded-for", claimed.as_str())];
        let fields = [("credential", "wrong")];
        crate::harness::host::post_with(&server, SIGN_IN, &headers, &fields).expect(403);
    }
    let refused = post(&server, SIGN_IN, &[("credential", &credential)]).expect(429);
    assert_private_page(&refused);
    assert!(refused.text().contains("Too many attempts"));
    let wait: u32 = refused.header("retry-after").parse().unwrap();
    assert!((1..=60).contains(&wait), "{wait}");
}

#[test]
fn behind_a_proxy_clients_are_counted_by_what_the_proxy_tells() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &["--behind-tls-proxy"]);
    let attempt = |forwarded: &str, typed: &str| {
        let headers = [("x-forwarded-for", forwarded)];
        let fields = [("credential", typed)];
        crate::harness::host::post_with(&server, SIGN_IN, &headers, &fields).status
    };
    for number in 0..5 {
        assert_eq!(
            attempt(&format!("192.0.2.{number}, 198.51.100.7"), "x"),
            403
        );
    }
    assert_eq!(attempt("192.0.2.9, 198.51.100.7", &credential), 429);
    assert_eq!(attempt("198.51.100.7, 198.51.100.8", &credential), 303);
}

#[test]
fn signing_out_ends_one_browser_and_everywhere_ends_all() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let [one, two, three] = [0, 1, 2].map(|_| Desk::enter(&server, &credential));
    let out = one.post("/host/sign-out", &[]).expect(303);
    assert_eq!(out.header("location"), SIGN_IN);
    assert_eq!([&one, &two, &three].map(Desk::is_in), [false, true, true]);
    two.post("/host/sign-out-everywhere", &[]).expect(303);
    assert_eq!([&one, &two, &three].map(Desk::is_in), [false; 3]);
    assert!(Desk::enter(&server, &credential).is_in());
}

#[test]
fn a_sign_in_outlives_a_kill_and_ends_with_a_new_credential() {
    let folder = folder();
    let old = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let cookie = Desk::enter(&server, &old).cookie;
    // Ended by SIGKILL, right after the answer.
    drop(server);
    let server = Server::serve(folder.path(), &[]);
    let desk = Desk::holding(&server, &cookie);
    assert!(desk.is_in());
    let token = desk.form_token();
    // The form of a page from before the restart is still taken.
    assert_eq!(token, desk.form_token());
    drop(server);
    let new = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    assert!(!Desk::holding(&server, &cookie).is_in());
    post(&server, SIGN_IN, &[("credential", &old)]).expect(403);
    assert!(Desk::enter(&server, &new).is_in());
}

#[test]
fn a_credential_is_not_made_while_a_server_runs() {
    let folder = folder();
    let old = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let data = folder.path().to_str().unwrap();
    let output = run(&["host", "credential", "make", "--data", data], b"");
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert!(output.stdout.is_empty());
    let words = String::from_utf8(output.stderr).unwrap();
    assert!(words.contains("another tautpool") && words.contains("stop it first"));
    assert!(Desk::enter(&server, &old).is_in());
}

#[test]
fn a_credential_can_be_the_first_thing_of_a_new_folder() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("data");
    let credential = credential(&folder);
    assert!(fs::exists(&folder).unwrap());
    let server = Server::serve(&folder, &[]);
    let page = Desk::enter(&server, &credential).get("/host").expect(200);
    assert!(page.text().contains("There is no study here yet."));
}
