//! A service with something at every address: figures, a release, and a contribution that waits for
//! the host.

use super::crawl::{Found, crawl};
use crate::harness::host::{Desk, credential};
use crate::harness::{self, PUBLIC_URL, STUDY, STUDY_FILE, Server, contribution, varied};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// Enough players for figures that may be shown.
const PLAYERS: u32 = 6;

/// A running service with its folder and the host's credential.
pub(crate) struct Stage {
    folder: TempDir,
    pub(crate) server: Server,
    pub(crate) credential: String,
    /// The receipt of the first player.
    pub(super) receipt: String,
}

impl Stage {
    /// The study of the harness, with its usual players.
    pub(super) fn usual() -> Self {
        Self::of(&usual_study(), with_texts, &["--note", "A note"])
    }

    /// A study with players whose documents are changed first.
    pub(super) fn of(study: &Value, changed: impl Fn(Value) -> Value, release: &[&str]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a-study.json");
        fs::write(&file, study.to_string()).unwrap();
        let added = harness::add_study(file.to_str().unwrap(), folder.path());
        assert!(added.status.success(), "{added:?}");
        let credential = credential(folder.path());
        let server = Server::serve(folder.path(), &[]);
        let mut receipts = Vec::new();
        for number in 0..PLAYERS {
            let document = changed(contribution(varied(number)));
            let answer = server.post(&document).expect(201);
            receipts.push(answer.json()["receipt"].as_str().unwrap().to_owned());
        }
        // Somebody else's figures once more, which screening holds.
        let copied = server.post(&changed(contribution(varied(0)))).expect(201);
        assert_eq!(copied.json()["state"], "held");
        drop(server);
        let released = harness::make_release(folder.path(), release);
        assert!(released.status.success(), "{released:?}");
        Self {
            server: started(folder.path()),
            folder,
            credential,
            receipt: receipts.swap_remove(0),
        }
    }

    /// Every address that is linked to, as a visitor gets it.
    pub(crate) fn seen_by_anybody(&self) -> Vec<Found> {
        crawl(&self.server, "", &starts())
    }

    /// Every address that is linked to on the desk.
    pub(crate) fn seen_by_the_host(&self) -> Vec<Found> {
        let desk = Desk::enter(&self.server, &self.credential);
        let found = crawl(&self.server, &desk.cookie, &["/host".to_owned()]);
        let on_the_desk = found.into_iter();
        on_the_desk
            .filter(|found| found.path.starts_with("/host"))
            .collect()
    }

    /// A copy of the data folder, which commands may use while the server runs.
    pub(super) fn copied(&self) -> TempDir {
        let copy = tempfile::tempdir().unwrap();
        for entry in fs::read_dir(self.folder.path()).unwrap() {
            let path = entry.unwrap().path();
            fs::copy(&path, copy.path().join(path.file_name().unwrap())).unwrap();
        }
        copy
    }

    /// The page of the contribution that waits for the host.
    pub(super) fn case(&self) -> String {
        let list = format!("/host/studies/{STUDY}/review/");
        let mut seen = self.seen_by_the_host().into_iter();
        seen.find(|found| found.path.starts_with(&list))
            .unwrap()
            .path
    }

    /// The player's own page, with what was sent.
    pub(super) fn own_page(&self) -> harness::Answer {
        let path = format!("/studies/{STUDY}/receipt");
        let fields = [("receipt", self.receipt.as_str())];
        harness::host::post(&self.server, &path, &fields)
    }
}

/// A contribution with something at every place that may have a text.
fn with_texts(mut document: Value) -> Value {
    document["setup"] = json!({"frame": {"label": "Frame A"}});
    document["note"] = json!("A note");
    document
}

fn started(folder: &Path) -> Server {
    let options = ["--public-url", PUBLIC_URL, "--log", "tautpool=trace"];
    Server::serve(folder, &options)
}

/// The study of the harness.
pub(super) fn usual_study() -> Value {
    serde_json::from_str(&fs::read_to_string(STUDY_FILE).unwrap()).unwrap()
}

/// Where looking around begins: the list of studies, and what no page links to.
fn starts() -> Vec<String> {
    let api = format!("/api/v1/studies/{STUDY}");
    let mut starts: Vec<String> = ["/", "/worker.js", "/health", "/api/v1/studies"]
        .map(str::to_owned)
        .to_vec();
    for rest in ["pooled", "aggregate", "protocol", "releases", "query"] {
        starts.push(format!("{api}/{rest}"));
    }
    for rest in [
        "releases/1/query",
        "releases/1/sha256",
        "releases/1/aggregate",
    ] {
        starts.push(format!("{api}/{rest}"));
    }
    for table in ["rows", "pooled", "everybody"] {
        for ending in ["csv", "ndjson"] {
            starts.push(format!("{api}/releases/1/aggregate/{table}.{ending}"));
        }
    }
    starts
}
