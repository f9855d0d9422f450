//! Any digit of a release that is changed is found out: by its hash always, and without it wherever
//! anything else in the file depends on the digit.

use super::{NOW_MS, URL, bytes as released, players, release, service};
use crate::documents::reproducible::stands;
use crate::harness::{Pair, STUDY, Spread, contribution, varied};
use data_encoding::HEXLOWER;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;
use tautpool::demo::{Stage, crowd};
use tautpool::findings::{Choice, Findings, Publication};
use tautpool::intake;
use tautpool::receipt::sha256_of;
use tautpool::release::PublicUrl;
use tautpool::service::{Incoming, Service, Wanted};
use tautpool::wire::release::check::{Checks, NOT_CHECKED, check, check_with};
use tautpool::wire::{canonical, pooled};

/// The demo's crowd and forty more, released.
fn three_hundred() -> &'static [u8] {
    static MADE: OnceLock<Vec<u8>> = OnceLock::new();
    MADE.get_or_init(|| {
        let stage = Stage::set(NOW_MS).unwrap();
        let slug = stage.study.label.slug.as_str();
        for sent in crowd::more(&stage.settings, 0, 40) {
            let incoming = Incoming {
                study: slug,
                document: sent.document.as_bytes(),
                request_key: None,
                receipt: None,
                now_ms: NOW_MS,
            };
            stage.service.receive(&incoming).unwrap();
        }
        stage.service.publish(slug).unwrap();
        stage.service.reached_at(PublicUrl::parse(URL).unwrap());
        let wanted = Wanted::default();
        stage.service.release(slug, &wanted, NOW_MS).unwrap();
        let releases = stage.service.releases(slug).unwrap();
        let first = releases.first().unwrap();
        let file = stage.service.release_file(slug, first).unwrap();
        file.plain().unwrap().to_vec()
    })
}

/// Twelve players who show rows and eight who do not, with everything that is published of so few.
fn small() -> Vec<u8> {
    let service: Service = service();
    players(&service, 0, 12);
    for number in 12..20 {
        let pair = Pair {
            scope: "pooling",
            ..varied(number)
        };
        let document = contribution(pair).to_string();
        let incoming = Incoming {
            study: STUDY,
            document: document.as_bytes(),
            request_key: None,
            receipt: None,
            now_ms: NOW_MS,
        };
        service.submit(&incoming).unwrap();
    }
    release(&service, &Wanted::default()).unwrap();
    released(&service, 1)
}

/// Every text, number and truth of a document with its place.
fn leaves(part: &Value, at: &str, found: &mut Vec<(String, String)>) {
    match part {
        Value::Object(fields) => {
            for (name, value) in fields {
                leaves(value, &format!("{at}/{name}"), found);
            }
        }
        Value::Array(items) => {
            for (place, value) in items.iter().enumerate() {
                leaves(value, &format!("{at}/{place}"), found);
            }
        }
        other => found.push((at.to_owned(), other.to_string())),
    }
}

/// A place with a star for every number of a list.
fn kind(at: &str) -> String {
    let is_number = |part: &&str| part.bytes().all(|byte| byte.is_ascii_digit());
    let parts = at.split('/').skip(1);
    parts
        .map(|part| {
            if is_number(&part) {
                "/*".to_owned()
            } else {
                format!("/{part}")
            }
        })
        .collect()
}

/// The text of a value with one digit changed, where that is still a value.
fn flipped(text: &str, spread: &mut Spread) -> Option<Value> {
    let digits: Vec<usize> = text
        .bytes()
        .enumerate()
        .filter(|(_, byte)| byte.is_ascii_digit())
        .map(|(place, _)| place)
        .collect();
    let place = *digits.get(spread.below(digits.len().max(1)))?;
    let mut bytes = text.as_bytes().to_vec();
    let byte = bytes.get_mut(place)?;
    *byte = b'0' + (*byte - b'0' + 1 + u8::try_from(spread.below(9)).unwrap()) % 10;
    let [before, changed] = [text.as_bytes(), &bytes].map(serde_json::from_slice::<Value>);
    changed.ok().filter(|changed| *changed != before.unwrap())
}

/// What was found in rows that many files share.
struct Known {
    publication: Publication,
    findings: Findings,
}

impl Known {
    fn of(bytes: &[u8]) -> Self {
        let publication = intake::release(bytes).unwrap().publication;
        let findings = publication.analyse(Choice::default()).unwrap();
        Self {
            publication,
            findings,
        }
    }

    fn holds(&self, bytes: &[u8]) -> bool {
        let checks = check_with(bytes, |publication| {
            if *publication == self.publication {
                Ok(self.findings.clone())
            } else {
                publication.analyse(Choice::default())
            }
        });
        let is_plan = |checks: &Checks| {
            let hash = HEXLOWER.encode(&sha256_of(checks.plan.as_bytes()));
            checks.plan_hash == Some(hash)
        };
        let checks = checks.unwrap();
        checks.is_ok_and(|checks| checks.hold() && is_plan(&checks))
    }
}

/// Places in which a changed digit passed, by kind, with how many of each kind were tried.
fn passed(bytes: &[u8], of_each_kind: usize, seed: u64) -> (BTreeSet<String>, usize) {
    let document: Value = serde_json::from_slice(bytes).unwrap();
    let mut found = Vec::new();
    leaves(&document, "", &mut found);
    let mut kinds: BTreeMap<String, Vec<(String, String)>> = BTreeMap::new();
    for (at, text) in found {
        if text.bytes().any(|byte| byte.is_ascii_digit()) {
            kinds.entry(kind(&at)).or_default().push((at, text));
        }
    }
    let known = Known::of(bytes);
    let mut spread = Spread(seed);
    let (mut passed, mut n_tried) = (BTreeSet::new(), 0);
    for (kind, places) in kinds {
        for _ in 0..of_each_kind.min(places.len()) {
            let (at, text) = places.get(spread.below(places.len())).unwrap();
            let Some(changed) = flipped(text, &mut spread) else {
                continue;
            };
            let mut other = document.clone();
            *other.pointer_mut(at).unwrap() = changed;
            n_tried += 1;
            if known.holds(canonical(&other).as_bytes()) {
                passed.insert(kind.clone());
            }
        }
    }
    (passed, n_tried)
}

/// Whether a kind of place is one that only the hash keeps.
fn is_listed(kind: &str) -> bool {
    NOT_CHECKED.iter().any(|listed| {
        let rest = kind.strip_prefix(listed);
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    })
}

#[test]
fn a_release_of_three_hundred_contributions_is_made_again_to_the_last_bit() {
    let bytes = three_hundred();
    let checks = check(bytes).unwrap().unwrap();
    assert!(checks.hold(), "{checks:?}");
    let document: Value = serde_json::from_slice(bytes).unwrap();
    let counted = document["flow"]["pooled"]["at_least"].as_u64().unwrap();
    assert!(300 <= counted, "{counted}");
    assert!(700 < checks.n_rows, "{}", checks.n_rows);
    assert!(40 < checks.n_analyses, "{}", checks.n_analyses);
    // What its rows give is what `tautpool pool` makes of the file.
    let publication = intake::published(bytes).unwrap();
    let findings = publication.analyse(Choice::default()).unwrap();
    let pooled = pooled::of_publication(&publication, &findings, &[]);
    let from_rows = document["findings"]["reproducible"]["from_rows"].as_array();
    for place in from_rows.unwrap() {
        let place = place.as_str().unwrap();
        let [made, published] =
            [&pooled, &document["findings"]].map(|document| document.pointer(place).unwrap());
        assert!(canonical(made) == canonical(published), "{place}");
    }
    for list in ["from_rows", "as_they_are"] {
        for place in document["reproducible"][list].as_array().unwrap() {
            let place = place.as_str().unwrap();
            assert!(stands(&document, place), "{place}");
        }
    }
    for place in NOT_CHECKED {
        assert!(stands(&document, place), "{place}");
    }
}

#[test]
fn a_changed_digit_of_three_hundred_contributions_is_found_without_the_hash() {
    let bytes = three_hundred();
    let document: Value = serde_json::from_slice(bytes).unwrap();
    let mut found = Vec::new();
    leaves(&document, "", &mut found);
    found.retain(|(at, text)| {
        text.bytes().any(|byte| byte.is_ascii_digit()) && !is_listed(&kind(at))
    });
    let known = Known::of(bytes);
    assert!(known.holds(bytes));
    let mut spread = Spread(5);
    for _ in 0..24 {
        let (at, text) = &found[spread.below(found.len())];
        let Some(changed) = flipped(text, &mut spread) else {
            continue;
        };
        let mut other = document.clone();
        *other.pointer_mut(at).unwrap() = changed;
        assert!(!known.holds(canonical(&other).as_bytes()), "{at}");
    }
}

#[test]
fn the_hash_finds_any_changed_digit() {
    let bytes = small();
    let sha256 = sha256_of(&bytes);
    let digits: Vec<usize> = (0..bytes.len())
        .filter(|place| bytes[*place].is_ascii_digit())
        .collect();
    let mut spread = Spread(2);
    for _ in 0..2_000 {
        let place = digits[spread.below(digits.len())];
        let mut other = bytes.clone();
        other[place] = b'0' + (other[place] - b'0' + 1) % 10;
        assert_ne!(sha256_of(&other), sha256, "{place}");
    }
}

#[test]
fn without_the_hash_a_changed_digit_is_found_wherever_anything_depends_on_it() {
    let (passed, n_tried) = passed(&small(), 2, 3);
    assert!(300 < n_tried, "{n_tried}");
    let unlisted: Vec<&String> = passed.iter().filter(|kind| !is_listed(kind)).collect();
    assert!(unlisted.is_empty(), "{unlisted:#?}");
}
