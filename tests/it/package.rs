//! The download as tables: CSV and NDJSON say what the JSON says, of the live study and of a
//! release, and the descriptor is true of the bytes. What analysts' own programs make of it is in
//! [`notebook`].

#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

mod notebook;

use crate::harness::{
    Answer, STUDY, STUDY_FILE, Server, contribution, folder, make_release, recruit, run,
    send_every_third_without_rows, server, varied,
};
use data_encoding::HEXLOWER;
use serde_json::{Map, Value, json};
use std::fs;
use std::path::Path;
use tautpool::receipt::sha256_of;
use tautpool::service::{Incoming, Service};
use tautpool::wire::package::{File, Format, Table};
use tempfile::TempDir;

const LIVE: &str = "/api/v1/studies/demo-of-the-corpus/aggregate";
const RELEASED: &str = "/api/v1/studies/demo-of-the-corpus/releases/1/aggregate";

fn release(data: &Path) {
    let made = make_release(data, &[]);
    assert!(made.status.success(), "{made:?}");
}

/// A server with a release, and what was live when it was made.
struct Released {
    _folder: TempDir,
    server: Server,
    aggregate: Vec<u8>,
    files: Vec<(File, Vec<u8>)>,
}

/// A release of twenty players.
fn released() -> Released {
    let folder = folder();
    let server = Server::serve(folder.path(), &[]);
    send_every_third_without_rows(&server, 0..20);
    let aggregate = server.get(LIVE).expect(200).body;
    let files = File::all().into_iter();
    let files = files.map(|file| (file, get(&server, LIVE, file).body));
    let files = files.collect();
    drop(server);
    release(folder.path());
    Released {
        server: Server::serve(folder.path(), &[]),
        _folder: folder,
        aggregate,
        files,
    }
}

fn get(server: &Server, base: &str, file: File) -> Answer {
    server.get(&format!("{base}/{}", file.name())).expect(200)
}

fn table(server: &Server, base: &str, table: Table) -> (Vec<Value>, Vec<Map<String, Value>>) {
    let csv = get(server, base, File::Table(table, Format::Csv));
    assert_eq!(
        csv.content_type(),
        "text/csv; charset=utf-8; header=present"
    );
    let ndjson = get(server, base, File::Table(table, Format::Ndjson));
    assert_eq!(ndjson.content_type(), "application/x-ndjson");
    let lines = str::from_utf8(&ndjson.body).unwrap().lines();
    let lines: Vec<Value> = lines
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    (lines, from_csv(&csv.body))
}

/// A CSV as an analyst's program reads it: numbers and truths are what they look like.
fn from_csv(bytes: &[u8]) -> Vec<Map<String, Value>> {
    let mut reader = csv::Reader::from_reader(bytes);
    let header = reader.headers().unwrap().clone();
    let cell = |text: &str| {
        let unread: Result<Value, _> = serde_json::from_str(text);
        match unread {
            _ if text.is_empty() => Value::Null,
            Ok(value @ (Value::Number(_) | Value::Bool(_))) => value,
            _ => json!(text.strip_prefix('\'').unwrap_or(text)),
        }
    };
    let line = |record: csv::StringRecord| {
        let cells = header.iter().zip(record.iter());
        cells
            .map(|(name, text)| (name.to_owned(), cell(text)))
            .collect()
    };
    reader
        .records()
        .map(|record| line(record.unwrap()))
        .collect()
}

/// Lists as CSV writes them.
fn flat(line: &Value) -> Map<String, Value> {
    let fields = line.as_object().unwrap().iter();
    let fields = fields.map(|(name, value)| {
        let value = match value {
            Value::Array(items) => {
                let items: Vec<&str> = items.iter().map(|item| item.as_str().unwrap()).collect();
                json!(items.join(";"))
            }
            other => other.clone(),
        };
        (name.clone(), value)
    });
    fields.collect()
}

#[test]
fn csv_ndjson_and_json_say_the_same_in_the_same_order() {
    let (_folder, server) = server();
    send_every_third_without_rows(&server, 0..20);
    let aggregate = server.get(LIVE).expect(200).json();
    for which in Table::ALL {
        let (ndjson, csv) = table(&server, LIVE, *which);
        let flat: Vec<Map<String, Value>> = ndjson.iter().map(flat).collect();
        assert_eq!(flat, csv, "{which:?}");
    }
    let (rows, _) = table(&server, LIVE, Table::Rows);
    assert!(!rows.is_empty());
    assert_eq!(Value::from(rows), aggregate["rows"]);
    let (pooled, _) = table(&server, LIVE, Table::Pooled);
    let analyses = aggregate["analyses"].as_array().unwrap();
    assert_eq!(pooled.len(), analyses.len());
    for (line, analysis) in pooled.iter().zip(analyses) {
        assert_eq!(line["band"], analysis["band"]["code"]);
        for (column, at) in [
            ("outcome", "/outcome"),
            ("k", "/k"),
            ("withheld", "/withheld"),
            ("estimate", "/shown/estimate"),
            ("low", "/shown/low"),
            ("prediction_high", "/shown/prediction/high"),
            ("tau2_low", "/heterogeneity/tau2_low"),
            ("q_p", "/heterogeneity/p"),
            ("pm_se", "/models/pm/se"),
            ("any_time_high", "/any_time/high"),
        ] {
            let expected = analysis.pointer(at).cloned().unwrap_or_default();
            assert_eq!(line[column], expected, "{column}");
        }
        let kind = analysis["shown"]["interval_kind"].as_str();
        let se = kind.map(|kind| analysis["models"]["reml"][kind]["se"].clone());
        assert_eq!(line["se"], se.unwrap_or_default());
        every_empty_figure_has_a_reason(line);
    }
    let (everybody, _) = table(&server, LIVE, Table::Everybody);
    assert_eq!(
        everybody.len(),
        aggregate["everybody"].as_array().unwrap().len()
    );
    assert!(!everybody.is_empty());
    for (line, figure) in everybody
        .iter()
        .zip(aggregate["everybody"].as_array().unwrap())
    {
        assert_eq!(line["high"], figure["high"]);
        assert_eq!(line["players_at_least"], figure["players_at_least"]);
    }
}

/// A figure that is empty in an analysis that is shown has its reason in `not_estimable`.
fn every_empty_figure_has_a_reason(line: &Value) {
    let told = line["not_estimable"].to_string();
    let figures = [
        "estimate",
        "se",
        "low",
        "high",
        "p",
        "prediction_low",
        "any_time_low",
        "tau2",
        "tau2_low",
        "i2",
        "i2_low",
        "h2_high",
        "q",
        "fixed_se",
        "dl_estimate",
        "pm_tau2",
        "reml_se",
    ];
    for figure in figures.iter().filter(|_| line["withheld"].is_null()) {
        let is_told = told.contains(&format!("\"{figure}:"));
        assert_eq!(line[*figure].is_null(), is_told, "{figure} of {line}");
    }
}

#[test]
fn a_release_has_the_download_that_was_live_when_it_was_made() {
    let released = released();
    let (server, aggregate) = (&released.server, &released.aggregate);
    let live = &released.files;
    let of_release = |server: &Server| {
        let files = live
            .iter()
            .map(|(file, _)| get(server, RELEASED, *file).body);
        let files: Vec<Vec<u8>> = files.collect();
        (server.get(RELEASED).expect(200).body, files)
    };
    let (document, files) = of_release(server);
    assert!(document == *aggregate);
    for ((file, then), now) in live.iter().zip(&files) {
        assert_eq!(then == now, *file != File::Descriptor, "{file:?}");
    }
    let release = server.get("/api/v1/studies/demo-of-the-corpus/releases/1");
    let release = release.expect(200).json();
    let package: Value = serde_json::from_slice(&files[0]).unwrap();
    assert_eq!(package["id"], release["address"]);
    assert_eq!(package["version"], "1.0.0");
    assert_eq!(package["created"], release["published_at"]);
    assert_eq!(package["contributors"][0]["title"], release["publisher"]);
    assert_eq!(package["licenses"][0]["name"], release["licence"]["name"]);
    let citation = release["citation"].as_str().unwrap();
    assert!(package["description"].as_str().unwrap().contains(citation));
    // Whoever comes later changes what is live and nothing of the release.
    send_every_third_without_rows(server, 20..30);
    assert!(server.get(LIVE).expect(200).body != *aggregate);
    assert!(of_release(server) == (document, files));
}

#[test]
fn the_descriptor_is_true_of_the_bytes() {
    let released = released();
    let server = &released.server;
    for base in [LIVE, RELEASED] {
        let package = get(server, base, File::Descriptor);
        assert_eq!(package.content_type(), "application/vnd.datapackage+json");
        let package = package.json();
        let profile = "https://datapackage.org/profiles/2.0/datapackage.json";
        assert_eq!(package["$schema"], profile);
        assert_eq!(package["name"], STUDY);
        let title = package["title"].as_str().unwrap();
        assert!(title.contains("(invented data)"), "{title}");
        let resources = package["resources"].as_array().unwrap();
        assert_eq!(resources.len(), File::all().len() - 1);
        for resource in resources {
            let path = resource["path"].as_str().unwrap();
            let bytes = server.get(&format!("{base}/{path}")).expect(200).body;
            assert_eq!(resource["bytes"], bytes.len());
            let hash = HEXLOWER.encode(&sha256_of(&bytes));
            assert_eq!(resource["hash"], format!("sha256:{hash}"));
        }
    }
}

#[test]
fn the_live_package_names_its_content() {
    let (_folder, server) = server();
    let id = || get(&server, LIVE, File::Descriptor).json()["id"].clone();
    let before = id();
    assert!(before.as_str().unwrap().starts_with("ni:///sha-256;"));
    assert_eq!(id(), before);
    send_every_third_without_rows(&server, 0..5);
    assert_ne!(id(), before);
}

#[test]
fn a_study_without_a_batch_has_empty_tables_with_headers() {
    let (_folder, server) = server();
    let csv = |table| get(&server, LIVE, File::Table(table, Format::Csv)).text();
    for table in [Table::Rows, Table::Everybody] {
        assert_eq!(csv(table).matches("\r\n").count(), 1);
        let ndjson = get(&server, LIVE, File::Table(table, Format::Ndjson));
        assert!(ndjson.body.is_empty());
    }
    let pooled = csv(Table::Pooled);
    assert!(pooled.contains("Fewer than 5 players so far."), "{pooled}");
    let package = get(&server, LIVE, File::Descriptor).json();
    assert_eq!(package["version"], "0.0.0");
    assert!(package.get("created").is_none());
}

#[test]
fn hidden_figures_are_in_no_table() {
    const NOW_MS: i64 = 1_800_000_000_000;
    let service = Service::in_memory().unwrap();
    recruit(&service, &fs::read(STUDY_FILE).unwrap(), NOW_MS);
    let mut last = None;
    for number in 0..5 {
        let document = contribution(varied(number)).to_string();
        let incoming = Incoming {
            study: STUDY,
            document: document.as_bytes(),
            request_key: None,
            receipt: None,
            now_ms: NOW_MS,
        };
        last = Some(service.submit(&incoming).unwrap());
    }
    let text = |file: File| {
        let ready = service.study(STUDY).unwrap().package(file).unwrap();
        String::from_utf8(ready.plain().unwrap().to_vec()).unwrap()
    };
    let rows = File::Table(Table::Rows, Format::Csv);
    assert_eq!(text(rows).matches("\r\n").count(), 1 + 5 * 3);
    let last = last.unwrap();
    let (receipt, month) = (last.receipt.reveal(), 31 * 86_400_000);
    let withdrawn = service.withdraw(STUDY, &receipt, last.contribution, NOW_MS);
    withdrawn.unwrap();
    service.keep_promises(NOW_MS + month).unwrap();
    assert!(service.study(STUDY).unwrap().hidden.is_some());
    for table in Table::ALL {
        let csv = text(File::Table(*table, Format::Csv));
        let shown = csv.split("\r\n").skip(1).filter(|line| !line.is_empty());
        assert!(
            shown
                .clone()
                .all(|line| line.contains("Fewer than 5 players so far."))
        );
        assert_eq!(shown.count() == 0, *table != Table::Pooled);
    }
    let package: Value = serde_json::from_str(&text(File::Descriptor)).unwrap();
    assert!(package.get("batch").is_none());
}

#[test]
fn tables_are_read_like_every_document() {
    let released = released();
    let server = &released.server;
    let files: Vec<String> = File::all().into_iter().map(File::name).collect();
    let below = files.iter().map(|name| format!("/{name}"));
    let paths: Vec<String> = std::iter::once(String::new()).chain(below).collect();
    for path in [LIVE, RELEASED]
        .iter()
        .flat_map(|base| paths.iter().map(move |path| format!("{base}{path}")))
    {
        let got = server.get(&path).expect(200);
        let etag = got.header("etag").to_owned();
        assert!(etag.starts_with('"'), "{path}: {etag}");
        let head = server.send("HEAD", &path, &[], b"").expect(200);
        assert_eq!(head.header("etag"), etag);
        assert_eq!(head.header("content-length"), got.body.len().to_string());
        assert!(head.body.is_empty());
        let again = server.send("GET", &path, &[("if-none-match", &etag)], b"");
        assert!(again.expect(304).body.is_empty());
        server
            .send("DELETE", &path, &[], b"")
            .expect_problem(405, "method-not-allowed");
    }
    for path in [
        format!("{LIVE}/rows.xls"),
        format!("{RELEASED}/rows"),
        "/api/v1/studies/none/aggregate/rows.csv".to_owned(),
        RELEASED.replace("/1/", "/2/"),
        format!("{}/rows.csv", RELEASED.replace("/1/", "/2/")),
        format!("{}/rows.csv", RELEASED.replace("/1/", "/01/")),
    ] {
        server.get(&path).expect_problem(404, "not-found");
    }
}

#[test]
fn rows_of_one_analysis_come_back_in_with_its_figures() {
    let (_folder, server) = server();
    send_every_third_without_rows(&server, 0..20);
    let rows = get(&server, LIVE, File::Table(Table::Rows, Format::Csv)).text();
    let mixed = run(&["pool", "-"], rows.as_bytes());
    assert_eq!(mixed.status.code(), Some(1));
    let trouble = String::from_utf8_lossy(&mixed.stderr).into_owned();
    assert!(trouble.contains("several analyses"), "{trouble}");
    let (header, lines) = rows.split_once("\r\n").unwrap();
    let one = |line: &&str| line.contains(",speed,forehand,all,") && line.contains(",band_1,");
    let lines: Vec<&str> = lines.split("\r\n").filter(one).collect();
    let one = format!("{header}\r\n{}\r\n", lines.join("\r\n"));
    let pooled = run(&["pool", "--json", "-"], one.as_bytes());
    let pooled: Value = serde_json::from_slice(&pooled.stdout).unwrap();
    let aggregate = server.get(LIVE).expect(200).json();
    let analysis = crate::harness::analysis(&aggregate, "speed", "band_1");
    for part in ["shown", "models", "heterogeneity"] {
        assert_eq!(pooled["analyses"][0][part], analysis[part], "{part}");
    }
}
