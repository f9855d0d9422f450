//! Injections that were taken, in everything that is made of them: pages, pictures, documents,
//! tables, the command line, the log.

use super::crawl::Found;
use super::injections::{fitted, injections, put, text_places};
use super::markup::{self, Part};
use super::stage::{Stage, usual_study};
use crate::form::browser::encoded;
use crate::harness::host::Desk;
use crate::harness::{Answer, PUBLIC_URL, STUDY, make_release, run, runs};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::fs;
use tautpool::intake;
use tautpool::intake::schema::Schema;

/// First signs that make spreadsheet programs take a text for a formula.
const FORMULAS: &[char] = &['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];

/// A study whose every text is an injection that its place takes. Another number gives others.
pub(crate) fn hostile_study(number: usize) -> Value {
    let all = injections();
    let mut study = usual_study();
    for (nth, place) in text_places(Schema::Study).iter().enumerate() {
        if place.is_formal {
            continue;
        }
        let mut candidates = (0..all.len()).map(|step| &all[(number + 7 * nth + step) % all.len()]);
        let taken = candidates.find_map(|injection| {
            let mut tried = study.clone();
            put(&mut tried, &place.pointer, &fitted(place, injection));
            let read = intake::study(tried.to_string().as_bytes()).ok()?;
            intake::ready_to_recruit(&read).ok().map(|()| tried)
        });
        study = taken.unwrap_or_else(|| panic!("{} takes nothing", place.pointer));
    }
    study
}

/// A contribution to it with injections for texts.
fn hostile(mut document: Value, study: &Value, number: usize) -> Value {
    let all = injections();
    document["consent"]["text_version"] = study["protocol"]["consent"]["version"].clone();
    document["setup"] = json!({"frame": {"label": one_line(&all, number)}});
    document["note"] = json!(all[(number + 1) % all.len()]);
    document
}

/// The next injection without a line break and no longer than a label.
fn one_line(all: &[String], number: usize) -> String {
    let mut from = (0..all.len()).map(|step| &all[(number + step) % all.len()]);
    let fits = |text: &&String| {
        text.len() < 80 && !text.contains(|sign: char| sign < ' ' || sign == '\u{7f}')
    };
    from.find(fits).unwrap().clone()
}

/// A service full of injections.
pub(crate) fn hostile_stage(number: usize) -> Stage {
    let study = hostile_study(number);
    let all = injections();
    let note = all[number % all.len()].replace(|sign: char| sign < ' ', " ");
    Stage::of(
        &study,
        |document| hostile(document, &study, number),
        &["--note", &note],
    )
}

/// Which elements have which attributes.
fn shapes(found: &[Found]) -> BTreeSet<(String, String)> {
    let shapes = found.iter().flat_map(parts).flat_map(|part| {
        let own = (part.name.clone(), String::new());
        let names = part.attributes.into_iter();
        let attributes: Vec<_> = names.map(|(name, _)| (part.name.clone(), name)).collect();
        attributes.into_iter().chain([own])
    });
    shapes.collect()
}

fn parts(found: &Found) -> Vec<Part> {
    if found.is_page() {
        markup::html(&found.answer.text())
    } else if found.is_picture() {
        markup::svg(&found.answer.text())
    } else {
        Vec::new()
    }
}

fn everything(stage: &Stage) -> Vec<Found> {
    let mut all = stage.seen_by_anybody();
    all.extend(stage.seen_by_the_host());
    all.push(Found {
        path: "the player's own page".to_owned(),
        answer: stage.own_page().expect(200),
    });
    all
}

fn assert_sound(found: &Found) {
    let Found { path, answer } = found;
    let inline: Vec<String> = parts(found).iter().flat_map(markup::inline).collect();
    assert!(inline.is_empty(), "{path}: {inline:?}");
    for name in answer.header_names() {
        let value = answer.header(name);
        assert!(
            !value.contains("zqx") && !value.contains("elsewhere"),
            "{path}: {name}: {value}"
        );
    }
    let kind = answer.content_type().split(';').next().unwrap();
    match kind {
        "image/png" => assert!(answer.body.starts_with(b"\x89PNG\r\n\x1a\n"), "{path}"),
        "text/csv" => assert_no_formula(path, answer),
        "application/x-ndjson" => {
            for line in answer.text().lines() {
                serde_json::from_str::<Value>(line).unwrap();
            }
        }
        "text/html" => assert_data_blocks(path, answer),
        _ => {}
    }
}

/// Every cell is a number, or a text that no spreadsheet takes for a formula.
fn assert_no_formula(path: &str, answer: &Answer) {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(answer.body.as_slice());
    for record in reader.records() {
        for cell in &record.unwrap() {
            let is_formula = cell.starts_with(FORMULAS) && cell.parse::<f64>().is_err();
            assert!(!is_formula, "{path}: {cell}");
        }
    }
}

/// What a page has for programs is JSON and cannot end its element.
fn assert_data_blocks(path: &str, answer: &Answer) {
    for part in markup::html(&answer.text()) {
        if part.name == "script" && !part.text.trim().is_empty() {
            assert!(
                !part.text.contains(['<', '>', '&']),
                "{path}: {}",
                part.text
            );
            serde_json::from_str::<Value>(&part.text).unwrap();
        }
    }
}

#[test]
fn whatever_texts_say_pages_pictures_and_tables_stay_what_they_are() {
    let usual = shapes(&everything(&Stage::usual()));
    for number in (0..runs(1, 24)).map(|round| 5 * round) {
        let stage = hostile_stage(number);
        let all = everything(&stage);
        for found in &all {
            assert_sound(found);
        }
        let new: Vec<_> = shapes(&all).difference(&usual).cloned().collect();
        assert!(new.is_empty(), "round {number}: {new:?}");
        // They do come out, as texts.
        let question = hostile_study(number)["question"]
            .as_str()
            .unwrap()
            .to_owned();
        let page = all
            .iter()
            .find(|found| found.path == format!("/studies/{STUDY}"));
        let texts = markup::html(&page.unwrap().answer.text());
        let shown = texts.iter().any(|part| part.text.trim() == question.trim());
        assert!(shown, "{question}");
        assert_log(&stage);
        assert_command_line(&stage);
    }
}

fn assert_log(stage: &Stage) {
    let log = stage.server.log();
    for line in log.lines() {
        serde_json::from_str::<Value>(line).unwrap();
    }
    assert!(!log.contains("zqx"), "{log}");
}

/// What the commands print of it steers no terminal.
fn assert_command_line(stage: &Stage) {
    let download = stage
        .server
        .get(&format!("/api/v1/studies/{STUDY}/aggregate"));
    let release = stage
        .server
        .get(&format!("/api/v1/studies/{STUDY}/releases/1"));
    let data = stage.copied();
    let data = data.path().to_str().unwrap();
    for (arguments, input) in [
        (vec!["host", "study", "list", "--data", data], &b""[..]),
        (vec!["pool", "-"], &download.body),
        (
            vec!["pool", "-", "--where", "outcome=speed"],
            &download.body,
        ),
        (vec!["release", "verify", "-"], &release.body),
    ] {
        let output = run(&arguments, input);
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {output:?}");
        let printed = [output.stdout, output.stderr].concat();
        let printed = String::from_utf8(printed).unwrap();
        let steers = |sign: char| sign.is_control() && !['\n', '\t'].contains(&sign);
        assert!(!printed.contains(steers), "{arguments:?}: {printed:?}");
        assert!(!printed.contains('\u{202e}'), "{arguments:?}: {printed:?}");
    }
    let output = run(&["export", "--data", data], b"");
    serde_json::from_slice::<Value>(&output.stdout).unwrap();
}

/// A form: where it is sent, the fields that are typed into, and what else belongs to it.
type Form<'a> = (&'a str, &'a [&'a str], &'a [(&'a str, &'a str)]);

#[test]
fn whatever_is_typed_at_the_desk_comes_back_as_a_text() {
    let stage = Stage::usual();
    let desk = Desk::enter(&stage.server, &stage.credential);
    let usual = shapes(&stage.seen_by_the_host());
    let token = desk.form_token();
    let base = format!("/host/studies/{STUDY}");
    let case = stage.case();
    let all = injections();
    for injection in all.iter().step_by(runs(13, 1)) {
        let forms: [Form<'_>; 4] = [
            (
                "/host/new",
                &[
                    "study",
                    "question",
                    "host_name",
                    "contact",
                    "caution",
                    "consent",
                    "reason",
                ],
                &[("do", "preview")],
            ),
            (
                &format!("{base}/protocol"),
                &["reason", "question", "licence_url"],
                &[("do", "save")],
            ),
            (
                &format!("{base}/release"),
                &["reason", "note", "kind", "number"],
                &[],
            ),
            (&case, &["note", "decision", "version"], &[]),
        ];
        for (path, fields, more) in forms {
            let own = [("form_token", token.as_str())];
            let own = own
                .iter()
                .chain(more)
                .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()));
            let typed = fields
                .iter()
                .map(|name| ((*name).to_owned(), injection.clone()));
            let body = encoded(&own.chain(typed).collect::<Vec<_>>());
            let headers = [
                ("cookie", desk.cookie.as_str()),
                ("content-type", "application/x-www-form-urlencoded"),
            ];
            let answer = stage.server.send("POST", path, &headers, body.as_bytes());
            assert!(
                [200, 400, 409, 422].contains(&answer.status),
                "{path}: {}",
                answer.text()
            );
            let found = Found {
                path: path.to_owned(),
                answer,
            };
            assert_sound(&found);
            let new: Vec<_> = shapes(&[found]).difference(&usual).cloned().collect();
            let new: Vec<_> = new
                .iter()
                .filter(|(_, name)| !is_of_a_fault(name))
                .collect();
            assert!(new.is_empty(), "{path}: {injection}: {new:?}");
        }
    }
    assert_log(&stage);
    // Nothing of it was saved: each lacked something that it needs.
    let output = make_release(stage.copied().path(), &[]);
    let words = String::from_utf8(output.stderr).unwrap();
    assert!(words.contains("nothing"), "{words} {PUBLIC_URL}");
}

/// What stands at a field only while something is to be mended, and can do nothing by itself.
fn is_of_a_fault(attribute: &str) -> bool {
    let known = ["role", "tabindex", "id", "class", "autofocus", ""];
    attribute.starts_with("aria-") || known.contains(&attribute)
}

#[test]
fn what_a_file_is_called_and_holds_comes_back_as_a_text() {
    let stage = Stage::usual();
    let usual = {
        let path = format!("/studies/{STUDY}/upload");
        let answer = stage.server.get(&path);
        shapes(&[Found { path, answer }])
    };
    for injection in injections().into_iter().step_by(runs(4, 1)) {
        let line = injection.replace(['\r', '\n', '\0'], " ");
        let name = line.replace('"', "%22");
        for content in [
            injection.clone(),
            format!("{{\"{line}\": 1}}"),
            format!("session,{line}\n1,2\n"),
        ] {
            let boundary = "a-boundary-of-the-tests";
            let body = format!(
                "--{boundary}\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\r\n{content}\r\n--{boundary}--\r\n"
            );
            let declared = format!("multipart/form-data; boundary={boundary}");
            let path = format!("/studies/{STUDY}/upload");
            let headers = [("content-type", declared.as_str())];
            let answer = stage.server.send("POST", &path, &headers, body.as_bytes());
            let found = Found { path, answer };
            assert_sound(&found);
            let new: Vec<_> = shapes(&[found]).difference(&usual).cloned().collect();
            let new: Vec<_> = new
                .iter()
                .filter(|(_, name)| !is_of_a_fault(name))
                .collect();
            assert!(new.is_empty(), "{injection}: {new:?}");
        }
    }
    let folder = stage.copied();
    let names = fs::read_dir(folder.path()).unwrap();
    // No file came to be by it.
    let names: Vec<String> = names
        .map(|name| name.unwrap().file_name().into_string().unwrap())
        .collect();
    assert!(names.iter().all(|name| !name.contains("zqx")), "{names:?}");
}
