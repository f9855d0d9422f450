//! What signing in leaves behind: nothing that lets anybody in.

use super::SIGN_IN;
use crate::harness::host::{Desk, credential, post};
use crate::harness::{Server, folder};
use data_encoding::{BASE32_NOPAD, BASE64URL_NOPAD};
use std::fs;

/// Whether bytes have others in them.
fn has(bytes: &[u8], wanted: &[u8]) -> bool {
    bytes.windows(wanted.len()).any(|window| window == wanted)
}

#[test]
fn no_secret_is_in_a_file_of_the_folder_or_in_the_log() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &["--log", "tautpool=trace,actix_web=debug"]);
    let mistyped = format!("{}A", &credential[..credential.len() - 1]);
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
