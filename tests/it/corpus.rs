//! The corpus of contributions under `fixtures/contributions/`.
//!
//! Every document of `valid/` is admitted with exactly the flags of its `.flags.json`; every
//! document of `invalid/` is refused with exactly the faults of its `.expected.json`. What is
//! expected was decided from the protocol's rules and not copied from the code's answers.

#![expect(
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use tautpool::intake::schema::Schema;
use tautpool::intake::{self, Admitted, FaultCode, FlagCode, Rejection, RejectionKind};
use tautpool::protocol::Study;
use tautpool::units::{SpeedUnit, TensionUnit};
use tautpool::vocabulary::{
    Arm, ConsentScope, Direction, Knowledge, Outcome, SdDivisor, SpeedOver, StringFamily, Stroke,
};

const CORPUS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/contributions");

/// Pointer and code of what is said of a document.
type Said = Vec<(String, String)>;

/// The study that every document of the corpus addresses.
pub(crate) fn study() -> Study {
    let bytes = fs::read(Path::new(CORPUS).join("study.json")).unwrap();
    intake::study(&bytes).unwrap()
}

/// The bytes of every valid document by name, sorted.
pub(crate) fn valid_documents() -> Vec<(String, Vec<u8>)> {
    documents("valid", ".flags.json")
        .into_iter()
        .map(|document| (document.name, document.bytes))
        .collect()
}

/// The bytes of every invalid document by name, sorted.
pub(crate) fn invalid_documents() -> Vec<(String, Vec<u8>)> {
    documents("invalid", ".expected.json")
        .into_iter()
        .map(|document| (document.name, document.bytes))
        .collect()
}

struct CorpusDocument {
    name: String,
    bytes: Vec<u8>,
    expected: Said,
}

/// Every document of a folder with what is expected of it; a document or an expectation without
/// the other fails.
fn documents(folder: &str, ending: &str) -> Vec<CorpusDocument> {
    let folder = Path::new(CORPUS).join(folder);
    let mut names = BTreeSet::new();
    let mut expectations = BTreeSet::new();
    for entry in fs::read_dir(&folder).unwrap() {
        let file = entry.unwrap().file_name().into_string().unwrap();
        if let Some(name) = file.strip_suffix(ending) {
            expectations.insert(name.to_owned());
        } else if let Some(name) = file.strip_suffix(".json") {
            names.insert(name.to_owned());
        } else {
            panic!("{file} does not belong in {}", folder.display());
        }
    }
    assert_eq!(names, expectations, "orphans in {}", folder.display());
    assert!(!names.is_empty(), "{} is empty", folder.display());
    names
        .into_iter()
        .map(|name| CorpusDocument {
            bytes: fs::read(folder.join(format!("{name}.json"))).unwrap(),
            expected: expected_of(&folder.join(format!("{name}{ending}"))),
            name,
        })
        .collect()
}

fn expected_of(file: &PathBuf) -> Said {
    let rows: Value = serde_json::from_slice(&fs::read(file).unwrap()).unwrap();
    let said: Said = rows
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            assert_eq!(row.as_object().unwrap().len(), 2, "{}", file.display());
            let text = |name: &str| row[name].as_str().unwrap().to_owned();
            (text("pointer"), text("code"))
        })
        .collect();
    assert!(said.is_sorted(), "{} is not sorted", file.display());
    said
}

fn faults_of(rejection: &Rejection) -> Said {
    let mut said: Said = rejection
        .faults
        .iter()
        .map(|fault| (fault.pointer.clone(), fault.code.code().to_owned()))
        .collect();
    said.sort();
    said
}

fn flags_of(admitted: &Admitted) -> Said {
    let mut said: Said = admitted
        .flags
        .iter()
        .map(|flag| (flag.pointer.clone(), flag.code.code().to_owned()))
        .collect();
    said.sort();
    said
}

/// Pointers may be thousands of characters long; a message shows their beginning.
fn shown(said: &Said) -> String {
    let mut text = String::new();
    for (pointer, code) in said {
        let start: String = pointer.chars().take(80).collect();
        writeln!(text, "    {start:?} {code}").unwrap();
    }
    text
}

#[test]
fn every_valid_document_is_admitted_with_its_flags() {
    let study = study();
    let mut report = String::new();
    for document in documents("valid", ".flags.json") {
        let name = &document.name;
        match intake::contribution(&document.bytes, &study) {
            Ok(admitted) if flags_of(&admitted) == document.expected => {}
            Ok(admitted) => {
                let flags = shown(&flags_of(&admitted));
                writeln!(report, "{name} got the flags\n{flags}").unwrap();
            }
            Err(rejection) => {
                let faults = shown(&faults_of(&rejection));
                writeln!(report, "{name} was refused:\n{faults}").unwrap();
            }
        }
    }
    assert!(report.is_empty(), "{report}");
}

#[test]
fn every_invalid_document_gets_exactly_its_faults() {
    let study = study();
    let mut report = String::new();
    for document in documents("invalid", ".expected.json") {
        let name = &document.name;
        match intake::contribution(&document.bytes, &study) {
            Ok(_) => writeln!(report, "{name} was admitted").unwrap(),
            Err(rejection) => {
                let got = faults_of(&rejection);
                if got != document.expected {
                    let (got, expected) = (shown(&got), shown(&document.expected));
                    writeln!(report, "{name} got\n{got}  instead of\n{expected}").unwrap();
                }
                if !rejection.faults.is_sorted() {
                    writeln!(report, "{name}: faults are not sorted by place").unwrap();
                }
            }
        }
    }
    assert!(report.is_empty(), "{report}");
}

#[test]
fn every_code_that_a_contribution_can_get_occurs() {
    // `unreadable` would be a defect; `edges_not_rising` belongs to studies; `against_schema` stands for kinds of schema rule
    // that the contribution's schema does not use. The first two belong to files of single shots.
    // `settled_before` belongs to changes of a study.
    let elsewhere = [
        FaultCode::DiffersInSession,
        FaultCode::OutOfOrder,
        FaultCode::Unreadable,
        FaultCode::EdgesNotRising,
        FaultCode::SettledBefore,
        FaultCode::AgainstSchema,
    ];
    let expected: BTreeSet<&str> = FaultCode::ALL
        .iter()
        .filter(|code| !elsewhere.contains(code))
        .map(|code| code.code())
        .collect();
    let invalid = documents("invalid", ".expected.json");
    assert_eq!(codes(&invalid), expected);

    // Whether a plan is known is not a question of the document alone.
    let expected: BTreeSet<&str> = FlagCode::ALL
        .iter()
        .filter(|code| !code.code().starts_with("plan_"))
        .map(|code| code.code())
        .collect();
    let valid = documents("valid", ".flags.json");
    assert_eq!(codes(&valid), expected);
}

#[test]
fn a_study_that_is_not_for_adults_alone_asks_nobody_for_their_age() {
    let mut study = study();
    assert!(study.protocol.adults_only, "by default");
    study.protocol.adults_only = false;
    let age = FaultCode::AgeNotConfirmed.code();
    let mut n_met = 0;
    for mut document in documents("invalid", ".expected.json") {
        if document.expected.iter().any(|(_, code)| code == age) {
            document.expected.retain(|(_, code)| code != age);
            let rejection = intake::contribution(&document.bytes, &study).err();
            let faults = rejection.as_ref().map(faults_of).unwrap_or_default();
            assert_eq!(faults, document.expected, "{}", document.name);
            n_met += 1;
        }
    }
    assert!(3 <= n_met, "{n_met}");
}

fn codes(documents: &[CorpusDocument]) -> BTreeSet<&str> {
    documents
        .iter()
        .flat_map(|document| &document.expected)
        .map(|(_, code)| code.as_str())
        .collect()
}

/// Codes of a text that is not strict JSON, which no rule has looked at.
const OF_THE_TEXT: [FaultCode; 4] = [
    FaultCode::NotUtf8,
    FaultCode::NotJson,
    FaultCode::TooDeep,
    FaultCode::DuplicateKey,
];

fn is_of_the_text(code: &str) -> bool {
    FaultCode::from_code(code).is_some_and(|code| OF_THE_TEXT.contains(&code))
}

/// Whether a fault with this code comes from the schema alone.
fn is_of_the_schema(code: &str) -> bool {
    matches!(
        FaultCode::from_code(code),
        Some(
            FaultCode::Missing
                | FaultCode::UnknownField
                | FaultCode::WrongType
                | FaultCode::NotInList
                | FaultCode::TooSmall
                | FaultCode::TooLarge
                | FaultCode::TooShort
                | FaultCode::TooLong
                | FaultCode::WrongForm
                | FaultCode::TooFew
                | FaultCode::TooMany
                | FaultCode::SaidTwice
                | FaultCode::AgainstSchema
        )
    )
}

#[test]
fn the_published_schema_alone_agrees_with_the_corpus() {
    // Built from the published text here, so that the door's own validator is not its own judge.
    let text: Value = serde_json::from_str(Schema::Contribution.text()).unwrap();
    let schema = jsonschema::draft202012::new(&text).unwrap();
    for (name, bytes) in valid_documents() {
        let document: Value = serde_json::from_slice(&bytes).unwrap();
        assert!(schema.is_valid(&document), "{name}");
    }
    for document in documents("invalid", ".expected.json") {
        let mut codes = document.expected.iter().map(|(_, code)| code.as_str());
        if codes.clone().any(is_of_the_text) {
            continue;
        }
        let name = &document.name;
        let value: Value = serde_json::from_slice(&document.bytes).unwrap();
        let against_schema = codes.any(is_of_the_schema);
        assert_eq!(!schema.is_valid(&value), against_schema, "{name}");
    }
}

#[test]
fn a_rejection_is_malformed_exactly_when_the_text_is_not_strict_json() {
    let study = study();
    for document in documents("invalid", ".expected.json") {
        let rejection = intake::contribution(&document.bytes, &study).unwrap_err();
        let malformed = rejection.kind == RejectionKind::Malformed;
        for fault in &rejection.faults {
            let name = &document.name;
            assert_eq!(OF_THE_TEXT.contains(&fault.code), malformed, "{name}");
        }
    }
}

#[test]
fn every_sentence_is_one_short_finished_line() {
    let study = study();
    let mut report = String::new();
    let mut check = |name: &str, sentence: &str| {
        let finished = sentence.ends_with(['.', '?']) && !sentence.contains("..");
        let one_line = !sentence.chars().any(char::is_control);
        let short = sentence.chars().count() < 300;
        if sentence.is_empty() || !finished || !one_line || !short {
            let start: String = sentence.chars().take(120).collect();
            writeln!(report, "{name}: {start:?}").unwrap();
        }
    };
    for document in documents("invalid", ".expected.json") {
        for fault in intake::contribution(&document.bytes, &study)
            .unwrap_err()
            .faults
        {
            check(&document.name, &fault.sentence);
        }
    }
    for (name, bytes) in valid_documents() {
        for flag in intake::contribution(&bytes, &study).unwrap().flags {
            check(&name, &flag.sentence);
        }
    }
    assert!(report.is_empty(), "{report}");
}

#[test]
fn every_word_list_of_the_schemas_is_the_one_of_the_code() {
    fn words<T: Copy>(all: &[T], code: impl Fn(T) -> &'static str) -> BTreeSet<&'static str> {
        all.iter().map(|word| code(*word)).collect()
    }
    let lists = BTreeMap::from([
        ("arm", words(Arm::ALL, Arm::code)),
        ("stroke", words(Stroke::ALL, Stroke::code)),
        ("direction", words(Direction::ALL, Direction::code)),
        ("outcome", words(Outcome::PRIMARY, Outcome::code)),
        ("scope", words(ConsentScope::ALL, ConsentScope::code)),
        ("tension_unit", words(TensionUnit::ALL, TensionUnit::code)),
        ("gap_unit", words(TensionUnit::ALL, TensionUnit::code)),
        ("speed_unit", words(SpeedUnit::ALL, SpeedUnit::code)),
        ("sd_divisor", words(SdDivisor::ALL, SdDivisor::code)),
        ("speed_over", words(SpeedOver::ALL, SpeedOver::code)),
        ("knew_tension", words(Knowledge::ALL, Knowledge::code)),
        (
            "string_family",
            words(StringFamily::ALL, StringFamily::code),
        ),
    ]);
    let mut found = BTreeSet::new();
    for schema in [Schema::Contribution, Schema::Study] {
        let text: Value = serde_json::from_str(schema.text()).unwrap();
        let mut enums = Vec::new();
        collect_enums("", &text, &mut enums);
        for (name, options) in enums {
            let Some(list) = lists.get(name) else {
                continue;
            };
            assert_eq!(&options, list, "`{name}` in {}", schema.file_name());
            found.insert(name.to_owned());
        }
    }
    assert!(lists.keys().all(|name| found.contains(*name)), "{found:?}");
}

/// Every `enum` of texts in a schema, with the name of the property or definition it is for.
fn collect_enums<'a>(
    name: &'a str,
    part: &'a Value,
    enums: &mut Vec<(&'a str, BTreeSet<&'a str>)>,
) {
    match part {
        Value::Object(fields) => {
            if let Some(options) = fields.get("enum").and_then(Value::as_array) {
                let texts: Vec<&str> = options.iter().filter_map(Value::as_str).collect();
                let distinct: BTreeSet<&str> = texts.iter().copied().collect();
                assert_eq!(distinct.len(), texts.len(), "`{name}` repeats a word");
                enums.push((name, distinct));
            }
            for (inner, part) in fields {
                collect_enums(inner, part, enums);
            }
        }
        Value::Array(items) => {
            for item in items {
                collect_enums(name, item, enums);
            }
        }
        _ => {}
    }
}
