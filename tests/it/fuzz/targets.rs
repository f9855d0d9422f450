//! The readers, and the laws that hold of each: it does not panic, it ends, what it takes is finite
//! and comes back the same, and what it refuses has a place and says how to mend it.

use super::{Outcome, Target, Verdict};
use crate::corpus::{invalid_documents, study, valid_documents};
use crate::harness::assert_valid;
use crate::intake_properties::{field_names, is_well_formed, leads_somewhere};
use serde_json::Value;
use std::cell::Cell;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use tautpool::effects::{self, spread::CrowdSpread};
use tautpool::findings::query::{NotAnswered, Parameter};
use tautpool::findings::scrutiny::Scrutiny;
use tautpool::findings::{self, Choice, Publication};
use tautpool::intake::schema::Schema;
use tautpool::intake::table::{Tables, Wanted};
use tautpool::intake::uploaded::{Written, with_consent};
use tautpool::intake::{self, FaultCode, Rejection};
use tautpool::pooling::{Effects, Level};
use tautpool::protocol::Study;
use tautpool::vocabulary::ConsentScope;
use tautpool::wire;

const FIXTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures");

/// Most effects that are pooled, and how many that were taken there are to one that is: pooling takes
/// hundreds of times as long as reading, and the engine has tests of its own.
const MOST_POOLED: usize = 24;
const ONE_IN: u64 = 400;

fn fixture(path: &str) -> Vec<u8> {
    fs::read(Path::new(FIXTURES).join(path)).unwrap()
}

fn vocabulary(more: &str) -> Vec<String> {
    let more = more.split_whitespace().map(str::to_owned);
    field_names().into_iter().chain(more).collect()
}

fn accepted(words: impl IntoIterator<Item = String>) -> Outcome {
    let words = words.into_iter().map(|word| format!("accepted: {word}"));
    Outcome {
        verdict: Verdict::Accepted,
        words: words.chain(["accepted".to_owned()]).collect(),
    }
}

/// A refusal that keeps the laws, in coarse words: each code with its place, as far as the place is
/// one of the program's own.
fn refused(rejection: &Rejection, own: &BTreeSet<String>) -> Outcome {
    assert!(!rejection.faults.is_empty());
    assert!(rejection.faults.len() <= Rejection::MOST);
    assert!(rejection.faults.len() <= rejection.n_faults);
    let mut words = BTreeSet::new();
    let mut told = 0;
    for fault in &rejection.faults {
        assert!(!fault.sentence.trim().is_empty(), "{fault:?}");
        // What a stranger wrote is told shortened, without controls. A pointer has to be exact.
        assert!(fault.sentence.len() < 1_000, "{fault:?}");
        assert!(!fault.sentence.contains(char::is_control), "{fault:?}");
        told += fault.sentence.len() + fault.pointer.len();
        words.insert(format!(
            "{}: {}",
            fault.code.code(),
            coarse(&fault.pointer, own)
        ));
    }
    assert!(told < 4 * super::LONGEST, "{told} bytes of faults");
    Outcome {
        verdict: Verdict::Refused,
        words,
    }
}

/// The last name in a place that a stranger did not make up.
fn coarse(place: &str, own: &BTreeSet<String>) -> String {
    let mut parts = place.rsplit(['/', ' ', ',']);
    let last = parts.find(|part| !part.is_empty() && own.contains(*part));
    last.unwrap_or("?").to_owned()
}

fn names(vocabulary: &[String]) -> BTreeSet<String> {
    vocabulary.iter().cloned().collect()
}

pub(super) fn contribution() -> Target<'static> {
    let study = study();
    let vocabulary =
        vocabulary("looser tighter lb kg km/h mph forehand serve all in hit unknown 1");
    let own = names(&vocabulary);
    let seeds = valid_documents().into_iter().chain(invalid_documents());
    let seeds = seeds.map(|(_, bytes)| bytes);
    let read = move |bytes: &[u8]| match intake::contribution(bytes, &study) {
        Ok(admitted) => {
            let document: Value = serde_json::from_slice(without_mark(bytes)).unwrap();
            assert_valid(Schema::Contribution, &document);
            let again = intake::contribution(document.to_string().as_bytes(), &study);
            assert_eq!(again.unwrap(), admitted);
            let kept = intake::kept_contribution(bytes).unwrap();
            assert_eq!(kept, admitted.contribution);
            finite_effects(&kept, &study);
            let flags = admitted.flags.iter();
            accepted(
                flags.map(|flag| format!("{} {}", flag.code.code(), coarse(&flag.pointer, &own))),
            )
        }
        Err(rejection) => {
            if let Ok(document) = serde_json::from_slice::<Value>(bytes) {
                for fault in &rejection.faults {
                    assert!(is_well_formed(&fault.pointer), "{fault:?}");
                    // Long names are told shortened, and of a repeated key the last is read here.
                    let is_elsewhere =
                        fault.pointer.contains('…') || fault.code == FaultCode::DuplicateKey;
                    let leads = is_elsewhere || leads_somewhere(&fault.pointer, &document);
                    assert!(leads, "{fault:?}");
                }
            }
            refused(&rejection, &own)
        }
    };
    Target {
        name: "contributions",
        seeds: seeds.filter(|bytes| bytes.len() < 20_000).collect(),
        vocabulary,
        read: Box::new(read),
    }
}

/// A byte order mark is no part of a document.
fn without_mark(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes)
}

fn finite_effects(contribution: &tautpool::contribution::Contribution, study: &Study) {
    let pair = effects::of_pair(contribution, &study.protocol, &CrowdSpread::default()).unwrap();
    for effect in pair.all() {
        assert!(effect.estimate.is_finite(), "{effect:?}");
        assert!(
            effect.variance.is_finite() && 0.0 < effect.variance,
            "{effect:?}"
        );
    }
}

pub(super) fn shots() -> Target<'static> {
    let study = study();
    let vocabulary = vocabulary(
        "session string_bed tension crosses_tension tension_unit minutes partner_speed landed speed \
         speed_unit itn plan_code out deep",
    );
    let own = names(&vocabulary);
    let template = intake::shots::template(&study).into_bytes();
    let files = ["shots/invented-commas.csv", "shots/invented-semicolons.csv"].map(fixture);
    let short = files.iter().map(|file| first_lines(file, 60));
    let seeds: Vec<Vec<u8>> = short.chain(files.clone()).chain([template]).collect();
    let read = move |bytes: &[u8]| {
        let written = Written::of(bytes, "shots.csv");
        match intake::uploaded::read(bytes, written, &study) {
            Ok(read) => {
                let document = with_consent(&read.document, &study, ConsentScope::Pooling, true);
                assert_valid(Schema::Contribution, &document);
                let again = intake::contribution(document.to_string().as_bytes(), &study);
                assert_eq!(again.unwrap(), read.admitted);
                finite_effects(&read.admitted.contribution, &study);
                for remark in &read.remarks {
                    assert!(
                        remark.len() < 1_000 && !remark.contains(char::is_control),
                        "{remark}"
                    );
                }
                let flags = read.admitted.flags.iter();
                accepted(flags.map(|flag| flag.code.code().to_owned()))
            }
            Err(rejection) => refused(&rejection, &own),
        }
    };
    Target {
        name: "files of single shots",
        seeds,
        vocabulary,
        read: Box::new(read),
    }
}

fn first_lines(file: &[u8], n: usize) -> Vec<u8> {
    let lines = file.split_inclusive(|byte| *byte == b'\n').take(n);
    lines.flatten().copied().collect()
}

pub(super) fn effects() -> Target<'static> {
    let words = "estimate variance cluster group outcome stroke direction band gap speed forehand all \
                 band_1 looser";
    let vocabulary: Vec<String> = words.split_whitespace().map(str::to_owned).collect();
    let own = names(&vocabulary);
    let seeds: &[&str] = &[
        "estimate,variance\n0.8,0.25\n1.9,0.36\n-0.2,0.16\n",
        "variance;estimate\n0.25;0.8\n",
        "estimate,variance,cluster\n0.8,0.25,a\n1.9,0.36,a\n-0.2,0.16,b\n0.1,0.2,c\n",
        "\u{feff}gap,estimate,variance,group\r\n5,0.8,0.25,1\r\n,1.9,0.36,1\r\n9,-0.2,0.16,2\r\n",
        "outcome,stroke,direction,band,estimate,variance,group\nspeed,forehand,all,band_1,1,0.5,1\nspeed,forehand,all,band_1,2,0.5,2\n",
        "estimate,variance\n",
        "estimate,variance\n1,\"0.5\"\n\"1\"\"\",2\n",
    ];
    let n_accepted = Cell::new(0_u64);
    let read = move |bytes: &[u8]| {
        let gap = ["gap".to_owned()];
        let regressed = Wanted {
            moderators: &gap,
            ..Wanted::default()
        };
        let with_gap = match intake::table::read(bytes, &regressed) {
            Ok(tables) => {
                sound(&tables, false);
                "with a moderator"
            }
            Err(rejection) => {
                refused(&rejection, &own);
                "without a moderator"
            }
        };
        match intake::table::read(bytes, &Wanted::default()) {
            Ok(tables) => {
                n_accepted.set(n_accepted.get() + 1);
                sound(&tables, n_accepted.get() % ONE_IN == 1);
                let k = tables.effects.estimates().len();
                let clusters = tables.effects.clusters().is_some();
                accepted([
                    with_gap.to_owned(),
                    format!("clusters {clusters}"),
                    format!("{} effects", k.min(4)),
                ])
            }
            Err(rejection) => refused(&rejection, &own),
        }
    };
    Target {
        name: "tables of effects",
        seeds: seeds.iter().map(|seed| seed.as_bytes().to_vec()).collect(),
        vocabulary,
        read: Box::new(read),
    }
}

/// What a table says is finite, comes back the same, and is pooled to finite figures.
fn sound(tables: &Tables, is_pooled: bool) {
    let effects = &tables.effects;
    let numbers = effects.estimates().into_iter().chain(effects.variances());
    assert!(numbers.copied().all(f64::is_finite));
    assert!(effects.variances().iter().all(|variance| 0.0 < *variance));
    assert_eq!(
        intake::table::effects(written(effects).as_bytes()).unwrap(),
        *effects
    );
    if is_pooled && effects.estimates().len() <= MOST_POOLED {
        let level = Level::NINETY_FIVE;
        let finding = findings::table(effects, level, Choice::default());
        let scrutiny = Scrutiny::of_table(effects, level);
        let document = wire::pooled::of_table(level, &finding, &scrutiny);
        assert_valid(Schema::Pooled, &document);
    }
}

fn written(effects: &Effects) -> String {
    let rows = effects.estimates().into_iter().zip(effects.variances());
    let cluster = |row: usize| {
        let clusters = effects.clusters();
        clusters.map_or(String::new(), |clusters| format!(",{}", clusters[row]))
    };
    let rows = rows.enumerate();
    let rows = rows
        .map(|(row, (estimate, variance))| format!("{estimate:?},{variance:?}{}\n", cluster(row)));
    let name = if effects.clusters().is_some() {
        ",cluster"
    } else {
        ""
    };
    format!("estimate,variance{name}\n{}", rows.collect::<String>())
}

/// The download of a study with seven players, without what is found in it.
fn download() -> Vec<u8> {
    fixture("fuzz/download.json")
}

pub(super) fn aggregate() -> Target<'static> {
    let text: Value = serde_json::from_str(Schema::Aggregate.text()).unwrap();
    let words = "aggregate release speed deep_share in_share forehand all band_1 band_2 under lb";
    let vocabulary: Vec<String> = {
        let mut names = BTreeSet::new();
        collect_names(&text, &mut names);
        let words = words.split_whitespace().map(str::to_owned);
        names.into_iter().chain(words).collect()
    };
    let own = names(&vocabulary);
    let n_accepted = Cell::new(0_u64);
    let read = move |bytes: &[u8]| match intake::published(bytes) {
        Ok(publication) => {
            let document: Value = serde_json::from_slice(without_mark(bytes)).unwrap();
            let again = intake::published(document.to_string().as_bytes());
            assert!(again.unwrap() == publication);
            for row in publication.rows.iter() {
                assert!(row.estimate.is_finite(), "{row:?}");
                assert!(row.variance.is_finite() && 0.0 < row.variance, "{row:?}");
            }
            n_accepted.set(n_accepted.get() + 1);
            let mut words = vec![format!("{} rows", publication.rows.len().min(3))];
            if n_accepted.get() % ONE_IN == 1 && publication.rows.len() <= MOST_POOLED {
                words.push(asked("", &publication));
            }
            accepted(words)
        }
        Err(rejection) => refused(&rejection, &own),
    };
    Target {
        name: "downloads",
        seeds: vec![download()],
        vocabulary,
        read: Box::new(read),
    }
}

fn collect_names(part: &Value, names: &mut BTreeSet<String>) {
    if let Some(fields) = part.get("properties").and_then(Value::as_object) {
        names.extend(fields.keys().cloned());
    }
    match part {
        Value::Object(fields) => fields.values().for_each(|part| collect_names(part, names)),
        Value::Array(items) => items.iter().for_each(|part| collect_names(part, names)),
        _ => {}
    }
}

/// What an answer to a question is like.
fn asked(question: &str, publication: &Publication) -> String {
    let query = intake::query::read(question, publication).unwrap();
    match publication.ask(&query) {
        Ok(answer) => {
            let document = wire::query::document(publication, &query, &answer);
            assert_valid(Schema::Query, &document);
            "answered".to_owned()
        }
        Err(NotAnswered::TooFewPlayers { .. }) => "too few players".to_owned(),
        Err(NotAnswered::Unusable(error)) => panic!("{error}"),
    }
}

pub(super) fn question() -> Target<'static> {
    let publication = intake::published(&download()).unwrap();
    let vocabulary: Vec<String> = {
        let parameters = Parameter::ALL.iter();
        let names = parameters
            .clone()
            .map(|parameter| parameter.code().to_owned());
        let bands = &publication.rules.bands;
        let words = parameters.flat_map(|parameter| intake::query::words(*parameter, bands));
        names.chain(words).chain(["0.9".to_owned()]).collect()
    };
    let own = names(&vocabulary);
    let seeds: Vec<Vec<u8>> = [
        "",
        "outcome=speed&gap_from=6&gap_below=10&string_family=polyester",
        "band=under",
        "band=band_1&level=0.8&interval=wald&estimator=dl",
        "stroke=serve&planned=false&blinded=true&level_band=itn_4_to_6&direction=all",
        "outcome=in%5Fshare&gap_from=%36",
    ]
    .map(|seed| seed.as_bytes().to_vec())
    .to_vec();
    let n_accepted = Cell::new(0_u64);
    let read = move |bytes: &[u8]| {
        let Ok(text) = std::str::from_utf8(bytes) else {
            // An address is ASCII, and what else comes is refused before.
            return Outcome {
                verdict: Verdict::Refused,
                words: BTreeSet::new(),
            };
        };
        match intake::query::read(text, &publication) {
            Ok(query) => {
                let again = intake::query::read(&query.text(), &publication).unwrap();
                assert!(again == query, "{}", query.text());
                n_accepted.set(n_accepted.get() + 1);
                let mut words: Vec<String> = Parameter::ALL
                    .iter()
                    .filter(|parameter| query.word(**parameter).is_some())
                    .map(|parameter| parameter.code().to_owned())
                    .collect();
                if n_accepted.get() % ONE_IN == 1 {
                    words.push(asked(&query.text(), &publication));
                }
                accepted(words)
            }
            Err(rejection) => refused(&rejection, &own),
        }
    };
    Target {
        name: "questions",
        seeds,
        vocabulary,
        read: Box::new(read),
    }
}
