//! What catalogues ask of a release.
//!
//! [`datacite`] has the property names of the DataCite Metadata Schema 4.6 in their JSON form. Its
//! mandatory properties are Identifier, Creator, Title, Publisher, `PublicationYear` and `ResourceType`
//! (DataCite Metadata Schema documentation, "Overview", table 1). DataCite's own identifier is a
//! DOI, which only its members register: here the permanent address stands, as `URL`, until a host
//! has a DOI made for it.
//!
//! [`data_set`] is schema.org's `Dataset`. What searches for data sets require of it is `name`
//! and `description` of 50 to 5000 characters; `creator`, `identifier`, `license`, `url`, `version`,
//! `distribution` and `variableMeasured` are recommended (Google Search Central, "Dataset
//! structured data").

use crate::findings::labels::{class_label, outcome_label, unit_words};
use crate::numbers;
use crate::release::{Release, ReleaseKind, file_name};
use serde_json::{Map, Value, json};

/// The kind of resource in words of our own.
const RESOURCE_TYPE: &str = "Pooled differences between paired sessions, with anonymised rows";

/// The release as DataCite describes a data set.
#[must_use]
pub fn datacite(release: &Release) -> Value {
    let publisher = &release.terms.publisher;
    let mut rights = Map::new();
    rights.insert("rights".to_owned(), json!(release.terms.licence_name));
    if let Some(url) = &release.terms.licence_url {
        rights.insert("rightsUri".to_owned(), json!(url));
    }
    json!({
        "identifiers": [{"identifier": release.address, "identifierType": "URL"}],
        "creators": [{"name": publisher}],
        "titles": [{"title": release.title()}],
        "publisher": {"name": publisher},
        "publicationYear": release.year(),
        "types": {"resourceType": RESOURCE_TYPE, "resourceTypeGeneral": "Dataset"},
        "dates": [{"date": release.date(), "dateType": "Issued"}],
        "language": "en",
        "relatedIdentifiers": related(release),
        "formats": ["application/json"],
        "version": release.number.to_string(),
        "rightsList": [rights],
        "descriptions": [{"description": description(release), "descriptionType": "Abstract"}],
        "schemaVersion": "http://datacite.org/schema/kernel-4",
    })
}

/// The same for people to copy, in lines.
#[must_use]
pub fn datacite_text(release: &Release) -> String {
    format!("{:#}", datacite(release))
}

/// The release before: this one is a new edition of it, and a correction replaces it.
fn related(release: &Release) -> Vec<Value> {
    let Some(before) = release.supersedes() else {
        return Vec::new();
    };
    let relation = |kind: &str| {
        json!({
            "relatedIdentifier": release.address_of(before),
            "relatedIdentifierType": "URL",
            "relationType": kind,
        })
    };
    let mut related = vec![relation("IsNewVersionOf")];
    if release.kind == ReleaseKind::Correction {
        related.push(relation("Obsoletes"));
    }
    related
}

fn description(release: &Release) -> String {
    let label = &release.publication.study;
    let players = u64::try_from(release.players()).unwrap_or(u64::MAX);
    let invented = if label.invented {
        format!(" {}", crate::wire::INVENTED_NOTICE)
    } else {
        String::new()
    };
    format!(
        "{} Paired sessions of {} who chose to take part and agreed to an anonymised row, with the same frame and string strung looser and tighter, pooled by tension gap in a random-effects meta-analysis. Release {} of protocol version {}: rows, every analysis, and what was said of it. Every analysis can be made again from the rows.{invented}",
        label.question,
        numbers::counted(players, "player", "players"),
        release.number,
        release.publication.protocol_version,
    )
}

/// The release as schema.org describes a data set, with the SHA-256 of its document, fit to stand
/// inside a `script` element of a page: nothing in it can end that element.
#[must_use]
pub fn data_set(release: &Release, sha256: &str) -> String {
    let slug = &release.publication.study.slug;
    let (base, _) = release.address.split_once("/studies/").unwrap_or_default();
    let file = file_name(slug, release.number);
    let number = release.number;
    // schema.org wants to know whether a person or an organisation publishes. A host is asked for
    // a name alone; whoever publishes releases acts as the latter.
    let publisher = json!({"@type": "Organization", "name": release.terms.publisher});
    let mut entry = json!({
        "@context": "https://schema.org",
        "@type": "Dataset",
        "name": format!("{} Release {number}", release.title()),
        "description": description(release),
        "url": release.address,
        "identifier": release.address,
        "version": number.to_string(),
        "datePublished": release.date(),
        "inLanguage": "en",
        "isAccessibleForFree": true,
        "creator": publisher,
        "publisher": publisher,
        "creditText": release.citation(),
        "variableMeasured": variables(release),
        "distribution": [{
            "@type": "DataDownload",
            "name": file,
            "encodingFormat": "application/json",
            "contentUrl": format!("{base}/api/v1/studies/{slug}/releases/{number}"),
            "sha256": sha256,
        }],
    });
    if let (Some(entry), Some(url)) = (entry.as_object_mut(), &release.terms.licence_url) {
        entry.insert("license".to_owned(), json!(url));
    }
    for_script(&entry.to_string())
}

fn variables(release: &Release) -> Vec<Value> {
    let primary = release.publication.rules.primary.iter();
    primary
        .map(|primary| {
            json!({
                "@type": "PropertyValue",
                "name": format!(
                    "{}, {}, looser minus tighter",
                    outcome_label(primary.outcome),
                    class_label(primary.class)
                ),
                "unitText": unit_words(primary.outcome),
            })
        })
        .collect()
}

/// JSON whose texts have no character that HTML reads inside a `script` element.
fn for_script(json: &str) -> String {
    json.replace('<', "\\u003c")
        .replace('>', "\\u003e")
        .replace('&', "\\u0026")
}
