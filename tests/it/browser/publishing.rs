//! The host's whole way: sign in, write a study, open it, take contributions, decide on what is held
//! without seeing where it points, publish, and publish again.

use super::audit::Audit;
use super::hands::{Hands, Person};
use super::session::{Browser, Device, Scripts};
use crate::harness::host::credential;
use crate::harness::{self, STUDY, Server};
use serde_json::{Value, json};
use std::process::Command;
use tempfile::TempDir;

/// What a new study still needs when everything else stays as the form proposes it.
const ANSWERS: &[(&str, &str)] = &[
    (
        "question",
        "Does a looser string bed hit faster? An invented study.",
    ),
    ("study", STUDY),
    ("invented", "yes"),
    ("worthwhile_1", "1"),
    ("consent_version", "1"),
    ("host_name", "The invented club"),
    ("contact", "By the notice board of the invented club"),
    ("licence_name", "CC0-1.0"),
    (
        "privacy_text",
        "Nothing that says who you are is asked for or kept. Ask at the notice board.",
    ),
    ("privacy_version", "1"),
];

/// A study to write, at a service that knows its own address.
struct Play {
    data: TempDir,
    server: Server,
    credential: String,
}

impl Play {
    fn begin() -> Self {
        let data = tempfile::tempdir().unwrap();
        let credential = credential(data.path());
        let server = Server::serve(data.path(), &["--public-url", "https://strings.example"]);
        Self {
            data,
            server,
            credential,
        }
    }

    /// So many new players, from a first number on.
    fn players(&self, first: u32, n: u32) {
        for number in first..first + n {
            self.server
                .post(&harness::contribution(harness::varied(number)))
                .expect(201);
        }
    }

    /// Somebody who copied one session into the other.
    fn copier(&self) -> Value {
        let mut document = harness::contribution(harness::varied(90));
        document["sessions"][1]["shots"] = document["sessions"][0]["shots"].clone();
        self.server.post(&document).expect(201).json()
    }

    fn api(&self, rest: &str) -> harness::Answer {
        self.server
            .get(&format!("/api/v1/studies/{STUDY}/{rest}"))
            .expect(200)
    }
}

fn write_and_open(person: Person<'_>, audit: &Audit<'_>) {
    let browser = person.browser;
    person.follow("a[href='/host/new']");
    audit.look("study-new");
    for (name, value) in ANSWERS {
        person.enter(name, value);
    }
    person.follow("button[value='preview']");
    assert!(browser.text("main").contains("By the notice board"));
    audit.look("study-preview");
    person.follow("button[value='edit']");
    person.follow("button[value='open']");
    audit.look("study-opening");
    assert!(
        browser.text("main").contains("What is frozen"),
        "{}",
        browser.text("main")
    );
    person.follow("main button.main");
    assert_eq!(browser.path(), format!("/host/studies/{STUDY}"));
    assert!(browser.text("main").contains("It takes contributions"));
}

fn decline(person: Person<'_>, audit: &Audit<'_>) {
    let browser = person.browser;
    browser.go(&format!("/host/studies/{STUDY}/review"));
    audit.look("review-list");
    person.follow("#waiting ~ ul a");
    audit.look("review-case");
    assert!(browser.text("main").contains("Held because of this"));
    person.enter("decision", "declined-copied");
    person.enter("note", "Both sessions are one and the same.");
    person.follow("main form button:not(.plain)");
    assert!(browser.text("main").contains("Nothing waits"));
}

/// Publishes the next release and gives its number.
fn publish(person: Person<'_>, audit: &Audit<'_>, name: &str) -> String {
    let browser = person.browser;
    browser.go(&format!("/host/studies/{STUDY}/release"));
    audit.look(name);
    if browser.has("[name='kind'][value='update']") {
        browser.tick("[name='kind'][value='update']");
    }
    person.enter("sure", "yes");
    person.follow("main button.main");
    let heading = browser.text("h1");
    assert!(heading.contains("is published"), "{heading}");
    audit.look(&format!("{name}-done"));
    heading.split_whitespace().nth(1).unwrap().to_owned()
}

/// The hash that stands beside a release is the one that the system's own tool makes of its bytes.
fn assert_hash_verifies(play: &Play, number: &str) {
    let folder = tempfile::tempdir().unwrap();
    let document = play.api(&format!("releases/{number}"));
    let told = play.api(&format!("releases/{number}/sha256")).text();
    let file = told.split_whitespace().nth(1).unwrap();
    std::fs::write(folder.path().join(file), document.text()).unwrap();
    std::fs::write(folder.path().join("told"), &told).unwrap();
    let checked = Command::new("sha256sum")
        .args(["--check", "told"])
        .current_dir(folder.path())
        .output()
        .unwrap();
    assert!(checked.status.success(), "{checked:?}");
}

#[test]
fn a_host_writes_a_study_reviews_blind_publishes_and_publishes_again() {
    let play = Play::begin();
    let browser = Browser::open(&play.server.address, Device::Phone, Scripts::On);
    let person = Person {
        browser: &browser,
        hands: Hands::Pointing,
    };
    let audit = Audit::new(&browser);
    browser.go("/host/sign-in");
    person.enter("credential", &play.credential);
    person.follow("main button.main");
    write_and_open(person, &audit);
    play.players(0, 12);
    let copier = play.copier();
    assert!(
        copier["counts"].as_str().unwrap().contains("host"),
        "{copier}"
    );
    browser.go(&format!("/host/studies/{STUDY}"));
    audit.look("study-desk");
    decline(person, &audit);
    assert_eq!(publish(person, &audit, "release-first"), "1");
    assert_hash_verifies(&play, "1");
    let first = format!("/studies/{STUDY}/releases/1");
    browser.go(&first);
    audit.look("release-page");
    assert!(
        !browser.text("main").contains("superseded"),
        "{}",
        browser.text("main")
    );

    play.players(40, 5);
    assert_eq!(publish(person, &audit, "release-second"), "2");
    assert_hash_verifies(&play, "2");
    browser.go(&first);
    assert!(
        browser
            .text("main")
            .to_lowercase()
            .contains("superseded by release 2")
    );
    let index = play.api("releases").json();
    assert_eq!(index["releases"].as_array().unwrap().len(), 2);
    browser.go(&format!("/studies/{STUDY}/releases"));
    audit.look("releases");
    browser.go(&format!("/studies/{STUDY}"));
    audit.look("published-page");
    audit.assert_sound();

    // The card, as it would stand in a post.
    let card = play
        .server
        .get(&format!("/studies/{STUDY}/card-1200x630.png"))
        .expect(200);
    assert_eq!(card.content_type(), "image/png");
    drop(play.server);
    assert_eq!(harness::exported(play.data.path()).len(), 18);
    assert_eq!(json!(index["releases"][0]["number"]), json!(1));
}
