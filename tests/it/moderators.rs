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
    assert_eq!((answer.code, answer.out.as_str()), (Some(2), ""));
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

#[test]
fn a_regression_says_what_it_predicts_at_the_places_asked_for() {
    let csv = table(24, ",pace", |row| format!(",{}", row * 3 % 7));
    let options = [
        "--moderator=gap",
        "--moderator=pace",
        "--at=8,0",
        "--at=-2.5,1e0",
    ];
    let found = regression(&options, &csv);
    let predictions = found["predictions"].as_array().unwrap();
    assert_eq!(predictions[0]["at"], json!([8.0, 0.0]));
    assert_eq!(predictions[1]["at"], json!([-2.5, 1.0]));
    let coefficient = |idx: usize| found["coefficients"][idx]["estimate"].as_f64().unwrap();
    let expected = coefficient(0) + 8.0 * coefficient(1);
    let actual = predictions[0]["estimate"].as_f64().unwrap();
    assert!((actual - expected).abs() < 1e-12, "{actual} {expected}");
    let end = |part: &str, end: &str| predictions[0][part][end].as_f64().unwrap();
    assert!(end("prediction", "low") <= end("mean_safe", "low"));
    assert!(end("mean_safe", "high") <= end("prediction", "high"));
    let text = pool(&[&["-"], options.as_slice()].concat(), csv.as_bytes()).out;
    assert!(text.contains("  at 8.0000, 0.0000: "), "{text}");
    // A place needs a value for every moderator, and a regression.
    let wrong = pool(&["-", "--moderator=gap", "--at=8,0"], csv.as_bytes());
    assert_eq!(wrong.code, Some(2));
    assert!(
        wrong.err.contains("--at names 2 values for 1 moderator"),
        "{}",
        wrong.err
    );
    for wrong in [&["-", "--at=8"][..], &["-", "--moderator=gap", "--at=x"]] {
        assert_eq!(pool(wrong, csv.as_bytes()).code, Some(2));
    }
}

#[test]
fn a_table_is_put_to_the_test_as_far_as_a_table_suffices() {
    let csv = table(24, ",cluster", |row| format!(",{}", row % 20));
    let document = pool_json(&[], csv.as_bytes());
    let scrutiny = &document["analyses"][0]["scrutiny"];
    for absent in ["verdict", "sentence", "certainty", "cumulative", "counts"] {
        assert!(scrutiny[absent].is_null(), "{absent}");
    }
    let codes: Vec<&str> = scrutiny["sensitivity"]
        .as_array()
        .unwrap()
        .iter()
        .map(|line| line["code"].as_str().unwrap())
        .collect();
    assert_eq!(codes, ["one_pair_per_player", "pair_within_player"]);
    assert_eq!(scrutiny["leave_one_out"]["unit"], json!("player"));
    let deletions = scrutiny["leave_one_out"]["deletions"].as_array().unwrap();
    assert_eq!(deletions.len(), 20);
    assert_eq!(scrutiny["gains"][0]["of"], json!("pairs_of_sessions"));
    assert_eq!(scrutiny["outlook"]["further"].as_array().unwrap().len(), 5);
}
