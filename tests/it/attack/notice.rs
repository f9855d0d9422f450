//! Whom to tell of a hole: `security.txt`.

use crate::harness::{PUBLIC_URL, Server, folder, run, server};

const PATH: &str = "/.well-known/security.txt";

#[test]
fn nobody_is_named_unless_the_host_names_somebody() {
    let (_folder, server) = server();
    server.get(PATH).expect_problem(404, "not-found");
    server.send("POST", PATH, &[], b"").expect(405);
}

#[test]
fn whoever_finds_a_hole_is_told_whom_to_tell() {
    let folder = folder();
    let options = [
        "--public-url",
        PUBLIC_URL,
        "--security-contact",
        "mailto:security@pool.example",
        "--security-contact",
        "https://pool.example/security",
        "--security-policy",
        "https://pool.example/policy",
        "--security-languages",
        "en,de-AT",
        "--security-expires",
        "2999-12-31",
    ];
    let server = Server::serve(folder.path(), &options);
    let answer = server.get(PATH).expect(200);
    assert_eq!(answer.content_type(), "text/plain; charset=utf-8");
    assert_eq!(
        answer.text(),
        format!(
            "Contact: mailto:security@pool.example\nContact: https://pool.example/security\n\
             Expires: 2999-12-31T23:59:59Z\nPreferred-Languages: en, de-AT\n\
             Canonical: {PUBLIC_URL}{PATH}\nPolicy: https://pool.example/policy\n"
        )
    );
    // Nothing in it comes from whoever asks.
    let lured = [
        ("host", "elsewhere.example"),
        ("x-forwarded-host", "elsewhere.example"),
    ];
    let again = server.send("GET", PATH, &lured, b"").expect(200);
    assert_eq!(again.text(), answer.text());
}

#[test]
fn without_a_day_it_holds_for_half_a_year_from_whenever_it_is_read() {
    let folder = folder();
    let contact = ["--security-contact", "tel:+1-201-555-0123"];
    let server = Server::serve(folder.path(), &contact);
    let text = server.get(PATH).expect(200).text();
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines.len(), 3, "{text}");
    let day = lines[1].strip_prefix("Expires: ").unwrap();
    let day = day.strip_suffix("T00:00:00Z").unwrap();
    let ends: jiff::civil::Date = day.parse().unwrap();
    let today = jiff::Timestamp::now()
        .to_zoned(jiff::tz::TimeZone::UTC)
        .date();
    let days = (ends - today).get_days();
    assert!((179..=180).contains(&days), "{day}");
}

#[test]
fn what_no_reader_could_use_is_refused_at_the_start() {
    let folder = folder();
    let data = folder.path().to_str().unwrap();
    let refused = |options: &[&str], words: &str| {
        let start = ["serve", "--data", data, "--listen", "127.0.0.1:0"];
        let output = run(&[&start, options].concat(), b"");
        assert_eq!(output.status.code(), Some(2), "{output:?}");
        let told = String::from_utf8(output.stderr).unwrap();
        assert!(told.contains(words), "{told}");
    };
    let contact = ["--security-contact", "mailto:a@pool.example"];
    for wrong in ["a@pool.example", "http://pool.example", "javascript:x()"] {
        refused(&["--security-contact", wrong], "mailto:");
    }
    let two_lines = "mailto:a@pool.example\nContact: mailto:b@pool.example";
    refused(&["--security-contact", two_lines], "visible ASCII");
    refused(&["--security-expires", "2999-12-31"], "--security-contact");
    refused(
        &[&contact[..], &["--security-expires", "soon"]].concat(),
        "YYYY-MM-DD",
    );
    refused(
        &[&contact[..], &["--security-expires", "2020-01-01"]].concat(),
        "over",
    );
    refused(
        &[&contact[..], &["--security-languages", "en\nPolicy: x"]].concat(),
        "tags",
    );
}
