//! A service of its own for every play: one study, perhaps with players already in it.

use crate::harness::{self, Pair, STUDY, STUDY_FILE, Server};
use serde_json::{Value, json};
use std::fs;
use tempfile::TempDir;

/// Enough players for public figures: three batches.
const PLAYERS: u32 = 15;

/// A data folder with the server on it, which may be stopped and started again.
pub(crate) struct Stage {
    server: Option<Server>,
    pub(crate) address: String,
    data: TempDir,
    n_players: usize,
}

impl Stage {
    /// A study of which nothing is known yet. Its players have to be of age.
    pub(crate) fn new() -> Self {
        let data = tempfile::tempdir().unwrap();
        let mut study: Value =
            serde_json::from_str(&fs::read_to_string(STUDY_FILE).unwrap()).unwrap();
        study["protocol"]["adults_only"] = json!(true);
        let file = data.path().join("study.json");
        fs::write(&file, study.to_string()).unwrap();
        let added = harness::add_study(file.to_str().unwrap(), data.path());
        assert!(added.status.success(), "{added:?}");
        let server = Server::serve(data.path(), &[]);
        Self {
            address: server.address.clone(),
            server: Some(server),
            data,
            n_players: 0,
        }
    }

    /// One with public figures.
    pub(crate) fn with_figures() -> Self {
        let mut stage = Self::new();
        for number in 0..PLAYERS {
            let pair = Pair {
                speeds: (104.25 + f64::from(number % 7), 100.5),
                ..harness::varied(number)
            };
            let mut document = harness::contribution(pair.of_player(number));
            document["consent"]["adult"] = json!(true);
            stage.server().post(&document).expect(201);
            stage.n_players += 1;
        }
        stage
    }

    /// How many players there were before the play.
    pub(crate) const fn players(&self) -> usize {
        self.n_players
    }

    fn server(&self) -> &Server {
        self.server.as_ref().unwrap()
    }

    /// Takes the service away.
    pub(crate) fn stop(&mut self) {
        self.server = None;
    }

    /// Brings it back at its old address.
    pub(crate) fn start_again(&mut self) {
        self.server = Some(Server::serve_again(self.data.path(), &self.address));
    }

    /// Every document that was stored, as it is now and in the order they came. The server ends
    /// with it.
    pub(crate) fn stored(mut self) -> Vec<Value> {
        self.stop();
        let stored = harness::exported(self.data.path());
        let document = |stored: &Value| stored["document"].as_str().unwrap().to_owned();
        stored
            .iter()
            .map(|stored| serde_json::from_str(&document(stored)).unwrap())
            .collect()
    }

    /// Where a page of the study is.
    pub(crate) fn path(page: &str) -> String {
        format!("/studies/{STUDY}/{page}")
    }
}
