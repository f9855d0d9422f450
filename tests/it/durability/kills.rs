//! Kills at random moments, while players send, add, mend and withdraw and the host decides and
//! releases.
//!
//! Everybody writes down what was acknowledged. Who got no answer asks again when the service is back,
//! and then the database has what stands in the ledgers, all of it once and nothing else.

use super::{edited, is_sound, note_of};
use crate::harness::host::{Desk, credential};
use crate::harness::{self, Answer, PUBLIC_URL, Pair, STUDY, Server, Spread};
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;
use std::sync::Mutex;
use std::thread;
use std::time::Duration;
use tautpool::receipt::{Receipt, sha256_of};
use tautpool::store::{Durability, OwnContribution, Store};
use tautpool::vocabulary::State;

/// Kills of one folder: public figures are made anew at every start, and take longer and longer.
const KILLS_OF_A_FOLDER: usize = 10;

/// Most pairs of one player and versions of one pair that are asked for here.
const MOST: usize = 20;

/// What was acknowledged of one contribution.
struct Kept {
    contribution: String,
    receipt: String,
    /// The note of every version, the first one first.
    notes: Vec<String>,
    /// What the sender was told of the newest.
    effects: Value,
    withdrawn: bool,
    held: bool,
}

/// What a player asks for.
#[derive(Clone, Debug)]
enum Wish {
    New { held: bool },
    Further { of: usize },
    Mend { which: usize },
    Withdraw { which: usize },
}

/// A wish with the document that goes with it, and its note, which is its key too.
#[derive(Clone, Debug)]
struct Asked {
    wish: Wish,
    note: String,
    document: String,
}

struct Player {
    name: String,
    number: usize,
    spread: Spread,
    ledger: Vec<Kept>,
    unanswered: Option<Asked>,
}

impl Player {
    /// Asks for one thing after the other until the service is gone.
    fn play(&mut self, server: &Server, waiting: &Mutex<Vec<String>>) {
        loop {
            let asked = match self.unanswered.take() {
                Some(asked) => asked,
                None => self.think_of_something(),
            };
            let Some(answer) = self.ask(server, &asked) else {
                self.unanswered = Some(asked);
                return;
            };
            self.write_down(&asked, answer, waiting);
        }
    }

    fn think_of_something(&mut self) -> Asked {
        self.number += 1;
        let note = format!("{}-{}", self.name, self.number);
        let n_kept = self.ledger.len().max(1);
        let which = self.spread.below(n_kept);
        let known = self.ledger.get(which);
        let may_mend =
            known.is_some_and(|kept| !kept.withdrawn && !kept.held && kept.notes.len() < MOST);
        let wish = match self.spread.below(10) {
            0..=1 if known.is_some_and(|kept| self.n_pairs_of(&kept.receipt) < MOST) => {
                Wish::Further { of: which }
            }
            2..=4 if may_mend => Wish::Mend { which },
            5 if may_mend => Wish::Withdraw { which },
            6 => Wish::New { held: true },
            _ => Wish::New { held: false },
        };
        let is_held = matches!(wish, Wish::New { held: true });
        Asked {
            document: self.document(&note, is_held),
            wish,
            note,
        }
    }

    fn n_pairs_of(&self, receipt: &str) -> usize {
        let pairs = self.ledger.iter();
        pairs.filter(|kept| kept.receipt == receipt).count()
    }

    /// Sessions of their own, or two that are one.
    fn document(&mut self, note: &str, held: bool) -> String {
        let mut below = |n: usize| u32::try_from(self.spread.below(n)).unwrap();
        let mut tenths = |from: f64, n: usize| f64::from(below(n)) / 10.0 + from;
        let pair = Pair {
            speeds: (tenths(100.0, 150), tenths(98.0, 150)),
            sd: Some(tenths(8.0, 60)),
            deep: (30 + i64::from(below(20)), 30),
            ..Pair::default()
        };
        let document = edited(pair, note);
        if !held {
            return document;
        }
        let mut document: Value = serde_json::from_str(&document).unwrap();
        document["sessions"][1]["shots"] = document["sessions"][0]["shots"].clone();
        document.to_string()
    }

    fn ask(&self, server: &Server, asked: &Asked) -> Option<Answer> {
        const JSON: (&str, &str) = ("content-type", "application/json");
        let body = asked.document.as_bytes();
        let key = ("idempotency-key", asked.note.as_str());
        let contributions = format!("/api/v1/studies/{STUDY}/contributions");
        let of = |which: usize| {
            let kept = &self.ledger[which];
            let holder = format!("Receipt {}", kept.receipt);
            (format!("{contributions}/{}", kept.contribution), holder)
        };
        match asked.wish {
            Wish::New { .. } => server.try_to_send("POST", &contributions, &[JSON, key], body),
            Wish::Further { of: which } => {
                let headers = [JSON, key, ("authorization", &of(which).1)];
                server.try_to_send("POST", &contributions, &headers, body)
            }
            Wish::Mend { which } => {
                let (address, holder) = of(which);
                let address = format!("{address}?reason=typing_mistake");
                let headers = [JSON, ("authorization", &holder)];
                server.try_to_send("PUT", &address, &headers, body)
            }
            Wish::Withdraw { which } => {
                let (address, holder) = of(which);
                server.try_to_send("DELETE", &address, &[("authorization", &holder)], b"")
            }
        }
    }

    fn write_down(&mut self, asked: &Asked, answer: Answer, waiting: &Mutex<Vec<String>>) {
        match asked.wish {
            Wish::New { held } => {
                let kept = kept(&answer.expect(201).json(), &asked.note, held);
                if held {
                    waiting.lock().unwrap().push(kept.contribution.clone());
                }
                self.ledger.push(kept);
            }
            Wish::Further { .. } => {
                let kept = kept(&answer.expect(201).json(), &asked.note, false);
                self.ledger.push(kept);
            }
            Wish::Mend { which } => {
                let effects = answer.expect(200).json()["effects"].take();
                self.ledger[which].effects = effects;
                self.ledger[which].notes.push(asked.note.clone());
            }
            Wish::Withdraw { which } => {
                answer.expect(200);
                self.ledger[which].withdrawn = true;
            }
        }
    }
}

fn kept(reply: &Value, note: &str, held: bool) -> Kept {
    let text = |name: &str| reply[name].as_str().unwrap().to_owned();
    assert!(!held || reply["state"] == "held", "{reply}");
    Kept {
        contribution: text("contribution"),
        receipt: text("receipt"),
        notes: vec![note.to_owned()],
        effects: reply["effects"].clone(),
        withdrawn: false,
        held,
    }
}

/// What the host asks for.
#[derive(Clone, Debug)]
enum Work {
    Decide { contribution: String, note: String },
    Release { number: usize, words: String },
}

struct Host {
    cookie: String,
    form_token: String,
    decided: Vec<(String, String)>,
    released: Vec<String>,
    unanswered: Option<Work>,
}

impl Host {
    /// Decides on whatever waits, and releases in between, until the service is gone.
    fn work(&mut self, server: &Server, waiting: &Mutex<Vec<String>>) {
        loop {
            let work = match self.unanswered.take() {
                Some(work) => work,
                None => self.find_work(waiting),
            };
            let Some(answer) = self.ask(server, &work) else {
                self.unanswered = Some(work);
                return;
            };
            match work {
                Work::Decide { contribution, note } => {
                    answer.expect(303);
                    self.decided.push((contribution, note));
                }
                // As long as nothing is public there is nothing to release.
                Work::Release { .. } if answer.status == 422 => {}
                Work::Release { words, .. } => {
                    answer.expect(200);
                    self.released.push(words);
                }
            }
        }
    }

    fn find_work(&self, waiting: &Mutex<Vec<String>>) -> Work {
        match waiting.lock().unwrap().pop() {
            Some(contribution) => Work::Decide {
                note: format!("Decided under kills: {contribution}"),
                contribution,
            },
            None => Work::Release {
                number: self.released.len() + 1,
                words: format!("Mended under kills {}", self.released.len() + 1),
            },
        }
    }

    fn ask(&self, server: &Server, work: &Work) -> Option<Answer> {
        let (address, fields) = match work {
            Work::Decide { contribution, note } => (
                format!("/host/studies/{STUDY}/review/{contribution}"),
                format!(
                    "version=1&decision=accepted-explained&note={}",
                    note.replace(' ', "+")
                ),
            ),
            Work::Release { number, words } => {
                let words = words.replace(' ', "+");
                let kind = match number {
                    1 => format!("update&note={words}"),
                    _ => format!("correction&reason={words}"),
                };
                (
                    format!("/host/studies/{STUDY}/release"),
                    format!("number={number}&sure=yes&kind={kind}"),
                )
            }
        };
        let headers = [
            ("content-type", "application/x-www-form-urlencoded"),
            ("cookie", &self.cookie),
        ];
        let body = format!("form_token={}&{fields}", self.form_token);
        server.try_to_send("POST", &address, &headers, body.as_bytes())
    }
}

/// One folder, killed again and again.
fn kill_again_and_again(seed: u64, n_kills: usize) -> usize {
    let folder = harness::folder();
    let data = folder.path();
    let credential = credential(data);
    let mut spread = Spread(seed);
    let mut host = {
        let server = Server::serve(data, &[]);
        let desk = Desk::enter(&server, &credential);
        Host {
            cookie: desk.cookie.clone(),
            form_token: desk.form_token(),
            decided: Vec::new(),
            released: Vec::new(),
            unanswered: None,
        }
    };
    let mut players: Vec<Player> = (0..3_u64)
        .map(|number| Player {
            name: format!("player-{seed}-{number}"),
            number: 0,
            spread: Spread(seed ^ number << 32),
            ledger: Vec::new(),
            unanswered: None,
        })
        .collect();
    let waiting = Mutex::new(Vec::new());
    for kill in 0..=n_kills {
        let server = Server::serve(data, &["--public-url", PUBLIC_URL]);
        // The last time everybody who got no answer gets one, and nothing is cut short.
        if kill == n_kills {
            finish(&server, &mut players, &mut host, &waiting);
            break;
        }
        let moment = Duration::from_millis(100 + spread.below(600) as u64);
        thread::scope(|scope| {
            for player in &mut players {
                scope.spawn(|| player.play(&server, &waiting));
            }
            scope.spawn(|| host.work(&server, &waiting));
            thread::sleep(moment);
            let process = server.process().to_string();
            let killed = Command::new("kill").args(["-KILL", &process]).status();
            assert!(killed.unwrap().success());
        });
    }
    compare(data, &players, &host)
}

fn finish(server: &Server, players: &mut [Player], host: &mut Host, waiting: &Mutex<Vec<String>>) {
    for player in players {
        if let Some(asked) = player.unanswered.take() {
            let answer = player.ask(server, &asked).unwrap();
            player.write_down(&asked, answer, waiting);
        }
    }
    match host.unanswered.take() {
        Some(Work::Decide { contribution, note }) => {
            let work = Work::Decide {
                contribution: contribution.clone(),
                note: note.clone(),
            };
            host.ask(server, &work).unwrap().expect(303);
            host.decided.push((contribution, note));
        }
        Some(work @ Work::Release { .. }) => {
            let answer = host.ask(server, &work).unwrap();
            if let (200, Work::Release { words, .. }) = (answer.status, work) {
                host.released.push(words);
            }
        }
        None => {}
    }
}

/// The ledgers against the database. Gives how much was acknowledged.
fn compare(data: &Path, players: &[Player], host: &Host) -> usize {
    assert!(is_sound(data));
    let store = Store::open(data, Durability::None).unwrap();
    let ledger: Vec<&Kept> = players.iter().flat_map(|player| &player.ledger).collect();
    let n_stored = usize::try_from(store.count_contributions().unwrap()).unwrap();
    assert_eq!(
        n_stored,
        ledger.len(),
        "contributions that nobody sent, or lost ones"
    );
    let exported = harness::exported(data);
    let exported = exported
        .iter()
        .map(|kept| (kept["contribution"].as_str().unwrap(), kept));
    let exported: BTreeMap<&str, &Value> = exported.collect();
    for kept in &ledger {
        let receipt = Receipt::parse(&kept.receipt).unwrap();
        let own = store.own(STUDY, &receipt.hash()).unwrap().unwrap();
        let mut own = own.iter();
        let stored = own.find(|own| own.uuid.to_string() == kept.contribution);
        assert_as_acknowledged(kept, stored.expect("it was acknowledged"));
        if !kept.withdrawn {
            let exported = exported[kept.contribution.as_str()];
            assert_eq!(exported["effects"], kept.effects, "{:?}", kept.notes);
        }
    }
    let cases = store.decided(STUDY).unwrap();
    let decisions = cases.iter().flat_map(|case| &case.decisions);
    let mut decided: Vec<(String, String)> = decisions
        .map(|decision| (decision.contribution.to_string(), decision.note.clone()))
        .collect();
    let mut told = host.decided.clone();
    decided.sort();
    told.sort();
    assert_eq!(decided, told);
    let releases = store.releases(STUDY).unwrap();
    assert_eq!(releases.len(), host.released.len());
    for (release, words) in releases.iter().zip(&host.released) {
        let document = store
            .release_document(STUDY, release.number)
            .unwrap()
            .unwrap();
        assert_eq!(sha256_of(&document), release.sha256);
        assert_eq!(
            release.reason.as_ref(),
            (release.number != 1).then_some(words)
        );
    }
    let n_versions: usize = ledger.iter().map(|kept| kept.notes.len()).sum();
    let n_withdrawn = ledger.iter().filter(|kept| kept.withdrawn).count();
    n_versions + n_withdrawn + told.len() + releases.len()
}

fn assert_as_acknowledged(kept: &Kept, stored: &OwnContribution) {
    assert_eq!(
        stored.state == State::Withdrawn,
        kept.withdrawn,
        "{:?}",
        kept.notes
    );
    assert_eq!(stored.versions.len(), kept.notes.len(), "{:?}", kept.notes);
    for (version, note) in stored.versions.iter().zip(&kept.notes) {
        match &version.document {
            Some(document) => assert_eq!(note_of(document), *note),
            None => assert!(kept.withdrawn, "{note} was erased"),
        }
    }
}

#[test]
fn kills_under_load_lose_and_double_nothing_that_was_acknowledged() {
    let n_kills = harness::runs(8, 200);
    let seed = tautpool::clock::now_ms().unsigned_abs();
    println!("seed {seed}");
    let mut acknowledged = 0;
    for first in (0..n_kills).step_by(KILLS_OF_A_FOLDER) {
        let n_here = KILLS_OF_A_FOLDER.min(n_kills - first);
        acknowledged += kill_again_and_again(seed + first as u64, n_here);
    }
    println!("{n_kills} kills, {acknowledged} acknowledgements");
    assert!(
        5 * n_kills < acknowledged,
        "hardly anything was acknowledged: {acknowledged}"
    );
}
