//! Laws that hold for every document at the door, on documents drawn at random from fixed seeds.

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod pairs;

use crate::corpus::{study, valid_documents};
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::{Index, select};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use serde_json::{Map, Value, json};
use std::hash::{DefaultHasher, Hash, Hasher};
use tautpool::intake::schema::Schema;
use tautpool::intake::{self, Admitted, FaultCode, Rejection};
use tautpool::protocol::Study;

/// The same cases on every run.
fn runner(cases: u32) -> TestRunner {
    let config = Config {
        cases,
        failure_persistence: None,
        ..Config::default()
    };
    TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha))
}

fn verdict(document: &Value, study: &Study) -> Result<Admitted, Rejection> {
    intake::contribution(document.to_string().as_bytes(), study)
}

/// The corpus without its one very large document, as values.
fn valid_values() -> Vec<Value> {
    valid_documents()
        .into_iter()
        .map(|(_, bytes)| serde_json::from_slice(&bytes).unwrap())
        .filter(|document| places_in(document).len() < 500)
        .collect()
}

// Bytes.

#[test]
fn arbitrary_bytes_never_panic() {
    let study = study();
    runner(500)
        .run(&vec(any::<u8>(), 0..300), |bytes| {
            let rejection = intake::contribution(&bytes, &study).unwrap_err();
            prop_assert!(!rejection.faults.is_empty());
            Ok(())
        })
        .unwrap();
}

#[test]
fn damaged_documents_never_panic() {
    let study = study();
    let texts: Vec<Vec<u8>> = valid_values()
        .iter()
        .map(|document| document.to_string().into_bytes())
        .collect();
    let damages = vec((any::<Index>(), any::<u8>()), 1..5);
    let strategy = (select(texts), damages, any::<Index>(), any::<bool>());
    runner(500)
        .run(&strategy, |(mut bytes, damages, end, cut)| {
            for (at, byte) in damages {
                let place = at.index(bytes.len());
                bytes[place] = byte;
            }
            if cut {
                bytes.truncate(end.index(bytes.len()));
            }
            if let Err(rejection) = intake::contribution(&bytes, &study) {
                prop_assert!(!rejection.faults.is_empty());
            }
            Ok(())
        })
        .unwrap();
}

// Values.

/// The name of every field that the contribution's schema knows.
pub(crate) fn field_names() -> Vec<String> {
    fn collect(part: &Value, names: &mut Vec<String>) {
        if let Some(fields) = part.get("properties").and_then(Value::as_object) {
            names.extend(fields.keys().cloned());
        }
        let inner: Vec<&Value> = match part {
            Value::Object(fields) => fields.values().collect(),
            Value::Array(items) => items.iter().collect(),
            _ => Vec::new(),
        };
        for part in inner {
            collect(part, names);
        }
    }
    let mut names = Vec::new();
    let text = serde_json::from_str(Schema::Contribution.text()).unwrap();
    collect(&text, &mut names);
    names.sort();
    names.dedup();
    names
}

fn any_key() -> impl Strategy<Value = String> + Clone {
    let own = prop_oneof![Just("a/b~1".to_owned()), "[ -~éж\n]{0,6}"];
    prop_oneof![8 => select(field_names()), 1 => own]
}

fn any_value() -> impl Strategy<Value = Value> + Clone {
    const WORDS: &str = "looser tighter lb kg km/h mph forehand serve all in hit count percent \
                         unknown demo-of-the-corpus 1";
    let words: Vec<&str> = WORDS.split(' ').chain([""]).collect();
    let numbers = prop_oneof![
        any::<i64>().prop_map(|number| json!(number)),
        any::<u64>().prop_map(|number| json!(number)),
        any::<f64>().prop_map(|number| json!(number)),
        (-100..12_000_i64).prop_map(|number| json!(number)),
        (-100..40_000_i32).prop_map(|number| json!(f64::from(number) / 100.0)),
    ];
    let leaf = prop_oneof![
        1 => Just(Value::Null),
        1 => any::<bool>().prop_map(Value::Bool),
        4 => numbers,
        4 => select(words).prop_map(|word| json!(word)),
        1 => "\\PC{0,90}".prop_map(Value::String),
    ];
    leaf.prop_recursive(5, 60, 8, |inner| {
        prop_oneof![
            vec(inner.clone(), 0..6).prop_map(Value::Array),
            vec((any_key(), inner), 0..8)
                .prop_map(|fields| Value::Object(fields.into_iter().collect())),
        ]
    })
}

/// RFC 6901: empty, or tokens that each begin with a slash, with `~` only as `~0` or `~1`.
pub(crate) fn is_well_formed(pointer: &str) -> bool {
    let rooted = pointer.is_empty() || pointer.starts_with('/');
    let mut after_tilde = pointer.split('~').skip(1);
    rooted && after_tilde.all(|rest| rest.starts_with(['0', '1']))
}

/// The place above and the last token.
fn split(pointer: &str) -> Option<(&str, String)> {
    let (parent, token) = pointer.rsplit_once('/')?;
    Some((parent, token.replace("~1", "/").replace("~0", "~")))
}

/// Whether a pointer names a place in a document or a field that an object in it lacks.
pub(crate) fn leads_somewhere(pointer: &str, document: &Value) -> bool {
    let lacking = || {
        let (parent, _) = split(pointer)?;
        document.pointer(parent)?.as_object()
    };
    document.pointer(pointer).is_some() || lacking().is_some()
}

fn assert_pointers(document: &Value, study: &Study) -> Result<(), TestCaseError> {
    if let Err(rejection) = verdict(document, study) {
        prop_assert!(!rejection.faults.is_empty());
        for fault in rejection.faults {
            prop_assert!(is_well_formed(&fault.pointer), "{fault:?}");
            prop_assert!(leads_somewhere(&fault.pointer, document), "{fault:?}");
            prop_assert!(fault.code != FaultCode::Unreadable, "{fault:?}");
        }
    }
    Ok(())
}

#[test]
fn arbitrary_values_get_pointers_that_lead_somewhere() {
    let study = study();
    runner(400)
        .run(&any_value(), |document| assert_pointers(&document, &study))
        .unwrap();
}

#[test]
fn documents_with_arbitrary_parts_get_pointers_that_lead_somewhere() {
    let study = study();
    let parts = vec((any::<Index>(), any_value()), 1..5);
    runner(400)
        .run(&(select(valid_values()), parts), |(mut document, parts)| {
            for (at, value) in parts {
                let places = places_in(&document);
                if !places.is_empty() {
                    let place = document.pointer_mut(picked(&places, at)).unwrap();
                    *place = value;
                }
            }
            assert_pointers(&document, &study)
        })
        .unwrap();
}

// One mutation.

/// Every place below the root, as pointers.
fn places_in(document: &Value) -> Vec<String> {
    fn collect(pointer: &str, part: &Value, places: &mut Vec<String>) {
        let inner: Vec<(String, &Value)> = match part {
            Value::Object(fields) => fields
                .iter()
                .map(|(key, value)| (key.replace('~', "~0").replace('/', "~1"), value))
                .collect(),
            Value::Array(items) => (0..)
                .map(|place: usize| place.to_string())
                .zip(items)
                .collect(),
            _ => Vec::new(),
        };
        for (token, value) in inner {
            let pointer = format!("{pointer}/{token}");
            collect(&pointer, value, places);
            places.push(pointer);
        }
    }
    let mut places = Vec::new();
    collect("", document, &mut places);
    places
}

fn picked(places: &[String], at: Index) -> &str {
    &places[at.index(places.len())]
}

#[derive(Clone, Debug)]
enum Mutation {
    Drop,
    Become(Value),
    Rename(String),
}

fn any_mutation() -> impl Strategy<Value = Mutation> {
    let types = vec![
        json!(null),
        json!(true),
        json!("x"),
        json!(7),
        json!([]),
        json!({}),
    ];
    prop_oneof![
        Just(Mutation::Drop),
        select(types).prop_map(Mutation::Become),
        (-1_000..50_000_i32).prop_map(|number| Mutation::Become(json!(f64::from(number) / 100.0))),
        (-2..200_i32).prop_map(|number| Mutation::Become(json!(number))),
        any::<f64>().prop_map(|number| Mutation::Become(json!(number))),
        any_key().prop_map(Mutation::Rename),
    ]
}

/// Applies a mutation; an item of a list has no name, so it is dropped instead. Answers where
/// the field went when it was renamed.
fn mutate(document: &mut Value, pointer: &str, mutation: Mutation) -> Option<String> {
    if let Mutation::Become(value) = mutation {
        *document.pointer_mut(pointer).unwrap() = value;
        return None;
    }
    let (parent, token) = split(pointer).unwrap();
    match (document.pointer_mut(parent).unwrap(), mutation) {
        (Value::Array(items), _) => {
            items.remove(token.parse().unwrap());
        }
        (Value::Object(fields), Mutation::Rename(name)) => {
            let value = fields.shift_remove(&token).unwrap();
            let escaped = name.replace('~', "~0").replace('/', "~1");
            fields.insert(name, value);
            return Some(format!("{parent}/{escaped}"));
        }
        (Value::Object(fields), _) => {
            fields.shift_remove(&token);
        }
        _ => unreachable!("the parent of a place is a list or an object"),
    }
    None
}

/// Whether a fault is plausibly about the mutated place: at it, inside it, directly above it,
/// beside it in the same object, or under a rule that spans it.
fn concerns(pointer: &str, code: FaultCode, mutated: &str) -> bool {
    let parent = |pointer: &str| split(pointer).map(|(parent, _)| parent.to_owned());
    let inside = pointer == mutated || pointer.starts_with(&format!("{mutated}/"));
    let above = parent(mutated).as_deref() == Some(pointer);
    let beside = parent(pointer) == parent(mutated);
    let both_in = |depth: usize| {
        let start = |pointer: &str| {
            let tokens: Vec<String> = pointer
                .split('/')
                .take(depth + 1)
                .map(str::to_owned)
                .collect();
            (tokens.len() == depth + 1).then_some(tokens)
        };
        start(pointer).is_some() && start(pointer) == start(mutated)
    };
    let spanned = match code {
        FaultCode::ArmMissing
        | FaultCode::ArmTensionDiffers
        | FaultCode::LooserNotLooser
        | FaultCode::OrderRepeated
        | FaultCode::NothingToCompare
        | FaultCode::SpeedsFarApart
        | FaultCode::SpeedOverDiffers => both_in(1),
        FaultCode::ClassRepeated
        | FaultCode::TensionOutOfBounds
        | FaultCode::SpinSum
        | FaultCode::NotWhole
        | FaultCode::AboveMoreThanPlayed
        | FaultCode::InMoreThanHit
        | FaultCode::DeepMoreThanIn
        | FaultCode::MaxBelowMean
        | FaultCode::TimedMoreThanHit
        | FaultCode::SpeedOutOfBounds => both_in(2),
        FaultCode::TemperatureOutOfBounds | FaultCode::MassDifferenceOfOneFrame => both_in(1),
        _ => false,
    };
    inside || above || beside || spanned
}

#[test]
fn one_mutation_is_named_where_it_is() {
    let study = study();
    let strategy = (select(valid_values()), any::<Index>(), any_mutation());
    runner(1_500)
        .run(&strategy, |(mut document, at, mutation)| {
            let places = places_in(&document);
            let mutated = picked(&places, at);
            let renamed = mutate(&mut document, mutated, mutation);
            let places = [mutated, renamed.as_deref().unwrap_or(mutated)];
            if let Err(rejection) = verdict(&document, &study) {
                for fault in rejection.faults {
                    let concerned = places
                        .iter()
                        .any(|place| concerns(&fault.pointer, fault.code, place));
                    prop_assert!(concerned, "{fault:?} for a change at {places:?}");
                }
            }
            Ok(())
        })
        .unwrap();
}

/// The same document with the fields of every object in another order.
fn reordered(part: &Value, seed: u64) -> Value {
    let rank = |key: &str| {
        let mut hasher = DefaultHasher::new();
        (seed, key).hash(&mut hasher);
        hasher.finish()
    };
    match part {
        Value::Object(fields) => {
            let mut fields: Vec<(&String, &Value)> = fields.iter().collect();
            fields.sort_by_key(|(key, _)| rank(key));
            let fields = fields
                .into_iter()
                .map(|(key, value)| (key.clone(), reordered(value, seed)));
            Value::Object(fields.collect::<Map<_, _>>())
        }
        Value::Array(items) => items.iter().map(|item| reordered(item, seed)).collect(),
        other => other.clone(),
    }
}

#[test]
fn the_order_of_fields_changes_nothing() {
    let study = study();
    let mutations = vec((any::<Index>(), any_mutation()), 0..4);
    let strategy = (select(valid_values()), mutations, any::<u64>());
    runner(500)
        .run(&strategy, |(mut document, mutations, seed)| {
            for (at, mutation) in mutations {
                let places = places_in(&document);
                if !places.is_empty() {
                    mutate(&mut document, picked(&places, at), mutation);
                }
            }
            let other = reordered(&document, seed);
            prop_assert_eq!(verdict(&document, &study), verdict(&other, &study));
            Ok(())
        })
        .unwrap();
}
