//! Where nothing is: a page that leads on for a reader, a problem document for a program.

use super::*;

const BROWSER: (&str, &str) = (
    "accept",
    "text/html,application/xhtml+xml,application/xml;q=0.9,image/webp,*/*;q=0.8",
);

#[test]
fn a_reader_gets_a_page_that_leads_on_and_a_program_the_problem_document() {
    let (_folder, server) = server();
    let study = format!("/studies/{STUDY}");
    for (path, leads_to_study) in [
        ("/nope".to_owned(), false),
        ("/studies/nope".to_owned(), false),
        ("/studies/nope/send".to_owned(), false),
        ("/host/nope".to_owned(), false),
        (format!("{study}/nope"), true),
        (format!("{study}/releases/9"), true),
    ] {
        let page = server.send("GET", &path, &[BROWSER], b"").expect(404);
        assert_eq!(page.content_type(), "text/html; charset=utf-8", "{path}");
        assert_eq!(page.header("vary"), "Accept", "{path}");
        assert_eq!(page.header("cache-control"), "no-store", "{path}");
        assert!(
            page.header("content-security-policy")
                .contains("style-src 'self'")
        );
        let html = page.text();
        assert!(html.contains("<h1>Nothing is here</h1>"), "{path}: {html}");
        assert!(
            html.contains("<li><a href=\"/\">All studies</a></li>"),
            "{path}"
        );
        let link = format!("<li><a href=\"{study}\">");
        assert_eq!(html.contains(&link), leads_to_study, "{path}");
        assert_eq!(
            html.contains("<a href=\"/host\">"),
            path.starts_with("/host"),
            "{path}"
        );
        for accepted in [
            "*/*",
            "application/json",
            "text/html;q=0.5, application/json",
        ] {
            let told = server.send("GET", &path, &[("accept", accepted)], b"");
            assert_eq!(told.header("vary"), "Accept", "{path} {accepted}");
            told.expect_problem(404, "not-found");
        }
    }
}

#[test]
fn what_is_no_page_to_open_says_so_to_a_reader() {
    let (_folder, server) = server();
    let path = format!("/studies/{STUDY}/send/check");
    let page = server.send("GET", &path, &[BROWSER], b"").expect(405);
    assert_eq!(page.content_type(), "text/html; charset=utf-8");
    assert_eq!(page.header("allow"), "POST");
    assert!(page.text().contains(&format!("href=\"/studies/{STUDY}\"")));
    server.get(&path).expect_problem(405, "method-not-allowed");
}

#[test]
fn nothing_of_an_address_stands_on_its_page() {
    let (_folder, server) = server();
    for path in [
        "/%3Cscript%3Ealert(1)%3C/script%3E",
        "/studies/%3Cscript%3E",
        "/studies/%22%3E%3Cscript%3E/nope",
    ] {
        let page = server.send("GET", path, &[BROWSER], b"");
        assert!(!page.text().contains("script"), "{path}");
    }
}
