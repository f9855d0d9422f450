//! Which published figures are made again from the rows, and which are taken as they are: both are
//! listed in the documents, and every member is in one of the lists.

use crate::query::public;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use tautpool::findings::Choice;
use tautpool::intake::{self, schema::Schema};
use tautpool::wire::pooled;

/// What a download says that is no figure.
const GIVEN: [&str; 8] = [
    "document",
    "version",
    "study",
    "batch",
    "level",
    "protocol",
    "reproducible",
    "rows",
];

fn places<'a>(document: &'a Value, list: &str) -> Vec<&'a str> {
    let places = document["reproducible"][list].as_array().unwrap().iter();
    places.map(|place| place.as_str().unwrap()).collect()
}

#[test]
fn every_figure_is_listed_and_those_from_rows_are_made_again_bit_for_bit() {
    let public = public();
    let published: Value = serde_json::from_slice(public.pooled.plain().unwrap()).unwrap();
    let download: Value = serde_json::from_slice(public.aggregate.plain().unwrap()).unwrap();
    assert_eq!(published["reproducible"], download["reproducible"]);
    let publication = intake::aggregate(public.aggregate.plain().unwrap()).unwrap();
    let findings = publication.analyse(Choice::default()).unwrap();
    let made = pooled::of_publication(&publication, &findings, &[]);
    let from_rows = places(&download, "from_rows");
    for place in &from_rows {
        // As texts, so that equal means equal to the last bit.
        let [made, published] = [&made, &published].map(|document| {
            let figures = document.pointer(place).unwrap();
            assert!(![json!([]), Value::Null].contains(figures), "{place}");
            figures.to_string()
        });
        assert!(made == published, "{place}");
    }
    let as_they_are = places(&download, "as_they_are");
    let listed: BTreeSet<&str> = from_rows
        .iter()
        .chain(&as_they_are)
        .map(|place| place.split('/').nth(1).unwrap())
        .chain(GIVEN)
        .collect();
    let schema: Value = serde_json::from_str(Schema::Aggregate.text()).unwrap();
    let members = schema["properties"].as_object().unwrap().keys();
    assert_eq!(listed, members.map(String::as_str).collect());
}

/// Whether a document has such a place, a star standing for any place of a list.
pub(crate) fn stands(document: &Value, place: &str) -> bool {
    let Some(place) = place.strip_prefix('/') else {
        return place.is_empty();
    };
    let (name, rest) = place
        .find('/')
        .map_or((place, ""), |end| place.split_at(end));
    match (name, document) {
        ("*", Value::Array(items)) => items.iter().any(|item| stands(item, rest)),
        (name, Value::Object(fields)) => fields.get(name).is_some_and(|part| stands(part, rest)),
        _ => false,
    }
}

#[test]
fn listed_places_are_places_of_the_document() {
    let download: Value = serde_json::from_slice(public().aggregate.plain().unwrap()).unwrap();
    for list in ["from_rows", "as_they_are"] {
        for place in places(&download, list) {
            assert!(stands(&download, place), "{place}");
        }
    }
    assert!(!stands(&download, "/analyses/*/scrutiny/nothing"));
}
