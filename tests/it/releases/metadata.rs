//! What catalogues ask of a release.

use super::{NEXT, document, players, release, service};
use crate::harness::STUDY;
use data_encoding::HEXLOWER;
use serde_json::{Value, json};
use tautpool::service::Wanted;
use tautpool::wire::release::data_set;

/// Mandatory properties of the DataCite Metadata Schema 4.6 in their JSON form: Identifier, Creator,
/// Title, Publisher, `PublicationYear` and `ResourceType` (DataCite Metadata Schema documentation,
/// "Overview", table 1), and what names the schema.
const MANDATORY: [&str; 7] = [
    "identifiers",
    "creators",
    "titles",
    "publisher",
    "publicationYear",
    "types",
    "schemaVersion",
];

#[test]
fn metadata_has_what_datacite_asks_and_its_words() {
    let service = service();
    players(&service, 0, 10);
    release(&service, &NEXT).unwrap();
    let first = document(&service, 1)["metadata"].clone();
    for name in MANDATORY {
        let part = &first[name];
        assert!(!part.is_null() && *part != json!([]), "{name}");
    }
    let address = "https://pool.example/studies/demo-of-the-corpus/releases/1";
    assert_eq!(first["identifiers"][0]["identifier"], address);
    assert_eq!(first["identifiers"][0]["identifierType"], "URL");
    assert_eq!(first["publicationYear"], "2027");
    assert_eq!(first["types"]["resourceTypeGeneral"], "Dataset");
    assert_eq!(
        first["dates"],
        json!([{"date": "2027-01-16", "dateType": "Issued"}])
    );
    assert_eq!(first["relatedIdentifiers"], json!([]));
    assert_eq!(first["rightsList"][0]["rights"], "CC0-1.0");
    let abstract_ = first["descriptions"][0]["description"].as_str().unwrap();
    assert!(abstract_.contains("Invented data"), "{abstract_}");

    let correction = Wanted {
        correction: Some("a slip"),
        ..NEXT
    };
    release(&service, &correction).unwrap();
    let related = &document(&service, 2)["metadata"]["relatedIdentifiers"];
    let relations: Vec<&str> = related
        .as_array()
        .unwrap()
        .iter()
        .map(|related| {
            assert_eq!(related["relatedIdentifier"], address);
            related["relationType"].as_str().unwrap()
        })
        .collect();
    // DataCite: a new edition that was modified or updated; A replaces B.
    assert_eq!(relations, ["IsNewVersionOf", "Obsoletes"]);
}

#[test]
fn a_citation_stands_in_the_order_that_datacite_prefers() {
    let service = service();
    players(&service, 0, 10);
    release(&service, &NEXT).unwrap();
    // Creator (PublicationYear): Title. Version. Publisher. (resourceTypeGeneral). Identifier
    assert_eq!(
        document(&service, 1)["citation"],
        "An invented host (2027): Does the same player, frame and string hit faster or deeper strung looser than strung tighter? (invented data). Release 1. An invented host. (Dataset). https://pool.example/studies/demo-of-the-corpus/releases/1"
    );
}

#[test]
fn searches_for_data_sets_find_what_they_require() {
    let service = service();
    players(&service, 0, 10);
    release(&service, &NEXT).unwrap();
    let mut frozen = service.frozen(STUDY, 1).unwrap().unwrap().release.clone();
    let sha256 = HEXLOWER.encode(&[7; 32]);
    let entry: Value = serde_json::from_str(&data_set(&frozen, &sha256)).unwrap();
    assert_eq!(entry["@context"], "https://schema.org");
    assert_eq!(entry["@type"], "Dataset");
    // Required by Google Search Central, "Dataset structured data": name, and a description of 50
    // to 5000 characters.
    assert!(!entry["name"].as_str().unwrap().is_empty());
    let length = entry["description"].as_str().unwrap().chars().count();
    assert!((50..=5000).contains(&length), "{length}");
    // Recommended there.
    for name in [
        "creator",
        "identifier",
        "isAccessibleForFree",
        "license",
        "url",
        "variableMeasured",
        "version",
    ] {
        assert!(!entry[name].is_null(), "{name}");
    }
    let download = &entry["distribution"][0];
    assert_eq!(download["encodingFormat"], "application/json");
    assert_eq!(download["sha256"], sha256);
    assert_eq!(
        download["contentUrl"],
        "https://pool.example/api/v1/studies/demo-of-the-corpus/releases/1"
    );
    // Nothing that a host writes can end the element it stands in.
    frozen.terms.publisher = "</script><b> & \u{2028}".to_owned();
    let text = data_set(&frozen, &sha256);
    assert!(!text.contains(['<', '>', '&']), "{text}");
    let entry: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(entry["publisher"]["name"], frozen.terms.publisher);
}
