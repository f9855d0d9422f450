//! Public figures when a batch closes, when many close at once, and when they cannot be made.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test stops at what it did not expect"
)]

use crate::harness::{self, Answer, Pair, STUDY, STUDY_FILE, Server};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::thread;
use tautpool::pages::Hidden;
use tautpool::service::{Incoming, Service};
use tautpool::store::{Durability, Store};

/// A second study in the same folder.
const OTHER: &str = "demo-of-another";

fn add_other_study(data: &Path) {
    let mut study: Value = serde_json::from_slice(&fs::read(STUDY_FILE).unwrap()).unwrap();
    study["study"] = json!(OTHER);
    let file = data.join("other.json");
    fs::write(&file, study.to_string()).unwrap();
    let added = harness::add_study(file.to_str().unwrap(), data);
    assert!(added.status.success(), "{added:?}");
}

fn send_a_batch(server: &Server, players: std::ops::Range<u32>) {
    for number in players {
        let answer = server.post(&harness::contribution(harness::varied(number)));
        assert_eq!(answer.status, 201, "{}", answer.text());
    }
}

fn damage(data: &Path, sql: &str) {
    let connection = rusqlite::Connection::open(data.join(Store::FILE)).unwrap();
    assert_eq!(connection.execute(sql, []).unwrap(), 1);
}

fn get(server: &Server, study: &str) -> Answer {
    server.get(&format!("/studies/{study}"))
}

fn batch_shown(server: &Server) -> Option<u64> {
    let pooled = server
        .get(&format!("/api/v1/studies/{STUDY}/pooled"))
        .json();
    pooled["batch"]["number"].as_u64()
}

#[test]
fn a_study_whose_figures_cannot_be_made_is_served_without_them_and_takes_sessions() {
    let folder = harness::folder();
    add_other_study(folder.path());
    let server = Server::serve(folder.path(), &[]);
    send_a_batch(&server, 0..5);
    drop(server);
    damage(
        folder.path(),
        "UPDATE version SET document = x'00' WHERE contribution_id = 1",
    );

    let server = Server::serve(folder.path(), &[]);
    let page = get(&server, STUDY);
    assert_eq!(page.status, 200);
    let told = "The figures cannot be shown at the moment, because of a fault of this service.";
    assert!(page.text().contains(told), "{}", page.text());
    assert!(batch_shown(&server).is_none());
    assert_eq!(get(&server, OTHER).status, 200);
    send_a_batch(&server, 5..6);
    assert!(server.log().contains("public figures could not be made"));
}

#[test]
fn the_first_page_after_a_start_says_where_the_service_is_reached() {
    let folder = harness::folder();
    send_a_batch(&Server::serve(folder.path(), &[]), 0..5);
    let reached = ["--public-url", "https://pool.example"];
    let server = Server::serve(folder.path(), &reached);
    assert_eq!(batch_shown(&server), Some(1));
    let page = get(&server, STUDY);
    let said = format!("content=\"https://pool.example/studies/{STUDY}\"");
    assert!(page.text().contains(&said), "{}", page.text());
}

#[test]
fn a_study_that_cannot_be_shown_at_all_is_not_denied_and_keeps_no_other_away() {
    let folder = harness::folder();
    add_other_study(folder.path());
    damage(
        folder.path(),
        "UPDATE protocol SET document = x'00' WHERE study_id = 1",
    );

    let server = Server::serve(folder.path(), &[]);
    assert_eq!(get(&server, OTHER).status, 200);
    let page = get(&server, STUDY);
    assert_eq!((page.status, page.header("retry-after")), (503, "30"));
    let refused = server.post(&harness::contribution(Pair::default()));
    assert_eq!(refused.status, 503);
    assert_eq!(refused.json()["type"], "/problems#unavailable");
}

#[test]
fn figures_of_batches_that_close_together_are_shown_in_the_end() {
    let (_folder, server) = harness::server();
    thread::scope(|scope| {
        for sender in 0..5 {
            let server = &server;
            scope.spawn(move || send_a_batch(server, sender * 4..(sender + 1) * 4));
        }
    });
    harness::wait_until("the last batch is shown", || {
        batch_shown(&server) == Some(4)
    });
}

#[test]
fn a_large_study_answers_at_once_after_a_start_and_has_its_figures_later() {
    let folder = harness::folder();
    let service = Service::open(folder.path(), Durability::None).unwrap();
    for number in 0..501 {
        let document = harness::contribution(harness::varied(number)).to_string();
        service
            .receive(&Incoming {
                study: STUDY,
                document: document.as_bytes(),
                request_key: None,
                receipt: None,
                now_ms: 1_790_000_000_000,
            })
            .unwrap();
    }
    drop(service);
    let service = Arc::new(Service::open_to_serve(folder.path(), Durability::None).unwrap());
    let shown = service.study(STUDY).unwrap();
    assert_eq!(shown.hidden, Some(Hidden::BeingMade));
    assert!(shown.is_recruiting() && shown.publication.batch.is_none());
    assert!(service.not_published().is_empty());
    let publisher = Arc::clone(&service);
    thread::spawn(move || publisher.keep_publishing());
    harness::wait_until("the figures are made", || {
        let shown = service.study(STUDY).unwrap();
        shown.hidden.is_none() && shown.publication.batch.is_some()
    });
}
