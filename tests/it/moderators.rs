//! Regression at the command line: which rows count, what is refused, and how a figure that cannot
//! be given is told. The figures themselves are in `reference_regression`.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test stops at what it did not expect"
)]

use super::laws::{pool, pool_json};
use serde_json::{Value, json};
use std::fmt::Write as _;

/// Effects by so many players on a gap; `cell` answers what stands in further columns.
fn table(n: u32, header: &str, cell: impl Fn(u32) -> String) -> String {
    let mut csv = format!("estimate,variance,gap{header}\n");
    for row in 0..n {
        let gap = 5.0 + f64::from(row * 7 % 11);
        let estimate = 0.3 * gap + f64::from(row * 5 % 13) / 4.0 - 1.5;
        let variance = 0.25 + f64::from(row % 4) / 8.0;
        writeln!(csv, "{estimate},{variance},{gap}{}", cell(row)).unwrap();
    }
    csv
}

fn regression(options: &[&str], csv: &str) -> Value {
    pool_json(options, csv.as_bytes())["analyses"][0]["regression"].clone()
}

/// The codes of the reasons with their places.
fn reasons(regression: &Value) -> Vec<(&str, &str)> {
    let list = regression["not_estimable"].as_array().unwrap();
    list.iter()
        .map(|row| (row["at"].as_str().unwrap(), row["code"].as_str().unwrap()))
        .collect()
}

#[test]
fn without_a_moderator_there_is_no_regression_and_bad_moderators_do_not_matter() {
    let csv = table(12, ",pace", |_| ",fast".to_owned());
    let document = pool_json(&[], csv.as_bytes());
    assert_eq!(document["analyses"][0].get("regression"), None);
    let with = pool_json(&["--moderator=gap"], csv.as_bytes());
    let mut analysis = with["analyses"][0].clone();
    analysis.as_object_mut().unwrap().remove("regression");
    assert_eq!(analysis, document["analyses"][0], "the pooling is the same");
}

#[test]
fn rows_with_a_blank_moderator_are_left_out_of_the_regression_alone() {
    let blank = table(24, ",pace", |row| match row % 12 {
        3 => ",".to_owned(),
        _ => format!(",{}", row * 3 % 7),
    });
    let options = ["--moderator=gap", "--moderator=pace"];
    let document = pool_json(&options, blank.as_bytes());
    assert_eq!(document["analyses"][0]["k"], json!(24));
    let found = &document["analyses"][0]["regression"];
    assert_eq!((&found["k"], &found["df"]), (&json!(22), &json!(19.0)));
    let complete: Vec<&str> = blank.lines().filter(|line| !line.ends_with(',')).collect();
    assert_eq!(regression(&options, &complete.join("\n")), *found);
    // Another moderator is complete.
    assert_eq!(regression(&options[..1], &blank)["k"], json!(24));
}

#[test]
fn any_order_of_lines_gives_the_same_bytes() {
    let csv = table(23, ",player", |row| format!(",p{}", row / 2));
    let options = ["--json", "--moderator=gap", "--cluster=player", "-"];
    let (header, rows) = csv.split_once('\n').unwrap();
    let mut rows: Vec<&str> = rows.lines().collect();
    let expected = pool(&options, csv.as_bytes()).out;
    for _ in 0..5 {
        rows.rotate_left(4);
        rows.swap(3, 11);
        let shuffled = format!("{header}\n{}\n", rows.join("\n"));
        assert_eq!(pool(&options, shuffled.as_bytes()).out, expected);
    }
}

#[test]
fn too_few_players_and_dependent_moderators_are_said() {
    let found = regression(&["--moderator=gap"], &table(9, "", |_| String::new()));
    assert_eq!(
        reasons(&found),
        [("/regression", "fewer_than_ten_per_moderator")]
    );
    assert_eq!((&found["k"], &found["tau2"]), (&json!(9), &Value::Null));
    let csv = table(18, ",player", |row| format!(",p{}", row / 2));
    let found = regression(&["--moderator=gap", "--cluster=player"], &csv);
    assert_eq!((&found["k"], &found["players"]), (&json!(18), &json!(9)));
    assert_eq!(
        reasons(&found),
        [("/regression", "fewer_than_ten_per_moderator")]
    );
    let kilograms = table(24, ",kg", |row| {
        format!(",{}", (5.0 + f64::from(row * 7 % 11)) * 0.453_592_37)
    });
    let found = regression(&["--moderator=gap", "--moderator=kg"], &kilograms);
    let expected = [
        ("/regression", "rank_deficient"),
        ("/regression/coefficients/2", "rank_deficient"),
    ];
    assert_eq!(reasons(&found), expected);
    let names: Vec<&Value> = found["coefficients"]
        .as_array()
        .unwrap()
        .iter()
        .map(|coefficient| &coefficient["name"])
        .collect();
    assert_eq!(names, ["intercept", "gap", "kg"]);
    let text = pool(
        &["-", "--moderator=gap", "--moderator=kg"],
        kilograms.as_bytes(),
    );
    assert!(text.out.contains("(kg)"), "{}", text.out);
}

#[test]
fn figures_that_are_null_have_their_reason() {
    let csv = table(12, "", |_| String::new());
    let found = regression(&["--moderator=gap", "--no-intercept"], &csv);
    let expected = [
        ("/regression/r2", "no_intercept"),
        ("/regression/robust/0", "no_clusters"),
    ];
    let mut found = reasons(&found);
    found.sort_unstable();
    assert_eq!(found, expected);
    let mut line = "estimate,variance,gap\n".to_owned();
    for row in 0..12 {
        writeln!(line, "{},1,{row}", 2 * row + 1).unwrap();
    }
    let found = regression(&["--moderator=gap"], &line);
    let slope = &found["coefficients"][1];
    assert_eq!(slope["se"], json!(0.0));
    assert_eq!((&slope["t"], &slope["p"]), (&Value::Null, &Value::Null));
    assert!(slope["safe"]["p"].is_number());
    let reasons = reasons(&found);
    for place in [
        "/regression/coefficients/1/t",
        "/regression/coefficients/1/p",
        "/regression/f",
    ] {
        assert!(reasons.contains(&(place, "exact_fit")), "{reasons:?}");
    }
}

#[test]
fn what_cannot_be_read_is_named() {
    let csv = table(12, ",pace", |row| {
        format!(",{}", if row == 4 { "fast" } else { "1e1" })
    });
    let answer = pool(
        &["-", "--moderator=gap", "--moderator=pace"],
        csv.as_bytes(),
    );
    assert_eq!(answer.code, Some(1));
    assert!(answer.err.contains("line 6, column pace"), "{}", answer.err);
    let answer = pool(&["-", "--moderator=pcae"], csv.as_bytes());
    assert_eq!(answer.code, Some(1));
    assert!(answer.err.contains("line 1, column pcae"), "{}", answer.err);
    let answer = pool(&["-", "--no-intercept"], csv.as_bytes());
    assert_eq!(answer.code, Some(2));
    let answer = pool(&["-", "--moderator=gap"], b"{}");
    assert_eq!((answer.code, answer.out.as_str()), (Some(1), ""));
}

#[test]
fn a_person_reads_a_table() {
    let csv = table(30, ",who", |row| format!(",{}", row / 2));
    let answer = pool(&["-", "--moderator=gap", "--cluster=who"], csv.as_bytes());
    for words in [
        "regression of 30 effects in 15 clusters (reml)",
        "intercept",
        "cluster-robust",
        "all moderators F",
        "heterogeneity explained",
    ] {
        assert!(answer.out.contains(words), "{words}: {}", answer.out);
    }
}
