//! Entries and documents, in both directions, over the corpus of contributions.

use crate::corpus::{invalid_documents, study, valid_documents};
use proptest::prelude::*;
use serde_json::Value;
use tautpool::form::{Entries, Kind, find, spots};
use tautpool::intake;
use tautpool::intake::entries::{check, document, entries};
use tautpool::intake::json;

fn parsed(bytes: &[u8]) -> Value {
    serde_json::from_slice(bytes).unwrap()
}

#[test]
fn valid_documents_pass_through_the_form_unchanged_or_not_at_all() {
    let study = study();
    let (mut through, mut declined) = (Vec::new(), Vec::new());
    for (name, bytes) in valid_documents() {
        let original = parsed(&bytes);
        let Some(typed) = entries(&original, &study) else {
            declined.push(name);
            continue;
        };
        let (made, _) = document(&typed, &study);
        // The form lists sessions as they were played.
        let in_order = |bytes: &[u8]| {
            let mut read = intake::kept_contribution(bytes).unwrap();
            read.sessions.sort_by_key(|session| format!("{session:?}"));
            read
        };
        assert_eq!(
            in_order(&bytes),
            in_order(made.to_string().as_bytes()),
            "{name}"
        );
        assert_eq!(entries(&made, &study), Some(typed), "{name}");
        through.push(name);
    }
    println!(
        "{} of {} pass through the form",
        through.len(),
        through.len() + declined.len()
    );
    // Mixed units, mixed ways of counting, an order that no sequence has, empty objects, more
    // sessions or kinds of shots than the form has room for, autocorrelation.
    let too_much = [
        "complete",
        "correlated-shots",
        "correlated-shots-at-the-bounds",
        "eight-sessions-of-twenty-lines",
        "every-shot-in-and-deep",
        "kilograms-against-pounds",
        "largest-bounds",
        "miles-per-hour-against-kilometres-per-hour",
        "same-reference-from-other-mains",
        "smallest-bounds",
        "unknown-everywhere",
    ];
    assert_eq!(declined, too_much, "{through:?}");
}

#[test]
fn faults_of_the_corpus_land_at_fields() {
    let study = study();
    let (mut n_documents, mut n_faults) = (0, 0);
    for (name, bytes) in invalid_documents() {
        let Ok(original) = json::parse(&bytes, 10_000) else {
            continue;
        };
        let Some(mut typed) = entries(&original, &study) else {
            continue;
        };
        for field in ["speed_unit", "deep_percent_of"] {
            if typed.is_blank(field) {
                typed.set(field, if field == "speed_unit" { "km/h" } else { "in" });
            }
        }
        n_documents += 1;
        let checked = check(&typed, &study);
        assert!(!checked.faults.is_empty(), "{name}");
        for fault in checked.faults {
            n_faults += 1;
            // Only the study's own address is no field.
            let at = fault.field.as_deref();
            assert!(
                at.is_some_and(|field| find(field).is_some()) || fault.pointer == "/study",
                "{name}: {fault:?}"
            );
        }
    }
    println!("{n_documents} documents with {n_faults} faults");
    assert!(10 < n_documents, "{n_documents}");
}

/// Texts as people type them into a field of this kind, good and bad.
fn typed(kind: Kind) -> BoxedStrategy<String> {
    match kind {
        Kind::Choice(words) => {
            let codes: Vec<String> = words.iter().map(|word| word.code.to_owned()).collect();
            prop_oneof![9 => prop::sample::select(codes), 1 => "[a-z_<]{0,8}"].boxed()
        }
        Kind::Tick => Just("yes".to_owned()).boxed(),
        Kind::Whole | Kind::Decimal => prop_oneof![
            6 => "[0-9]{1,3}([.,][0-9]{1,2})?",
            1 => "-?[0-9]{1,30}",
            1 => "\\PC{0,12}",
        ]
        .boxed(),
        Kind::Text => prop_oneof!["\\PC{0,90}", "[0-9A-Z]{8,12}", "[0-9]{2}x[0-9]{2}"].boxed(),
    }
}

fn any_entries() -> impl Strategy<Value = Vec<(String, String)>> {
    let all: Vec<_> = spots().collect();
    let one =
        prop::sample::select(all).prop_flat_map(|spot| (Just(spot.name()), typed(spot.field.kind)));
    prop::collection::vec(one, 0..120)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn any_entries_give_a_document_or_faults_at_fields(pairs in any_entries()) {
        let study = study();
        let typed = Entries::of(pairs.iter().map(|(name, text)| (name.as_str(), text.as_str())));
        let checked = check(&typed, &study);
        if checked.faults.is_empty() {
            prop_assert!(intake::contribution(&checked.document, &study).is_ok());
        }
        for fault in &checked.faults {
            let field = fault.field.as_deref().unwrap();
            let spot = find(field).unwrap();
            prop_assert_eq!(spot.step(), fault.step);
            prop_assert!(typed.steps().contains(&fault.step), "{:?}", fault);
        }
    }

    #[test]
    fn what_the_form_makes_it_reads_back(pairs in any_entries()) {
        let study = study();
        let typed = Entries::of(pairs.iter().map(|(name, text)| (name.as_str(), text.as_str())));
        let (made, _) = document(&typed, &study);
        if let Some(back) = entries(&made, &study) {
            prop_assert_eq!(document(&back, &study).0, made);
        }
    }
}
