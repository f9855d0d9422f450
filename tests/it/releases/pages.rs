//! The pages of releases, and the host's page that publishes.

use super::{NEXT, players, release, service};
use crate::harness::host::{Desk, credential};
use crate::harness::{STUDY, Server, contribution, folder, varied};
use data_encoding::HEXLOWER;
use serde_json::Value;
use tautpool::pages::{self, ReleaseView};
use tautpool::release::ReleaseKind;
use tautpool::service::{Service, Wanted};
use tautpool::wire::release::Listed;

const URL: &str = "https://pool.example";

fn listed(service: &Service) -> Vec<Listed> {
    let releases = service.releases(STUDY).unwrap().into_iter();
    let listed = releases.map(|release| Listed {
        number: release.number,
        kind: release.kind,
        reason: release.reason,
        date: "2027-01-16".to_owned(),
        sha256: HEXLOWER.encode(&release.sha256),
        bytes: release.bytes,
        address: release.address,
    });
    listed.collect()
}

fn page(service: &Service, number: i64, releases: &[Listed]) -> String {
    let frozen = service.frozen(STUDY, number).unwrap().unwrap();
    pages::release(&ReleaseView {
        release: &frozen.release,
        findings: &frozen.said,
        units: frozen.unchosen_units(),
        releases,
        sha256: &HEXLOWER.encode(&frozen.sha256),
    })
    .unwrap()
}

#[test]
fn a_frozen_page_is_the_same_for_the_same_bytes_and_says_what_came_after() {
    let service = service();
    players(&service, 0, 12);
    release(&service, &NEXT).unwrap();
    let alone = listed(&service);
    let before = page(&service, 1, &alone);
    assert!(before.contains("<strong>Release 1</strong>, published"));
    assert!(!before.contains("Superseded") && !before.contains("Corrected"));
    assert!(before.contains("releases cannot be called back"));
    players(&service, 12, 8);
    let correction = Wanted {
        correction: Some("A <slip> & more"),
        ..NEXT
    };
    release(&service, &NEXT).unwrap();
    release(&service, &correction).unwrap();
    // Whatever came since, the same bytes and the same list give the same page.
    assert!(page(&service, 1, &alone) == before);
    let all = listed(&service);
    assert_eq!(all[2].kind, ReleaseKind::Correction);
    let first = page(&service, 1, &all);
    assert!(first.contains("Superseded by <a href=\"/studies/demo-of-the-corpus/releases/2\">"));
    assert!(first.contains("The newest is <a href=\"/studies/demo-of-the-corpus/releases/3\">"));
    let second = page(&service, 2, &all);
    assert!(second.contains("Corrected by <a href=\"/studies/demo-of-the-corpus/releases/3\">"));
    assert!(second.contains("A &#60;slip&#62; &#38; more"), "{second}");
    assert!(second.contains("What changed since release 1"));
    let third = page(&service, 3, &all);
    assert!(third.contains("It corrects <a href=\"/studies/demo-of-the-corpus/releases/2\">"));
    // The figures are those of the release, not of today.
    assert!(first.contains("10 players who chose") && second.contains("20 players who chose"));
}

#[test]
fn a_frozen_page_carries_its_entry_for_searches() {
    let service = service();
    players(&service, 0, 10);
    release(&service, &NEXT).unwrap();
    let page = page(&service, 1, &listed(&service));
    let (_, rest) = page
        .split_once("<script type=\"application/ld+json\">")
        .unwrap();
    let (entry, rest) = rest.split_once("</script>").unwrap();
    let entry: Value = serde_json::from_str(entry).unwrap();
    assert_eq!(entry["@type"], "Dataset");
    assert!(rest.contains("</head>"), "it stands in the head");
    let hash = entry["distribution"][0]["sha256"].as_str().unwrap();
    assert!(rest.contains(&format!("<code class=\"hash\">{hash}</code>")));
}

/// A server with ten players' sessions and a signed-in host.
fn with_desk(test: impl Fn(&Server, &Desk<'_>)) {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &["--public-url", URL]);
    for number in 0..10 {
        server.post(&contribution(varied(number))).expect(201);
    }
    test(&server, &Desk::enter(&server, &credential));
}

fn desk_address() -> String {
    format!("/host/studies/{STUDY}/release")
}

#[test]
fn the_host_sees_what_would_be_released_and_publishes_it_once() {
    with_desk(|server, desk| {
        let address = desk_address();
        let asked = desk.get(&address).expect(200).text();
        assert!(asked.contains("Publish release 1"), "{asked}");
        assert!(asked.contains("https://pool.example/studies/demo-of-the-corpus/releases/1"));
        assert!(
            !asked.contains("name=\"reason\""),
            "there is none to correct"
        );
        let fields = [
            ("number", "1"),
            ("kind", "update"),
            ("note", "The first one."),
        ];
        let unsure = desk.post(&address, &fields).expect(422).text();
        assert!(unsure.contains("Nothing was published") && unsure.contains("The first one."));
        let sure = [&fields[..], &[("sure", "yes")]].concat();
        let done = desk.post(&address, &sure).expect(200).text();
        assert!(done.contains("Release 1 is published"), "{done}");
        let listed = server
            .get(&format!("/api/v1/studies/{STUDY}/releases"))
            .json();
        let sha256 = listed["releases"][0]["sha256"].as_str().unwrap();
        assert!(done.contains(sha256));
        // The same form again, after a lost answer, makes no second one, and another form none either.
        let again = desk.post(&address, &sure).expect(200).text();
        assert_eq!(again, done);
        let other = [
            ("number", "1"),
            ("kind", "update"),
            ("note", "Another one."),
            ("sure", "yes"),
        ];
        let again = desk.post(&address, &other).expect(422).text();
        assert!(
            again.contains("Release 1 was published in the meantime"),
            "{again}"
        );
        let asked = desk.get(&address).expect(200).text();
        assert!(asked.contains("this can only be a correction"), "{asked}");
        let reasonless = [("number", "2"), ("kind", "correction"), ("sure", "yes")];
        let refused = desk.post(&address, &reasonless).expect(422).text();
        assert!(refused.contains("Say what was wrong"), "{refused}");
        let reason = [&reasonless[..], &[("reason", "A slip")]].concat();
        desk.post(&address, &reason).expect(200);
        let page = server
            .get(&format!("/studies/{STUDY}/releases/1"))
            .expect(200);
        assert!(page.text().contains("Corrected by"));
        let list = server
            .get(&format!("/studies/{STUDY}/releases"))
            .expect(200)
            .text();
        let places = [
            "Release 2</a>",
            "Release 1</a>",
            "Corrected by release 2:",
            "Cite the newest",
        ];
        let places = places.map(|words| list.find(words).unwrap());
        assert!(places.is_sorted(), "{list}");
    });
}

#[test]
fn nobody_else_releases_anything() {
    with_desk(|server, desk| {
        let address = desk_address();
        let stranger = server.get(&address).expect(303);
        assert_eq!(stranger.header("location"), "/host/sign-in");
        let fields = [("number", "1"), ("sure", "yes"), ("form_token", "guessed")];
        desk.post_bare(&address, &[], &fields).expect(403);
        let cross = [("sec-fetch-site", "cross-site")];
        let token = desk.form_token();
        let fields = [
            ("number", "1"),
            ("sure", "yes"),
            ("form_token", token.as_str()),
        ];
        desk.post_bare(&address, &cross, &fields).expect(403);
        let list = server
            .get(&format!("/api/v1/studies/{STUDY}/releases"))
            .json();
        assert_eq!(list["releases"].as_array().unwrap().len(), 0);
        let none = server
            .get(&format!("/studies/{STUDY}/releases"))
            .expect(200)
            .text();
        assert!(none.contains("Nothing has been released yet"));
        desk.get("/host/studies/none/release").expect(404);
    });
}
