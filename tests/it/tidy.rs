//! The house rules as code. Every rule says why it is there and what to mend, and every checker
//! is itself tested on made-up text.
//!
//! - `modules`: who may know what;
//! - `columns`: what of the database may become public;
//! - `texts`: what no file may hold;
//! - here: the top level, schemas, options and fixtures.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test stops at what it did not expect"
)]

mod columns;
mod modules;
mod source;
mod texts;

use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use tautpool::intake::schema::Schema;

/// The whole top level: a newcomer sees at a glance where things are.
const TOP_LEVEL: &[&str] = &[
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "deploy",
    "fixtures",
    "schema",
    "src",
    "tests",
];

/// A text file with its path below the root.
struct Text {
    path: String,
    text: String,
}

impl Text {
    fn new(path: &str, text: &str) -> Self {
        Self {
            path: path.to_owned(),
            text: text.to_owned(),
        }
    }
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Fails with every fault at once.
fn none(faults: &[String]) {
    assert!(faults.is_empty(), "to mend:\n  {}", faults.join("\n  "));
}

/// Every text file below a folder, hidden files too; not what git and cargo keep for themselves.
fn texts_under(folder: &str) -> Vec<Text> {
    let mut texts = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let below = path
                .strip_prefix(root())
                .unwrap()
                .to_str()
                .unwrap()
                .to_owned();
            let name = path.file_name().unwrap().to_str().unwrap();
            let kept_elsewhere = ["target", ".git", "venv", "__pycache__"].contains(&name);
            if path.is_dir() && !kept_elsewhere {
                folders.push(path);
            } else if path.is_file()
                && let Ok(text) = fs::read_to_string(&path)
            {
                texts.push(Text { path: below, text });
            }
        }
    }
    texts.sort_by(|a, b| a.path.cmp(&b.path));
    texts
}

fn rust_under(folder: &str) -> Vec<Text> {
    let mut files = texts_under(folder);
    files.retain(|file| file.path.ends_with(".rs") && !is_test_module(&file.path));
    assert!(!files.is_empty(), "no Rust under {folder}");
    files
}

/// Unit tests that have a file or a folder of their own.
fn is_test_module(path: &str) -> bool {
    path.starts_with("src/") && (path.ends_with("/tests.rs") || path.contains("/tests/"))
}

fn wrong_top_level<'a>(names: impl IntoIterator<Item = &'a str>) -> Vec<String> {
    let found: BTreeSet<&str> = names
        .into_iter()
        .filter(|name| !name.starts_with('.') && *name != "target")
        .collect();
    let wanted: BTreeSet<&str> = TOP_LEVEL.iter().copied().collect();
    let extra = found
        .difference(&wanted)
        .map(|name| format!("{name}: move it into a folder"));
    let absent = wanted
        .difference(&found)
        .map(|name| format!("{name}: write it"));
    extra.chain(absent).collect()
}

fn schema_faults(name: &str, text: &str, listed: &[&str]) -> Vec<String> {
    const DIALECT: &str = "https://json-schema.org/draft/2020-12/schema";
    let Ok(schema) = serde_json::from_str::<Value>(text) else {
        return vec![format!("{name}: it is not JSON")];
    };
    let has_text = |field: &str| schema[field].as_str().is_some_and(|text| !text.is_empty());
    let rules = [
        (
            schema["$schema"] == DIALECT,
            "declare `$schema` 2020-12, so that tools read it alike",
        ),
        (
            has_text("$id"),
            "give it an `$id`, so that others can refer to it",
        ),
        (
            has_text("title"),
            "give it a `title`, so that readers know what it is",
        ),
        (
            listed.contains(&name),
            "list it in Schema::ALL, so that the server publishes it",
        ),
    ];
    rules
        .iter()
        .filter(|(holds, _)| !holds)
        .map(|(_, what)| format!("schema/{name}: {what}"))
        .collect()
}

/// Every environment variable that a text names.
fn variables(text: &str) -> BTreeSet<String> {
    let prefix = "TAUTPOOL_";
    let is_part = |c: &char| c.is_ascii_uppercase() || c.is_ascii_digit() || *c == '_';
    text.match_indices(prefix)
        .map(|(place, _)| {
            text[place..]
                .chars()
                .take_while(is_part)
                .collect::<String>()
        })
        .filter(|name| prefix.len() < name.len())
        .collect()
}

fn undocumented(sources: &str, readme: &str) -> Vec<String> {
    let documented = variables(readme);
    variables(sources)
        .difference(&documented)
        .map(|name| format!("{name}: name it in README.md, where a host looks for it"))
        .collect()
}

fn unused_references(names: &[String], tests: &[Text]) -> Vec<String> {
    let used = |name: &String| {
        tests
            .iter()
            .any(|file| file.text.contains(&format!("\"{name}\"")))
    };
    names
        .iter()
        .filter(|name| !used(name))
        .map(|name| format!("fixtures/reference/{name}: no test compares with it; write one"))
        .collect()
}

#[test]
fn the_top_level_has_nothing_else() {
    let names: Vec<String> = fs::read_dir(root())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    none(&wrong_top_level(names.iter().map(String::as_str)));
}

#[test]
fn every_schema_says_what_it_is_and_is_published() {
    let listed: Vec<&str> = Schema::ALL
        .iter()
        .map(|schema| schema.file_name())
        .collect();
    let mut faults = Vec::new();
    let mut identifiers = BTreeSet::new();
    for file in texts_under("schema") {
        let name = Path::new(&file.path).file_name().unwrap().to_str().unwrap();
        // What is made from the schemas: the description of the data interface.
        if name == "openapi.json" {
            continue;
        }
        faults.extend(schema_faults(name, &file.text, &listed));
        let schema: Value = serde_json::from_str(&file.text).unwrap();
        if !schema["$id"].is_null() && !identifiers.insert(schema["$id"].to_string()) {
            faults.push(format!(
                "schema/{name}: another schema has this `$id`; give it its own"
            ));
        }
    }
    none(&faults);
}

#[test]
fn every_environment_variable_is_documented() {
    let mut sources = texts_under("src/cli");
    sources.extend(
        texts_under("src")
            .into_iter()
            .filter(|file| file.path == "src/cli.rs"),
    );
    let sources: String = sources.iter().map(|file| file.text.as_str()).collect();
    assert!(
        5 <= variables(&sources).len(),
        "options have environment variables"
    );
    let readme = fs::read_to_string(root().join("README.md")).unwrap_or_default();
    none(&undocumented(&sources, &readme));
}

#[test]
fn every_reference_is_compared_with() {
    let names: Vec<String> = texts_under("fixtures/reference")
        .iter()
        .filter_map(|file| file.path.strip_prefix("fixtures/reference/"))
        .filter(|name| name.ends_with(".json"))
        .map(str::to_owned)
        .collect();
    assert!(5 <= names.len(), "{names:?}");
    // The tests of the rules themselves compare with nothing.
    let mut tests = texts_under("tests");
    tests.retain(|file| !file.path.starts_with("tests/it/tidy"));
    none(&unused_references(&names, &tests));
}

#[test]
fn every_rule_here_can_fail() {
    assert_eq!(
        wrong_top_level(TOP_LEVEL.iter().copied().chain([".ci", "target"])).len(),
        0
    );
    assert_eq!(
        wrong_top_level(TOP_LEVEL.iter().copied().chain(["notes.txt"])).len(),
        1
    );
    assert_eq!(wrong_top_level(TOP_LEVEL.iter().copied().skip(1)).len(), 1);

    let schema = |text: &str| schema_faults("a.json", text, &["a.json"]).len();
    let dialect = r#""$schema": "https://json-schema.org/draft/2020-12/schema""#;
    assert_eq!(
        schema(&format!(r#"{{{dialect}, "$id": "/a", "title": "A"}}"#)),
        0
    );
    assert_eq!(schema(&format!(r#"{{{dialect}, "$id": "/a"}}"#)), 1);
    assert_eq!(schema(r#"{"$id": "/a", "title": "A"}"#), 1);
    assert_eq!(schema("{"), 1);
    assert_eq!(schema_faults("b.json", "{}", &["a.json"]).len(), 4);

    let sources = "env = \"TAUTPOOL_A\" and TAUTPOOL_B2; the prefix TAUTPOOL_ alone";
    assert_eq!(
        undocumented(sources, "`TAUTPOOL_A`, `TAUTPOOL_B2`").len(),
        0
    );
    assert_eq!(
        undocumented(sources, "`TAUTPOOL_AB`, `TAUTPOOL_B2`").len(),
        1
    );

    let tests = [Text::new("tests/a.rs", "reference(\"a.json\")")];
    let names = ["a.json", "b.json"].map(str::to_owned);
    assert_eq!(unused_references(&names, &tests).len(), 1);
}
