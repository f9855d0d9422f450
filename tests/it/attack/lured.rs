//! Hosts, ways and methods that a request claims: nothing is made of them.

use super::stage::Stage;
use crate::harness::host::{Desk, post_with};
use crate::harness::{Answer, STUDY, Server};

/// Sends GET by hand with these lines of the head.
fn asked(server: &Server, path: &str, lines: &[&str]) -> Answer {
    let head = lines.iter().map(|line| format!("{line}\r\n"));
    let head: String = head.collect();
    let request = format!("GET {path} HTTP/1.1\r\n{head}connection: close\r\n\r\n");
    server.raw(request.as_bytes()).unwrap()
}

#[test]
fn nothing_is_made_of_the_host_that_a_request_names() {
    let stage = Stage::usual();
    let base = format!("/studies/{STUDY}");
    let usual = format!("host: {}", stage.server.address);
    for path in [
        "/".to_owned(),
        "/api".to_owned(),
        "/host".to_owned(),
        "/none".to_owned(),
        "/.well-known/security.txt".to_owned(),
        base.clone(),
        format!("{base}/protocol"),
        format!("{base}/releases/1"),
        format!("{base}/card.svg"),
        format!("/api/v1/studies/{STUDY}/releases?limit=1"),
    ] {
        let expected = asked(&stage.server, &path, &[&usual]);
        for lines in [
            vec!["host: lure.example"],
            vec!["host: lure.example:80\"><script>zqx()</script>"],
            vec![usual.as_str(), "x-forwarded-host: lure.example"],
            vec![usual.as_str(), "forwarded: host=lure.example;proto=http"],
            vec![
                usual.as_str(),
                "x-forwarded-proto: http",
                "x-forwarded-port: 1",
            ],
            vec![
                usual.as_str(),
                "x-original-url: /host",
                "x-rewrite-url: /host",
            ],
            vec![usual.as_str(), "x-host: lure.example"],
        ] {
            let answer = asked(&stage.server, &path, &lines);
            if answer.status == 400 {
                continue;
            }
            assert_eq!(answer.status, expected.status, "{path} {lines:?}");
            assert!(!answer.text().contains("lure.example"), "{path} {lines:?}");
            for name in answer.header_names() {
                assert!(
                    !answer.header(name).contains("lure.example"),
                    "{path} {name}"
                );
            }
            assert_eq!(answer.header("etag"), expected.header("etag"), "{path}");
            assert_eq!(answer.header("location"), expected.header("location"));
        }
        // As a whole address, which names another host.
        let whole = format!("http://lure.example{path}");
        let answer = asked(&stage.server, &whole, &[&usual]);
        assert!(!answer.text().contains("lure.example"), "{path}");
    }
}

#[test]
fn no_way_leads_away_from_the_service() {
    let stage = Stage::usual();
    let desk = Desk::enter(&stage.server, &stage.credential);
    for target in [
        "//lure.example",
        "https://lure.example",
        "%2f%2flure.example",
        "/\\lure.example",
    ] {
        for name in [
            "next",
            "return",
            "return_to",
            "redirect",
            "url",
            "continue",
            "location",
        ] {
            let query = format!("{name}={target}");
            let fields = [("credential", stage.credential.as_str()), (name, target)];
            let form = post_with(
                &stage.server,
                &format!("/host/sign-in?{query}"),
                &[],
                &fields,
            );
            let signed_in = desk.get(&format!("/host/sign-in?{query}"));
            let stranger = stage.server.get(&format!("/host?{query}"));
            for answer in [form, signed_in, stranger] {
                let place = answer.header("location");
                assert!(["", "/host", "/host/sign-in"].contains(&place), "{place}");
            }
        }
        let path = format!("/host/studies/{target}/open");
        let answer = desk.get(&path);
        assert!(
            !answer.header("location").contains("lure.example"),
            "{path}"
        );
    }
}

#[test]
fn a_method_is_what_the_request_line_says() {
    let stage = Stage::usual();
    let path = format!("/api/v1/studies/{STUDY}/contributions");
    let receipt = format!("Receipt {}", stage.receipt);
    let own = [("authorization", receipt.as_str())];
    let before = stage
        .server
        .send("GET", &path, &own, b"")
        .expect(200)
        .json();
    let id = before["contributions"][0]["contribution"].as_str().unwrap();
    for name in [
        "x-http-method-override",
        "x-http-method",
        "x-method-override",
    ] {
        for method in ["DELETE", "PUT"] {
            let headers = [own[0], (name, method)];
            let one = format!("{path}/{id}");
            stage.server.send("POST", &one, &headers, b"").expect(405);
            stage.server.send("GET", &one, &headers, b"").expect(405);
            let asked = format!("{one}?_method={method}");
            stage.server.send("POST", &asked, &headers, b"").expect(405);
        }
    }
    let after = stage
        .server
        .send("GET", &path, &own, b"")
        .expect(200)
        .json();
    assert_eq!(before, after);
}
