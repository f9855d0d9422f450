//! The public documents: that every door gives the same figures, and when they change. The
//! programs that make or check them from files are in [`commands`], the schemas in [`schemas`].

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod commands;
mod demo;
pub(crate) mod reproducible;
mod schemas;

use crate::harness::{
    STUDY, Server, analysis, contribution, folder, run, send_every_third_without_rows, varied,
};
use crate::laws::{FIGURES, figures_without_reason, nulls};
use serde_json::{Value, json};
use tempfile::TempDir;

/// The documents that the public can read of the study.
fn addresses() -> [String; 3] {
    [
        format!("/studies/{STUDY}"),
        format!("/api/v1/studies/{STUDY}/pooled"),
        format!("/api/v1/studies/{STUDY}/aggregate"),
    ]
}

fn bodies(server: &Server) -> [Vec<u8>; 3] {
    addresses().map(|path| server.get(&path).expect(200).body)
}

/// Twenty players, six of whom do not want their rows published: four public batches.
fn filled() -> (TempDir, Server) {
    let folder = folder();
    let server = Server::serve(folder.path(), &[]);
    send_every_third_without_rows(&server, 0..20);
    (folder, server)
}

/// The text of the analyses in a document, byte for byte.
fn analyses_text(document: &[u8]) -> &str {
    let text = str::from_utf8(document).unwrap();
    let (_, rest) = text.split_once("\"analyses\":").unwrap();
    let (analyses, _) = rest.split_once(",\"everybody\":").unwrap();
    analyses
}

fn pooled_again(aggregate: &[u8]) -> Vec<u8> {
    let output = run(&["pool", "--json", "-"], aggregate);
    assert!(output.status.success(), "{output:?}");
    output.stdout
}

#[test]
fn pooled_and_aggregate_say_the_same() {
    let (_folder, server) = filled();
    let [_, pooled, aggregate] = bodies(&server);
    assert_eq!(analyses_text(&pooled), analyses_text(&aggregate));
    let pooled: Value = serde_json::from_slice(&pooled).unwrap();
    let aggregate: Value = serde_json::from_slice(&aggregate).unwrap();
    for name in ["study", "batch", "level", "analyses", "everybody"] {
        assert_eq!(pooled[name], aggregate[name], "{name}");
    }
    assert_eq!(pooled["batch"]["number"], 4);
    let speed = analysis(&pooled, "speed", "band_1");
    assert_eq!(speed["k"], 14);
    assert_eq!(speed["players"], 14);
    assert_eq!(speed["primary"], true);
    // Speed, deep share and in share of fourteen players.
    assert_eq!(aggregate["rows"].as_array().unwrap().len(), 42);
    let everybody = pooled["everybody"].as_array().unwrap();
    assert_eq!(everybody.len(), 3);
    for figure in everybody {
        // Too few without a row came with the last batch, so the figure of the one before stays.
        assert_eq!(figure["of_batch"], 3);
        assert_eq!(figure["players_at_least"], 15);
    }
}

#[test]
fn pooling_the_download_gives_the_published_figures_bit_for_bit() {
    let (_folder, server) = filled();
    let [_, pooled, aggregate] = bodies(&server);
    let again = pooled_again(&aggregate);
    assert_eq!(analyses_text(&again), analyses_text(&pooled));
    let again: Value = serde_json::from_slice(&again).unwrap();
    let pooled: Value = serde_json::from_slice(&pooled).unwrap();
    for name in ["study", "batch", "level", "caveats"] {
        assert_eq!(again[name], pooled[name], "{name}");
    }
    // Figures over everybody cannot be made from the rows.
    assert_eq!(again["everybody"], json!([]));
}

#[test]
fn neither_the_order_of_the_rows_nor_the_numbers_of_the_groups_change_a_bit() {
    let (_folder, server) = filled();
    let [_, pooled, aggregate] = bodies(&server);
    let aggregate: Value = serde_json::from_slice(&aggregate).unwrap();
    let n_rows = aggregate["rows"].as_array().unwrap().len();
    for step in [5, 11, 41] {
        let mut shuffled = aggregate.clone();
        let rows = shuffled["rows"].as_array_mut().unwrap();
        // The steps have no factor in common with 42, so every row is met once.
        *rows = (0..n_rows)
            .map(|place| rows[place * step % n_rows].clone())
            .collect();
        assert_ne!(shuffled["rows"], aggregate["rows"]);
        for row in shuffled["rows"].as_array_mut().unwrap() {
            row["group"] = json!(1_000 - 7 * row["group"].as_i64().unwrap());
        }
        let again = pooled_again(shuffled.to_string().as_bytes());
        assert_eq!(analyses_text(&again), analyses_text(&pooled));
    }
}

#[test]
fn the_analyses_that_are_in_a_download_are_not_believed() {
    let (_folder, server) = filled();
    let [_, pooled, aggregate] = bodies(&server);
    let mut forged: Value = serde_json::from_slice(&aggregate).unwrap();
    forged["analyses"][0]["shown"]["estimate"] = json!(99.0);
    let again = pooled_again(forged.to_string().as_bytes());
    assert_eq!(analyses_text(&again), analyses_text(&pooled));
}

#[test]
fn public_documents_change_in_batches_only() {
    let (_folder, server) = filled();
    let before = bodies(&server);
    for number in 20..24 {
        server.post(&contribution(varied(number))).expect(201);
        assert!(bodies(&server) == before, "changed at {number}");
    }
    server.post(&contribution(varied(24))).expect(201);
    for (new, old) in bodies(&server).iter().zip(&before) {
        assert!(new != old);
    }
    let [_, pooled, _] = bodies(&server);
    let pooled: Value = serde_json::from_slice(&pooled).unwrap();
    assert_eq!(pooled["batch"]["number"], 5);
    assert_eq!(analysis(&pooled, "speed", "band_1")["players"], 19);
}

#[test]
fn the_same_effects_in_a_bare_table_give_the_same_figures() {
    let (_folder, server) = filled();
    let [_, pooled, aggregate] = bodies(&server);
    let pooled: Value = serde_json::from_slice(&pooled).unwrap();
    let aggregate: Value = serde_json::from_slice(&aggregate).unwrap();
    let mut table = "estimate,variance,cluster\n".to_owned();
    for row in aggregate["rows"].as_array().unwrap() {
        if row["outcome"] == "speed" {
            let line = format!("{},{},{}\n", row["estimate"], row["variance"], row["group"]);
            table.push_str(&line);
        }
    }
    let again: Value = serde_json::from_slice(&pooled_again(table.as_bytes())).unwrap();
    let of_study = analysis(&pooled, "speed", "band_1");
    for name in FIGURES {
        assert_eq!(again["analyses"][0][name], of_study[name], "{name}");
    }
}

#[test]
fn a_restart_changes_no_byte() {
    let (folder, server) = filled();
    server.post(&contribution(varied(20))).expect(201);
    let before = bodies(&server);
    drop(server);
    for workers in ["1", "8"] {
        let server = Server::serve(folder.path(), &["--workers", workers]);
        assert!(bodies(&server) == before);
    }
}

/// Every figure that is null has a reason, and every reason stands at a figure that is null.
fn assert_reasons(analysis: &Value) {
    let bare = figures_without_reason(analysis);
    assert!(bare.is_empty(), "null without a reason: {bare:?}");
    for reason in analysis["not_estimable"].as_array().unwrap() {
        let at = reason["at"].as_str().unwrap();
        let part = analysis.pointer(at).unwrap();
        let mut found = Vec::new();
        nulls(part, at, &mut found);
        assert!(!found.is_empty(), "{at} is not null");
    }
}

#[test]
fn every_figure_that_is_null_has_its_reason() {
    let (_folder, server) = filled();
    let document = server.get(&addresses()[1]).json();
    let mut n_shown = 0;
    for analysis in document["analyses"].as_array().unwrap() {
        if analysis["withheld"].is_null() {
            assert_reasons(analysis);
            n_shown += 1;
        }
    }
    assert_eq!(n_shown, 3);
    let (none, one) = ("", "1,2\n");
    let alike = "1,2\n1,2\n1,2\n";
    let repeats = "estimate,variance,cluster\n1,2,a\n2,2,a\n4,3,b\n";
    for table in [
        none,
        one,
        "1,2\n2,2\n",
        alike,
        "1,2\n9,2\n3,1\n",
        "1e300,1e300\n-1e300,1e-300\n",
    ] {
        let table = format!("estimate,variance\n{table}");
        assert_table(&table);
    }
    assert_table(repeats);
    let long: String = (0..12).map(|n| format!("{n},0.01\n")).collect();
    assert_table(&format!("estimate,variance\n{long}"));
}

/// Pools a table; its document is valid and gives reasons.
fn assert_table(table: &str) {
    let document: Value = serde_json::from_slice(&pooled_again(table.as_bytes())).unwrap();
    crate::harness::assert_valid(crate::harness::schema_of(&document), &document);
    assert_reasons(&document["analyses"][0]);
}
