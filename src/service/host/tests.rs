use super::*;
use crate::access::{IDLE_MS, LINK_LASTS_MS};
use std::net::Ipv4Addr;

const NOW: i64 = 1_700_000_000_000;

/// More than a bucket fills in.
const LATER: i64 = 60 * 60 * 1000;

fn client(number: u8) -> IpAddr {
    Ipv4Addr::new(192, 0, 2, number).into()
}

fn service() -> (Service, String) {
    let service = Service::in_memory().unwrap();
    let credential = service.make_credential(NOW).unwrap().reveal();
    (service, credential)
}

fn enter(service: &Service, credential: &str, now_ms: i64) -> String {
    match service.sign_in(credential, client(1), now_ms).unwrap() {
        SignIn::Done(token) => token.reveal(),
        other => panic!("{other:?}"),
    }
}

fn is_in(service: &Service, token: &str, now_ms: i64) -> bool {
    service.signed_in(token, now_ms).unwrap().is_some()
}

#[test]
fn without_a_credential_nobody_signs_in_with_any() {
    let service = Service::in_memory().unwrap();
    assert!(!service.has_credential().unwrap());
    for typed in ["", "admin", "x"] {
        let attempt = service.sign_in(typed, client(1), NOW).unwrap();
        assert!(matches!(attempt, SignIn::NoCredential), "{attempt:?}");
    }
}

#[test]
fn the_credential_signs_in_and_nothing_else_does() {
    let (service, credential) = service();
    let wrong = service.sign_in("wrong", client(1), NOW).unwrap();
    assert!(matches!(wrong, SignIn::Wrong), "{wrong:?}");
    let token = enter(&service, &credential, NOW);
    assert!(is_in(&service, &token, NOW));
    let other = Token::fresh().unwrap().reveal();
    for held in ["", "x", &token[1..], &other] {
        assert!(!is_in(&service, held, NOW), "{held}");
    }
}

#[test]
fn whoever_tries_too_often_is_not_even_heard_with_the_right_one() {
    let (service, credential) = service();
    for _ in 0..5 {
        service.sign_in("wrong", client(1), NOW).unwrap();
    }
    // Hashing is barred meanwhile, so an attempt that hashed would never return.
    let barred = locked(&service.door.hashing);
    let attempt = service.sign_in(&credential, client(1), NOW).unwrap();
    assert!(matches!(attempt, SignIn::TooOften(60)), "{attempt:?}");
    drop(barred);
    let other = service.sign_in(&credential, client(2), NOW).unwrap();
    assert!(matches!(other, SignIn::Done(_)), "{other:?}");
    enter(&service, &credential, NOW + 60_000);
}

#[test]
fn a_sign_in_ends_after_idling_and_after_a_week_of_use() {
    let (service, credential) = service();
    let idle = enter(&service, &credential, NOW);
    assert!(is_in(&service, &idle, NOW + IDLE_MS - 1));
    let used = enter(&service, &credential, NOW + LATER);
    let step = IDLE_MS / 2;
    let mut now_ms = NOW + LATER;
    while now_ms + step < NOW + LATER + LASTS_MS {
        now_ms += step;
        assert!(is_in(&service, &used, now_ms));
    }
    assert!(!is_in(&service, &used, NOW + LATER + LASTS_MS));
    // The last look at the other one is long ago; having ended, it never comes back.
    assert!(!is_in(&service, &idle, now_ms));
    assert!(!is_in(&service, &idle, NOW));
}

#[test]
fn reading_writes_the_time_of_use_every_five_minutes_at_most() {
    let (service, credential) = service();
    let token = enter(&service, &credential, NOW);
    let hash = Token::parse(&token).unwrap().hash();
    let seen = |now_ms| {
        assert!(is_in(&service, &token, now_ms));
        service.store.sign_in(&hash).unwrap().unwrap().seen_at_ms
    };
    assert_eq!(seen(NOW + SEEN_EVERY_MS - 1), NOW);
    assert_eq!(seen(NOW + SEEN_EVERY_MS), NOW + SEEN_EVERY_MS);
    assert_eq!(seen(NOW + SEEN_EVERY_MS + 1), NOW + SEEN_EVERY_MS);
}

#[test]
fn signing_out_ends_one_and_everywhere_ends_all() {
    let (service, credential) = service();
    let tokens = [0, 1, 2].map(|_| enter(&service, &credential, NOW));
    let first = service.signed_in(&tokens[0], NOW).unwrap().unwrap();
    service.sign_out(&first).unwrap();
    let still = |service: &Service| tokens.clone().map(|token| is_in(service, &token, NOW));
    assert_eq!(still(&service), [false, true, true]);
    let code = service.make_link(NOW).unwrap().reveal();
    service.sign_out_everywhere().unwrap();
    assert_eq!(still(&service), [false; 3]);
    assert!(!service.link_is_open(&code, NOW));
}

#[test]
fn a_new_credential_ends_the_old_one_every_sign_in_and_every_link() {
    let (service, old) = service();
    let token = enter(&service, &old, NOW);
    let code = service.make_link(NOW).unwrap().reveal();
    let new = service.make_credential(NOW).unwrap().reveal();
    assert!(!is_in(&service, &token, NOW));
    assert!(!service.link_is_open(&code, NOW));
    let with_old = service.sign_in(&old, client(1), NOW).unwrap();
    assert!(matches!(with_old, SignIn::Wrong), "{with_old:?}");
    enter(&service, &new, NOW);
}

#[test]
fn every_sign_in_has_a_form_token_of_its_own_that_stays_the_same() {
    let (service, credential) = service();
    let form_token = |token: &str| {
        let signed_in = service.signed_in(token, NOW).unwrap().unwrap();
        signed_in.form_token.text().to_owned()
    };
    let (one, two) = (
        enter(&service, &credential, NOW),
        enter(&service, &credential, NOW),
    );
    assert_eq!(form_token(&one), form_token(&one));
    assert_ne!(form_token(&one), form_token(&two));
}

#[test]
fn a_link_signs_in_once_within_its_hour() {
    let service = Service::in_memory().unwrap();
    let [code, late] = [0, 1].map(|_| service.make_link(NOW).unwrap().reveal());
    assert!(service.link_is_open(&code, NOW) && service.link_is_open(&code, NOW));
    let token = service.open_link(&code, NOW).unwrap().unwrap();
    assert!(is_in(&service, &token.reveal(), NOW));
    assert!(service.open_link(&code, NOW).unwrap().is_none());
    assert!(
        service
            .open_link(&late, NOW + LINK_LASTS_MS)
            .unwrap()
            .is_none()
    );
    assert!(service.open_link("x", NOW).unwrap().is_none());
}
