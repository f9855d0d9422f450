//! Everything that the service acknowledges, once each, over its real doors.
//!
//! A stage is a data folder in which each of these can be asked for; it is made once and copied. What
//! is kept of a wish is looked up in the store, so that nothing is believed that an answer says.

use super::{edited, note_of};
use crate::harness::host::{Desk, credential, post, study_fields};
use crate::harness::{
    Answer, PUBLIC_URL, Pair, STUDY, STUDY_FILE, Server, contribution, folder, host_study, varied,
};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;
use tautpool::receipt::{Receipt, sha256_of};
use tautpool::store::{Durability, OwnContribution, Store};
use tautpool::vocabulary::{State, StudyState};
use tempfile::TempDir;
use uuid::Uuid;

/// A study that is a draft, and one that nobody has written yet.
const SECOND: &str = "second-question";
const THIRD: &str = "third-question";

const REASON: &str = "Longer rallies were played than had been thought.";
const NOTE: &str = "Both sheets are one.";

/// Something that is acknowledged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wish {
    SignIn,
    Send,
    SendFurther,
    Mend,
    Withdraw,
    Draw,
    Open,
    Decide,
    Release,
    OpenStudy,
    AmendStudy,
    CloseStudy,
    AddStudy,
}

impl Wish {
    /// In the order in which they are asked for. The first that is sent closes a batch.
    pub(super) const ALL: [Self; 13] = [
        Self::SignIn,
        Self::Send,
        Self::SendFurther,
        Self::Mend,
        Self::Withdraw,
        Self::Draw,
        Self::Open,
        Self::Decide,
        Self::Release,
        Self::OpenStudy,
        Self::AmendStudy,
        Self::CloseStudy,
        Self::AddStudy,
    ];

    /// The status that acknowledges it.
    pub(super) const fn acknowledged(self) -> u16 {
        match self {
            Self::Send | Self::SendFurther | Self::Draw => 201,
            Self::Mend | Self::Withdraw | Self::Open | Self::Release => 200,
            Self::SignIn
            | Self::Decide
            | Self::OpenStudy
            | Self::AmendStudy
            | Self::CloseStudy
            | Self::AddStudy => 303,
        }
    }

    /// Whether asking twice is two wishes: every sign-in is one of its own.
    pub(super) const fn may_repeat(self) -> bool {
        matches!(self, Self::SignIn)
    }
}

/// A contribution with the receipt that opens it.
struct Sent {
    contribution: String,
    receipt: String,
}

/// A data folder in which every wish can be fulfilled.
pub(super) struct Stage {
    prepared: TempDir,
    credential: String,
    cookie: String,
    form_token: String,
    mending: Sent,
    leaving: Sent,
    held: String,
    plan: String,
    plan_hash: String,
}

impl Stage {
    pub(super) fn new() -> Self {
        let prepared = folder();
        let data = prepared.path();
        let second = study_named(SECOND, 4).to_string();
        let added = host_study(&["add", "-"], data, second.as_bytes());
        assert!(added.status.success(), "{added:?}");
        let credential = credential(data);
        let server = Server::serve(data, &[]);
        let send = |document: &Value| {
            let reply = server.post(document).expect(201).json();
            let text = |name: &str| reply[name].as_str().unwrap().to_owned();
            Sent {
                contribution: text("contribution"),
                receipt: text("receipt"),
            }
        };
        // Five close the first batch, and four wait for the next.
        let mut sent: Vec<Sent> = (0..9).map(|n| send(&contribution(varied(n)))).collect();
        let mut copied = contribution(varied(20));
        copied["sessions"][1]["shots"] = copied["sessions"][0]["shots"].clone();
        let held = send(&copied).contribution;
        let drawn = server.send("POST", &plans(), &[JSON], br#"{"kind": "two_sessions"}"#);
        let plan = drawn.expect(201).json()["code"]
            .as_str()
            .unwrap()
            .to_owned();
        let desk = Desk::enter(&server, &credential);
        let page = desk.get(&of_study(SECOND, "open")).expect(200).text();
        let (_, rest) = page.split_once("name=\"plan_hash\" value=\"").unwrap();
        let plan_hash = rest.split('"').next().unwrap().to_owned();
        let (cookie, form_token) = (desk.cookie.clone(), desk.form_token());
        drop(server);
        Self {
            prepared,
            credential,
            cookie,
            form_token,
            leaving: sent.swap_remove(1),
            mending: sent.swap_remove(0),
            held,
            plan,
            plan_hash,
        }
    }

    /// A copy of the folder.
    pub(super) fn copied(&self) -> TempDir {
        let copy = tempfile::tempdir().unwrap();
        for entry in fs::read_dir(self.prepared.path()).unwrap() {
            let entry = entry.unwrap();
            fs::copy(entry.path(), copy.path().join(entry.file_name())).unwrap();
        }
        copy
    }

    /// Asks for something.
    pub(super) fn ask(&self, server: &Server, wish: Wish) -> Answer {
        match wish {
            Wish::SignIn => post(server, "/host/sign-in", &[("credential", &self.credential)]),
            Wish::Send => server.post_bytes(sent_document().as_bytes(), &[KEY_OF_SEND]),
            Wish::SendFurther => {
                let holder = of_receipt(&self.mending);
                let headers = [KEY_OF_FURTHER, ("authorization", &holder)];
                server.post_bytes(further_document().as_bytes(), &headers)
            }
            Wish::Mend => {
                let address = format!("{}?reason=typing_mistake", own(&self.mending));
                let headers = [JSON, ("authorization", &of_receipt(&self.mending))];
                server.send("PUT", &address, &headers, mended_document().as_bytes())
            }
            Wish::Withdraw => {
                let headers = [("authorization", of_receipt(&self.leaving))];
                let headers = headers.each_ref().map(|(name, value)| (*name, &value[..]));
                server.send("DELETE", &own(&self.leaving), &headers, b"")
            }
            Wish::Draw => {
                let headers = [JSON, ("idempotency-key", "\"drawn under faults\"")];
                server.send("POST", &plans(), &headers, br#"{"kind": "two_sessions"}"#)
            }
            Wish::Open => server.send("POST", &format!("{}/{}/open", plans(), self.plan), &[], b""),
            Wish::Decide => {
                let address = of_study(STUDY, &format!("review/{}", self.held));
                let decision = [("version", "1"), ("decision", "declined-copied")];
                self.at_desk(
                    server,
                    &address,
                    &[&decision[..], &[("note", NOTE)]].concat(),
                )
            }
            Wish::Release => {
                let fields = [("number", "1"), ("kind", "update"), ("sure", "yes")];
                self.at_desk(server, &of_study(STUDY, "release"), &fields)
            }
            Wish::OpenStudy => {
                let fields = [("plan_hash", self.plan_hash.as_str())];
                self.at_desk(server, &of_study(SECOND, "open"), &fields)
            }
            Wish::AmendStudy => {
                let written = study_fields(&study_named(SECOND, 6));
                self.write(server, &of_study(SECOND, "protocol"), &written)
            }
            Wish::CloseStudy => self.at_desk(server, &of_study(SECOND, "close"), &[]),
            Wish::AddStudy => {
                let written = study_fields(&study_named(THIRD, 4));
                self.write(server, "/host/new", &written)
            }
        }
    }

    fn write(&self, server: &Server, address: &str, written: &[(String, String)]) -> Answer {
        let written = written.iter().map(|(name, value)| (&name[..], &value[..]));
        let more = [("do", "save"), ("reason", REASON)];
        let fields: Vec<(&str, &str)> = written.chain(more).collect();
        self.at_desk(server, address, &fields)
    }

    fn at_desk(&self, server: &Server, address: &str, fields: &[(&str, &str)]) -> Answer {
        let token = [("form_token", self.form_token.as_str())];
        let desk = Desk::holding(server, &self.cookie);
        desk.post_bare(address, &[], &[&token, fields].concat())
    }

    /// A data folder in which it is looked up what is kept.
    pub(super) fn kept_in<'a>(&'a self, data: &'a Path) -> Kept<'a> {
        Kept {
            stage: self,
            data,
            store: Store::open(data, Durability::None).unwrap(),
        }
    }
}

/// What a data folder keeps of a stage.
pub(super) struct Kept<'a> {
    stage: &'a Stage,
    data: &'a Path,
    store: Store,
}

impl Kept<'_> {
    /// How often what was wished for stands there. Whatever stands there is whole.
    pub(super) fn times(&self, wish: Wish) -> usize {
        let (stage, store) = (self.stage, &self.store);
        match wish {
            Wish::SignIn => n_sign_ins(self.data) - 1,
            Wish::Send => n_sent(store, &sent_document(), |_| true),
            Wish::SendFurther => {
                let mine = own_of(store, &stage.mending);
                let is_mine = |uuid: Uuid| mine.iter().any(|own| own.uuid == uuid);
                n_sent(store, &further_document(), is_mine)
            }
            Wish::Mend => {
                let versions = &own_of(store, &stage.mending)[0].versions;
                let mended = mended_document();
                let is_it =
                    |document: &Option<Vec<u8>>| document.as_deref() == Some(mended.as_bytes());
                versions
                    .iter()
                    .filter(|version| is_it(&version.document))
                    .count()
            }
            Wish::Withdraw => {
                usize::from(own_of(store, &stage.leaving)[0].state == State::Withdrawn)
            }
            Wish::Draw => n_plans(store).0 - 1,
            Wish::Open => n_plans(store).1,
            Wish::Decide => {
                let cases = store.decided(STUDY).unwrap();
                let decisions = cases.iter().flat_map(|case| &case.decisions);
                decisions.filter(|decision| decision.note == NOTE).count()
            }
            Wish::Release => n_releases(store),
            Wish::OpenStudy => usize::from(state_of(store, SECOND) != StudyState::Draft),
            Wish::AmendStudy => {
                let study = store.stored_study(SECOND).unwrap().unwrap();
                let versions = study.protocols.iter();
                versions
                    .filter(|version| version.reason.as_deref() == Some(REASON))
                    .count()
            }
            Wish::CloseStudy => usize::from(state_of(store, SECOND) == StudyState::Closed),
            Wish::AddStudy => {
                let studies = store.studies().unwrap();
                studies.iter().filter(|study| study.slug == THIRD).count()
            }
        }
    }
}

const JSON: (&str, &str) = ("content-type", "application/json");
const KEY_OF_SEND: (&str, &str) = ("idempotency-key", "\"sent under faults\"");
const KEY_OF_FURTHER: (&str, &str) = ("idempotency-key", "\"a further pair\"");

/// What serves a stage.
pub(super) const SERVED: [&str; 2] = ["--public-url", PUBLIC_URL];

fn sent_document() -> String {
    edited(varied(30), "sent under faults")
}

fn further_document() -> String {
    let pair = Pair {
        tensions: (40.0, 52.0),
        ..varied(31)
    };
    edited(pair, "a further pair")
}

fn mended_document() -> String {
    edited(varied(32), "mended under faults")
}

fn study_named(slug: &str, rally_length: i64) -> Value {
    let mut study: Value = serde_json::from_slice(&fs::read(STUDY_FILE).unwrap()).unwrap();
    study["study"] = json!(slug);
    study["protocol"]["rally_length"] = json!(rally_length);
    study
}

fn plans() -> String {
    format!("/api/v1/studies/{STUDY}/plans")
}

fn of_study(slug: &str, page: &str) -> String {
    format!("/host/studies/{slug}/{page}")
}

fn own(sent: &Sent) -> String {
    format!(
        "/api/v1/studies/{STUDY}/contributions/{}",
        sent.contribution
    )
}

fn of_receipt(sent: &Sent) -> String {
    format!("Receipt {}", sent.receipt)
}

fn own_of(store: &Store, sent: &Sent) -> Vec<OwnContribution> {
    let receipt = Receipt::parse(&sent.receipt).unwrap();
    store.own(STUDY, &receipt.hash()).unwrap().unwrap()
}

fn n_sent(store: &Store, document: &str, is_of: impl Fn(Uuid) -> bool) -> usize {
    let all = store.all_contributions(STUDY).unwrap();
    let note = note_of(document.as_bytes());
    let kept = all.iter().filter(|kept| note_of(&kept.document) == note);
    let kept: Vec<_> = kept.collect();
    for kept in &kept {
        assert_eq!(kept.document, document.as_bytes());
        assert!(is_of(kept.uuid), "it is somebody else's");
    }
    kept.len()
}

/// How many plans were drawn and opened.
fn n_plans(store: &Store) -> (usize, usize) {
    let flows = store.plan_flow(STUDY, None).unwrap();
    let flows = || flows.iter().map(|(_, flow)| flow);
    (
        flows().map(|flow| flow.drawn).sum(),
        flows().map(|flow| flow.opened).sum(),
    )
}

fn n_releases(store: &Store) -> usize {
    let releases = store.releases(STUDY).unwrap();
    for release in &releases {
        let document = store.release_document(STUDY, release.number).unwrap();
        assert_eq!(sha256_of(&document.unwrap()), release.sha256);
    }
    releases.len()
}

fn state_of(store: &Store, slug: &str) -> StudyState {
    store.stored_study(slug).unwrap().unwrap().state
}

fn n_sign_ins(data: &Path) -> usize {
    let connection = rusqlite::Connection::open(data.join(Store::FILE)).unwrap();
    let count = "SELECT count(*) FROM host_sign_in";
    let count: i64 = connection.query_row(count, [], |row| row.get(0)).unwrap();
    usize::try_from(count).unwrap()
}
