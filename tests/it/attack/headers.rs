//! What answers tell browsers: what may be loaded, run, shown and kept.

use super::crawl::Found;
use super::markup::{self, Part, inline};
use super::stage::Stage;
use crate::harness::host::{Desk, post};
use crate::harness::{Answer, STUDY, Server, folder};

/// For pages and what is part of them.
const OF_PAGES: &str = "default-src 'none'; style-src 'self'; img-src 'self'; script-src 'self'; connect-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";
/// For documents and pictures.
const OF_DOCUMENTS: &str =
    "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

fn parts(found: &Found) -> Vec<Part> {
    if found.is_page() {
        markup::html(&found.answer.text())
    } else if found.is_picture() {
        markup::svg(&found.answer.text())
    } else {
        Vec::new()
    }
}

fn assert_told(path: &str, answer: &Answer) {
    for (name, value) in [
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-opener-policy", "same-origin"),
    ] {
        assert_eq!(answer.header(name), value, "{path}");
    }
    let is_open = answer.header("access-control-allow-origin") == "*";
    let wanted = if is_open {
        "cross-origin"
    } else {
        "same-origin"
    };
    assert_eq!(
        answer.header("cross-origin-resource-policy"),
        wanted,
        "{path}"
    );
    for denied in ["camera", "microphone", "geolocation", "payment", "usb"] {
        let permissions = answer.header("permissions-policy");
        assert!(
            permissions.contains(&format!("{denied}=()")),
            "{path}: {permissions}"
        );
    }
    let kind = answer.content_type().split(';').next().unwrap();
    let of_a_page = ["text/html", "text/css", "text/javascript"].contains(&kind);
    let wanted = if of_a_page { OF_PAGES } else { OF_DOCUMENTS };
    if !kind.is_empty() {
        assert_eq!(answer.header("content-security-policy"), wanted, "{path}");
    }
}

#[test]
fn every_answer_says_what_may_run_in_it_and_no_page_or_picture_has_anything_inline() {
    let stage = Stage::usual();
    let mut all = stage.seen_by_anybody();
    all.extend(stage.seen_by_the_host());
    let own = stage.own_page().expect(200);
    all.push(Found {
        path: "the player's own page".to_owned(),
        answer: own,
    });
    for path in ["/none", "/studies/none", "/api/v1/studies/none/pooled"] {
        let answer = stage.server.get(path).expect(404);
        all.push(Found {
            path: path.to_owned(),
            answer,
        });
    }
    let (mut n_pages, mut n_pictures) = (0, 0);
    for found in &all {
        assert_told(&found.path, &found.answer);
        n_pages += usize::from(found.is_page());
        n_pictures += usize::from(found.is_picture());
        let inline: Vec<String> = parts(found).iter().flat_map(inline).collect();
        assert!(inline.is_empty(), "{}: {inline:?}", found.path);
    }
    // The way leads to everything: the results, each picture, the desk and its forms.
    assert!(
        25 < n_pages && 10 < n_pictures,
        "{n_pages} pages, {n_pictures} pictures"
    );
    for wanted in [
        format!("/studies/{STUDY}/releases/1"),
        format!("/studies/{STUDY}/send"),
        format!("/host/studies/{STUDY}/review"),
        format!("/host/studies/{STUDY}/release"),
        "/host/new".to_owned(),
    ] {
        assert!(all.iter().any(|found| found.path == wanted), "{wanted}");
    }
}

#[test]
fn what_is_not_there_any_more_and_what_did_not_change_say_it_too() {
    let stage = Stage::usual();
    let api = format!("/api/v1/studies/{STUDY}");
    for (path, wanted) in [
        (format!("/studies/{STUDY}"), OF_PAGES),
        (format!("/studies/{STUDY}/card.svg"), OF_DOCUMENTS),
        (format!("{api}/aggregate"), OF_DOCUMENTS),
        (format!("{api}/aggregate/rows.csv"), OF_DOCUMENTS),
    ] {
        let tag = stage
            .server
            .get(&path)
            .expect(200)
            .header("etag")
            .to_owned();
        let headers = [("if-none-match", tag.as_str())];
        let answer = stage.server.send("GET", &path, &headers, b"").expect(304);
        assert_told(&path, &answer);
        assert_eq!(answer.header("content-security-policy"), wanted, "{path}");
    }
    for (method, path) in [
        ("POST", "/"),
        ("TRACE", "/"),
        ("PUT", "/host"),
        ("OPTIONS", &api),
        ("DELETE", &format!("{api}/pooled")),
        ("PATCH", "/none"),
    ] {
        let answer = stage.server.send(method, path, &[], b"");
        assert!([404, 405].contains(&answer.status), "{method} {path}");
        assert_told(path, &answer);
    }
    let out = post(
        &stage.server,
        "/host/sign-in",
        &[("credential", &stage.credential)],
    );
    assert_told("signing in", &out.expect(303));
}

#[test]
fn only_behind_a_proxy_with_tls_are_browsers_told_to_come_no_other_way() {
    const NAME: &str = "strict-transport-security";
    let folder = folder();
    let plain = Server::serve(folder.path(), &[]);
    assert_eq!(plain.get("/").expect(200).header(NAME), "");
    drop(plain);
    let server = Server::serve(folder.path(), &["--behind-tls-proxy"]);
    for path in [
        "/",
        "/none",
        "/host",
        "/style.css",
        "/health",
        "/api/v1/studies",
    ] {
        let answer = server.get(path);
        assert_eq!(answer.header(NAME), "max-age=31536000", "{path}");
    }
    let answer = server.send("POST", "/", &[], b"").expect(405);
    assert_eq!(answer.header(NAME), "max-age=31536000");
}

#[test]
fn pages_of_the_desk_are_neither_kept_nor_shown_from_a_cache_after_signing_out() {
    let stage = Stage::usual();
    let desk = Desk::enter(&stage.server, &stage.credential);
    for found in stage.seen_by_the_host() {
        if found.answer.status == 405 {
            continue;
        }
        assert_eq!(
            found.answer.header("cache-control"),
            "no-store",
            "{}",
            found.path
        );
        assert_eq!(
            found.answer.header("x-robots-tag"),
            "noindex",
            "{}",
            found.path
        );
        assert_eq!(found.answer.header("etag"), "", "{}", found.path);
    }
    let out = desk.post("/host/sign-out", &[]).expect(303);
    assert!(out.header("set-cookie").contains("Max-Age=0"));
    for found in stage.seen_by_the_host() {
        let answer = desk.get(&found.path);
        assert!([303, 404, 405].contains(&answer.status), "{}", found.path);
        assert!(answer.status != 303 || answer.body.is_empty());
    }
}
