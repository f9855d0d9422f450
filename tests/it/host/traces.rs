//! What signing in, and everything else that is done here, leaves behind: nothing that lets anybody
//! in, and nothing of anybody.

use super::SIGN_IN;
use crate::harness::host::{Desk, credential, post, post_with};
use crate::harness::{Answer, STUDY, Server, contribution, folder, varied};
use data_encoding::{BASE32_NOPAD, BASE64URL_NOPAD};
use serde_json::{Value, json};
use std::cell::RefCell;
use std::fs;

/// Whether bytes have others in them.
fn has(bytes: &[u8], wanted: &[u8]) -> bool {
    bytes.windows(wanted.len()).any(|window| window == wanted)
}

/// A secret that is nearly another.
fn with_another_end(secret: &str) -> String {
    let last = if secret.ends_with('A') { 'C' } else { 'A' };
    format!("{}{last}", &secret[..secret.len() - 1])
}

#[test]
fn no_secret_is_in_a_file_of_the_folder_or_in_the_log() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &["--log", "tautpool=trace,actix_web=debug"]);
    let mistyped = with_another_end(&credential);
    post(&server, SIGN_IN, &[("credential", &mistyped)]);
    let desk = Desk::enter(&server, &credential);
    let form_token = desk.form_token();
    desk.post_bare("/host/sign-out", &[], &[("form_token", "x")]);
    let plain = credential.replace('-', "");
    let (_, token) = desk.cookie.split_once('=').unwrap();
    let decoded = |text: &str| BASE64URL_NOPAD.decode(text.as_bytes()).unwrap();
    let secrets = [
        credential.clone().into_bytes(),
        mistyped.into_bytes(),
        plain.clone().into_bytes(),
        BASE32_NOPAD.decode(plain.as_bytes()).unwrap(),
        token.as_bytes().to_vec(),
        decoded(token),
        form_token.as_bytes().to_vec(),
        decoded(&form_token),
    ];
    let mut places: Vec<(String, Vec<u8>)> = fs::read_dir(folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .map(|path| (path.display().to_string(), fs::read(&path).unwrap()))
        .collect();
    places.push(("log".to_owned(), server.log().into_bytes()));
    let named = |end: &str| places.iter().any(|(name, _)| name.ends_with(end));
    assert!(named(".sqlite") && named("-wal") && named("receipt.key"));
    for (place, bytes) in &places {
        for (number, secret) in secrets.iter().enumerate() {
            assert!(!has(bytes, secret), "secret {number} is in {place}");
        }
    }
    // The search can find something: the hash is there, and so are the lines of the log.
    assert!(
        places
            .iter()
            .any(|(_, bytes)| has(bytes, b"$argon2id$v=19$"))
    );
    let log = server.log();
    assert!(log.contains("wrong credential"), "{log}");
    assert!(!log.contains("127.0.0.1"), "{log}");
}

/// A text that nobody else writes.
const NOTE: &str = "a-note-that-stands-nowhere-else";
/// A name of a racquet, likewise.
const LABEL: &str = "a-frame-that-stands-nowhere-else";
/// A client's address, as a proxy tells it.
const CLIENT: &str = "203.0.113.77";

/// What was said in a run, and what must not be in a log or an address.
#[derive(Default)]
struct Heard {
    addresses: RefCell<Vec<String>>,
    secrets: RefCell<Vec<String>>,
}

impl Heard {
    /// Takes up where an answer leads: its headers, and the links and forms of its page.
    fn of(&self, answer: Answer) -> Answer {
        let mut addresses = self.addresses.borrow_mut();
        for name in ["location", "link", "content-disposition"] {
            addresses.push(answer.header(name).to_owned());
        }
        let text = answer.text();
        for attribute in ["href=\"", "action=\"", "src=\""] {
            let places = text.split(attribute).skip(1);
            addresses.extend(places.filter_map(|rest| Some(rest.split_once('"')?.0.to_owned())));
        }
        answer
    }

    /// Remembers a secret as it is written, and as else it might be.
    fn keep(&self, secret: &str) -> String {
        let plain = secret.replace('-', "");
        let ways = [
            secret.to_owned(),
            plain.clone(),
            plain.to_lowercase(),
            secret.replace('-', "+"),
        ];
        self.secrets.borrow_mut().extend(ways);
        secret.to_owned()
    }
}

fn document(number: u32) -> Value {
    let mut document = contribution(varied(number));
    document["note"] = json!(NOTE);
    document["setup"] = json!({"frame": {"label": LABEL}});
    document
}

/// The way of a contributor: sends, looks, mends, withdraws, draws a plan, mistypes, uploads.
fn as_contributor(server: &Server, heard: &Heard) {
    let from = [("x-forwarded-for", CLIENT)];
    let json = ("content-type", "application/json");
    let path = format!("/api/v1/studies/{STUDY}/contributions");
    let key = heard.keep("6f1c4a52-8a7e-4c0b-9b0f-6a7c1d2e3f40");
    let body = document(1).to_string();
    let headers = [json, from[0], ("idempotency-key", key.as_str())];
    let sent = heard
        .of(server
            .send("POST", &path, &headers, body.as_bytes())
            .expect(201))
        .json();
    let receipt = heard.keep(sent["receipt"].as_str().unwrap());
    let own = format!("Receipt {receipt}");
    let one = format!("{path}/{}", sent["contribution"].as_str().unwrap());
    let with = [json, from[0], ("authorization", own.as_str())];
    heard.of(server.send("GET", &path, &with, b"").expect(200));
    let mut mended = document(2);
    mended["study"] = json!("another");
    heard.of(server
        .send(
            "PUT",
            &format!("{one}?reason=other"),
            &with,
            mended.to_string().as_bytes(),
        )
        .expect(422));
    let mended = document(2).to_string();
    heard.of(server
        .send(
            "PUT",
            &format!("{one}?reason=typing_mistake"),
            &with,
            mended.as_bytes(),
        )
        .expect(200));
    let mistyped = heard.keep(&with_another_end(&receipt));
    let wrong = format!("Receipt {mistyped}");
    heard.of(server
        .send(
            "GET",
            &path,
            &[("authorization", wrong.as_str()), from[0]],
            b"",
        )
        .expect(401));
    let form = format!("/studies/{STUDY}/receipt");
    for (typed, what) in [
        (&receipt, "see"),
        (&receipt, "withdraw"),
        (&mistyped, "see"),
    ] {
        let fields = [("receipt", typed.as_str()), ("do", what)];
        heard.of(post_with(server, &form, &from, &fields));
    }
    let plans = format!("/api/v1/studies/{STUDY}/plans");
    let drawn = heard.of(server
        .send(
            "POST",
            &plans,
            &[json, from[0]],
            b"{\"kind\": \"two_sessions\"}",
        )
        .expect(201));
    let code = heard.keep(drawn.json()["code"].as_str().unwrap());
    server
        .send("POST", &format!("{plans}/{code}/open"), &from, b"")
        .expect(200);
    heard.of(post_with(
        server,
        &format!("/studies/{STUDY}/plan"),
        &from,
        &[("code", &code), ("do", "open")],
    ));
    let upload = format!(
        "--x\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{NOTE}.json\"\r\n\r\n{body}\r\n--x--\r\n"
    );
    let multipart = ("content-type", "multipart/form-data; boundary=x");
    heard.of(server.send(
        "POST",
        &format!("/studies/{STUDY}/upload"),
        &[multipart, from[0]],
        upload.as_bytes(),
    ));
    for broken in [
        format!("{{\"note\": \"{NOTE}"),
        format!("{{\"{NOTE}\": 1}}"),
        NOTE.to_owned(),
    ] {
        heard.of(server.send("POST", &path, &[json, from[0]], broken.as_bytes()));
        heard.of(post_with(
            server,
            &format!("/studies/{STUDY}/send"),
            &from,
            &[("note", &broken), ("do", "send")],
        ));
    }
    heard.of(server.send("DELETE", &one, &with, b"").expect(200));
}

/// The way of a host: mistypes, signs in, writes, publishes, leaves.
fn as_host(server: &Server, heard: &Heard, credential: &str) {
    let from = [("x-forwarded-for", CLIENT)];
    let mistyped = heard.keep(&with_another_end(credential));
    heard.of(post_with(server, SIGN_IN, &from, &[("credential", &mistyped)]).expect(403));
    let signed_in =
        heard.of(post_with(server, SIGN_IN, &from, &[("credential", credential)]).expect(303));
    let desk = Desk::given(server, &signed_in);
    heard.keep(desk.cookie.split_once('=').unwrap().1);
    heard.keep(&desk.form_token());
    let base = format!("/host/studies/{STUDY}");
    for path in [
        "/host",
        "/host/new",
        &base,
        &format!("{base}/review"),
        &format!("{base}/release"),
    ] {
        heard.of(desk.get(path).expect(200));
    }
    for path in [
        "/host/new",
        &format!("{base}/protocol"),
        &format!("{base}/release"),
    ] {
        heard.of(desk.post(
            path,
            &[("reason", NOTE), ("note", NOTE), ("question", LABEL)],
        ));
    }
    heard.of(desk
        .post_bare(&format!("{base}/close"), &[], &[("form_token", "x")])
        .expect(403));
    heard.of(desk.post("/host/sign-out", &[]).expect(303));
}

#[test]
fn a_full_run_leaves_no_secret_no_text_and_no_address_of_a_client_in_a_log_or_an_address() {
    let folder = folder();
    let credential = credential(folder.path());
    let options = ["--behind-tls-proxy", "--log", "tautpool=trace,debug"];
    let server = Server::serve(folder.path(), &options);
    let heard = Heard::default();
    heard.keep(&credential);
    as_contributor(&server, &heard);
    as_host(&server, &heard, &credential);
    // What is no request at all is answered by the framework, and has an address too.
    let _ = server.raw(format!("GET /{NOTE} NOTHING\r\ncookie: {NOTE}\r\n\r\n").as_bytes());
    let log = server.log();
    assert!(20 < log.matches("answered").count(), "{log}");
    let said = [
        log.as_str(),
        &server.printed,
        &heard.addresses.borrow().join("\n"),
    ]
    .join("\n");
    let texts = [NOTE, LABEL, CLIENT].map(str::to_owned);
    let secrets = heard.secrets.borrow();
    assert!(30 < secrets.len(), "{}", secrets.len());
    for secret in secrets.iter().chain(&texts) {
        let line = said.lines().find(|line| line.contains(secret.as_str()));
        assert_eq!(line, None, "{secret}");
    }
    // Its own address may be told; that of whoever asks, which is on the same machine, may not.
    let of_others = said.replace(&server.address, "");
    assert!(!of_others.contains("127.0.0.1"), "{of_others}");
}
