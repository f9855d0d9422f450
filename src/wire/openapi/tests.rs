//! The document by itself: every reference leads somewhere, and embedded schemas are those of the
//! files.

use super::*;
use crate::intake::schema::Schema;
use std::collections::BTreeSet;

fn made() -> Value {
    // Which status a kind has is said elsewhere; here each has one of its own.
    document(|kind| {
        let place = ProblemKind::ALL.iter().position(|known| *known == kind);
        400 + u16::try_from(place.unwrap()).unwrap()
    })
}

fn references<'a>(part: &'a Value, found: &mut Vec<&'a str>) {
    match part {
        Value::Object(fields) => {
            for (name, value) in fields {
                match value {
                    Value::String(target) if name == "$ref" => found.push(target),
                    value => references(value, found),
                }
            }
        }
        Value::Array(items) => items.iter().for_each(|item| references(item, found)),
        _ => {}
    }
}

#[test]
fn every_reference_leads_to_a_place_in_the_document() {
    let document = made();
    let mut found = Vec::new();
    references(&document, &mut found);
    assert!(500 < found.len());
    for target in found {
        let pointer = target.strip_prefix('#').unwrap();
        assert!(document.pointer(pointer).is_some(), "{target}");
    }
}

#[test]
fn embedded_schemas_differ_from_the_files_in_their_references_alone() {
    fn same(embedded: &Value, file: &Value, at: &str) {
        match (embedded, file) {
            (Value::Object(here), Value::Object(there)) => {
                let names: BTreeSet<&String> = here.keys().chain(there.keys()).collect();
                for name in names {
                    let at = format!("{at}/{name}");
                    match (here.get(name), there.get(name)) {
                        (None, Some(_)) => assert!(["/$schema", "/$id"].contains(&at.as_str())),
                        (Some(Value::String(place)), Some(Value::String(target)))
                            if name == "$ref" =>
                        {
                            let pointer = target.split_once('#').map_or("", |(_, pointer)| pointer);
                            assert!(place.ends_with(pointer), "{at}");
                        }
                        (Some(here), Some(there)) => same(here, there, &at),
                        (here, None) => assert!(here.is_none(), "{at}"),
                    }
                }
            }
            (Value::Array(here), Value::Array(there)) => {
                assert_eq!(here.len(), there.len(), "{at}");
                for (here, there) in here.iter().zip(there) {
                    same(here, there, at);
                }
            }
            (here, there) => assert_eq!(here, there, "{at}"),
        }
    }
    let document = made();
    let embedded = document["components"]["schemas"].as_object().unwrap();
    for (name, text) in embedded {
        let file = format!("{name}.v1.schema.json");
        let schema = Schema::ALL.iter().find(|known| known.file_name() == file);
        let file: Value = serde_json::from_str(schema.unwrap().text()).unwrap();
        same(text, &file, "");
    }
    // Those of the host's own documents and of forms are not part of the interface, but a study is
    // part of a release.
    assert_eq!(embedded.len() + 1, Schema::ALL.len());
    assert!(embedded.contains_key("study"));
    assert!(!embedded.contains_key("form_check"));
}

#[test]
fn identifiers_are_there_once_and_parameters_are_those_of_the_address() {
    let mut identifiers = BTreeSet::new();
    for operation in operations() {
        assert!(identifiers.insert(operation.id), "{}", operation.id);
        assert!(TAGS.iter().any(|(name, _)| *name == operation.tag));
        let names = operation.path.split('{').skip(1);
        let names: Vec<&str> = names.filter_map(|rest| rest.split('}').next()).collect();
        let given = operation.parameters.iter().map(|one| one.place());
        let given = given.filter(|(place, _)| *place == "path");
        let given: Vec<&str> = given.map(|(_, name)| name).collect();
        assert_eq!(given, names, "{}", operation.id);
    }
}

#[test]
fn the_outline_tells_every_operation_with_a_command() {
    let outline = outline(&made());
    let told = outline.groups.iter().map(|group| group.operations.len());
    assert_eq!(told.sum::<usize>(), operations().len());
    let all = outline.groups.iter().flat_map(|group| &group.operations);
    let command = |id: &str| {
        let mut all = all.clone();
        all.find(|operation| operation.id == id)
            .unwrap()
            .command
            .clone()
    };
    assert_eq!(
        command("readRelease"),
        "curl -s \"$POOL/api/v1/studies/${STUDY}/releases/${NUMBER}\""
    );
    assert_eq!(
        command("mendContribution"),
        "curl -s -X PUT -H \"Authorization: Receipt $RECEIPT\" -H 'Content-Type: application/json' --data @contribution.json \"$POOL/api/v1/studies/${STUDY}/contributions/${CONTRIBUTION}?reason=typing_mistake\""
    );
    for operation in all {
        assert!(!operation.words.is_empty() && !operation.summary.is_empty());
        assert!(
            operation.answers.len() >= 3 || ["health", "ready"].contains(&operation.id.as_str())
        );
    }
}
