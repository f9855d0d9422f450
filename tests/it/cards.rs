//! Cards over HTTP: the picture of a study for an audience.

#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

use crate::harness::{STUDY, Server, contribution, server, varied};
use tautpool::service::CardFile;

fn address(file: &str) -> String {
    format!("/studies/{STUDY}/{file}")
}

/// Enough players for a batch.
fn send_batch(server: &Server, from: u32) {
    for number in from..from + 5 {
        server.post(&contribution(varied(number))).expect(201);
    }
}

/// Width and height of a PNG, from its first chunk (ISO/IEC 15948).
fn sides(png: &[u8]) -> (u32, u32) {
    assert!(png.starts_with(b"\x89PNG\r\n\x1a\n"));
    let side = |place: usize| {
        let bytes = png.get(place..place + 4).unwrap();
        u32::from_be_bytes(bytes.try_into().unwrap())
    };
    (side(16), side(20))
}

#[test]
fn a_card_has_its_type_its_size_and_a_tag_and_other_sites_may_show_it() {
    let (_folder, server) = server();
    for (name, content_type) in [
        ("card.svg", "image/svg+xml"),
        ("card-1200x630.png", "image/png"),
        ("card-1920x1080.png", "image/png"),
    ] {
        let answer = server.get(&address(name)).expect(200);
        assert_eq!(answer.content_type(), content_type);
        let anywhere = answer.header("cross-origin-resource-policy");
        assert_eq!(anywhere, "cross-origin", "{name}");
        let tag = answer.header("etag").to_owned();
        assert!(tag.starts_with('"'), "{tag}");
        let again = server.send("GET", &address(name), &[("if-none-match", &tag)], b"");
        assert!(again.expect(304).body.is_empty());
        if let Some((_, size)) = name.split_once('-') {
            let (width, height) = sides(&answer.body);
            assert_eq!(size, format!("{width}x{height}.png"));
        }
    }
    assert_eq!(CardFile::ALL.len(), 3);
}

#[test]
fn a_card_of_another_name_or_study_is_not_found_and_the_answer_says_which_there_are() {
    let (_folder, server) = server();
    for name in ["card.png", "card-1200x631.png", "card-.png", "card.svg.gz"] {
        let problem = server.get(&address(name)).expect_problem(404, "not-found");
        let detail = problem["detail"].as_str().unwrap();
        assert!(detail.contains("card-1920x1080.png"), "{detail}");
    }
    let elsewhere = server.get("/studies/another/card.svg");
    elsewhere.expect_problem(404, "not-found");
    let posted = server.send("POST", &address("card.svg"), &[], b"");
    assert_eq!(posted.status, 405);
}

#[test]
fn a_card_follows_the_batches_and_says_no_more_than_the_page() {
    let (_folder, server) = server();
    let card = || server.get(&address("card.svg")).expect(200);
    let before = card();
    assert!(before.text().contains("There is nothing to show yet."));
    assert!(
        before
            .text()
            .contains("Invented data: nobody hit these balls.")
    );
    send_batch(&server, 0);
    let after = card();
    assert_ne!(before.header("etag"), after.header("etag"));
    let text = after.text();
    assert!(text.contains("Batch 1, 20") && text.contains("5 players, 5 pairs of sessions"));
    // Five players are too few for a range that may be read at any time, hence for a claim.
    assert!(text.contains("Too few players so far to tell which string bed is faster."));
    assert!(!text.contains("km/h"), "{text}");
    server.post(&contribution(varied(5))).expect(201);
    assert_eq!(
        card().header("etag"),
        after.header("etag"),
        "half a batch shows nothing"
    );
}

#[test]
fn the_page_leads_to_every_card_and_tells_previews_what_it_says() {
    let (_folder, server) = server();
    send_batch(&server, 0);
    let page = server.get(&format!("/studies/{STUDY}")).expect(200).text();
    for file in CardFile::ALL {
        let link = format!("href=\"{}\"", address(&file.name()));
        assert!(page.contains(&link), "{link}");
    }
    assert!(page.contains("<meta property=\"og:title\" content=\""));
    assert!(page.contains("content=\"Invented data: nobody hit these balls. Too few players"));
    // The service does not know its own address, and a preview needs a whole one.
    assert!(!page.contains("og:image"));
    assert!(page.contains("&#60;img src=&#34;https://example.org/studies/"));
}
