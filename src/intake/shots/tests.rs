use super::*;
use crate::intake::uploaded::{self, Written};
use proptest::prelude::*;
use serde_json::json;

mod faults;

const STUDY: &str = include_str!("../../../fixtures/contributions/study.json");

fn study() -> Study {
    crate::intake::study(STUDY.as_bytes()).unwrap()
}

const HEADER: &str = "session,string_bed,tension,tension_unit,stroke,landed,speed,speed_unit";

/// Two sessions of ten forehands each.
fn lines() -> Vec<String> {
    let session = |number: i64, bed: &str, tension: &str, from: i64| -> Vec<String> {
        (0..10)
            .map(|shot| {
                let speed = from + (shot * 7) % 10;
                let landed = ["deep", "in", "out", "in"][usize::try_from(shot % 4).unwrap()];
                format!("{number},{bed},{tension},lb,forehand,{landed},{speed},km/h")
            })
            .collect()
    };
    let mut lines = vec![HEADER.to_owned()];
    lines.extend(session(1, "looser", "48", 95));
    lines.extend(session(2, "tighter", "54", 92));
    lines
}

fn file(lines: &[String]) -> String {
    lines.join("\n") + "\n"
}

fn read(text: &str) -> Result<Shots, Rejection> {
    shots(text.as_bytes(), &study())
}

#[track_caller]
fn places(text: &str) -> Vec<(String, FaultCode)> {
    let rejection = read(text).unwrap_err();
    assert_eq!(rejection.n_faults, rejection.faults.len());
    let faults = rejection.faults.into_iter();
    faults.map(|fault| (fault.pointer, fault.code)).collect()
}

/// The file with one cell written otherwise.
fn with(line: usize, column: &str, cell: &str) -> String {
    let mut lines = lines();
    let place = HEADER.split(',').position(|name| name == column).unwrap();
    let mut cells: Vec<&str> = lines[line - 1].split(',').collect();
    cells[place] = cell;
    lines[line - 1] = cells.join(",");
    file(&lines)
}

#[test]
fn a_file_becomes_a_contribution() {
    let read = read(&file(&lines())).unwrap();
    assert_eq!(read.remarks, Vec::<String>::new());
    let document = read.document;
    assert_eq!(document["study"], "demo-of-the-corpus");
    assert_eq!(document["sessions"][0]["arm"], "looser");
    assert_eq!(
        document["sessions"][1]["tension"],
        json!({"mains": 54, "unit": "lb"})
    );
    // 95 to 104 once each: mean 99.5, sum of squares 82.5, sqrt(82.5/9) = 3.0277. In the order
    // 0 7 4 1 8 5 2 9 6 3 less 4.5 the products add up to -29.25, and -29.25/82.5 = -0.3545.
    assert_eq!(
        document["sessions"][0]["shots"],
        json!([{
            "stroke": "forehand", "direction": "all", "hit": 10, "in": 8, "deep": 3,
            "speed_mean": 99.5, "speed_unit": "km/h", "speed_sd": 3.03, "sd_divisor": "n-1",
            "speed_lag1": -0.35, "speed_max": 104, "speed_n": 10, "speed_over": "all"
        }])
    );
}

#[test]
fn separators_line_ends_order_of_columns_and_capitals_change_nothing() {
    let lines = lines();
    let expected = read(&file(&lines)).unwrap();
    let reversed: Vec<String> = lines
        .iter()
        .map(|line| line.split(',').rev().collect::<Vec<_>>().join(","))
        .collect();
    let semicolons: Vec<String> = lines
        .iter()
        .map(|line| line.replace(',', ";").replace(";48;", ";48,0;"))
        .collect();
    let spread: Vec<String> = lines.iter().map(|line| format!("\n{line}, ,")).collect();
    for text in [
        file(&reversed),
        file(&semicolons),
        file(&spread),
        lines.join("\r\n"),
        lines.join("\r"),
        format!("\u{feff}{}", file(&lines)),
        file(&lines)
            .replace("forehand", "Forehand")
            .replace("looser", "LOOSER"),
        file(&lines).replace(",km/h", ",\"km/h\""),
    ] {
        assert_eq!(read(&text).unwrap(), expected, "{text:?}");
    }
}

#[test]
fn figures_of_a_few_shots_that_look_wrong_by_chance_are_left_out() {
    let mut lines = lines();
    // Volleys of one speed in session 1, and slow ones in session 2.
    for _ in 0..2 {
        lines.insert(11, "1,looser,48,lb,volley,in,80,km/h".to_owned());
        lines.push("2,tighter,54,lb,volley,in,50,km/h".to_owned());
    }
    let read = read(&file(&lines)).unwrap();
    let volleys = &read.document["sessions"][1]["shots"][1];
    assert_eq!(volleys["stroke"], "volley");
    assert_eq!(volleys["hit"], 2);
    assert!(volleys.get("speed_mean").is_none(), "{volleys}");
    assert!(
        read.remarks.contains(
            &"Session 2, volley: with 2 shots timed the speed is not plausible, so it is left out."
                .to_owned()
        ),
        "{:?}",
        read.remarks
    );
}

#[test]
fn a_shot_that_was_not_seen_or_timed_is_said() {
    let text = with(4, "landed", "");
    let read_back = read(&text).unwrap();
    let line = &read_back.document["sessions"][0]["shots"][0];
    assert!(line.get("in").is_none() && line.get("deep").is_none());
    assert_eq!(
        read_back.remarks,
        ["Session 1, forehand: 1 of 10 shots have no landing, so shots in and deep are left out."]
    );
    // One shot that the device missed makes it unknown in both sessions alike.
    let read_back = read(&with(4, "speed", "")).unwrap();
    for session in 0..2 {
        let line = &read_back.document["sessions"][session]["shots"][0];
        assert_eq!(line["speed_over"], "unknown");
    }
    let timed_in: Vec<String> = lines()
        .into_iter()
        .map(|line| {
            if line.contains(",out,") {
                line.rsplitn(3, ',').last().unwrap().to_owned() + ",,"
            } else {
                line
            }
        })
        .collect();
    let read_back = read(&file(&timed_in)).unwrap();
    assert_eq!(
        read_back.document["sessions"][1]["shots"][0]["speed_over"],
        "in"
    );
}

#[test]
fn the_template_is_read_but_for_its_examples() {
    let study = study();
    let template = template(&study);
    let rejection = shots(template.as_bytes(), &study).unwrap_err();
    let examples: Vec<String> = (2..=5)
        .map(|line| format!("line {line}, column session"))
        .collect();
    let places = rejection.faults.iter().map(|fault| fault.pointer.clone());
    assert_eq!(places.collect::<Vec<_>>(), examples);
    assert!(shots(template.replace("example ", "").as_bytes(), &study).is_ok());
}

#[test]
fn a_file_is_json_or_csv_by_its_first_sign() {
    let of = |bytes: &[u8], name: &str| Written::of(bytes, name);
    assert_eq!(of(b" \n{\"a\"", "shots.csv"), Written::Json);
    assert_eq!(of(b"\xef\xbb\xbf[", ""), Written::Json);
    assert_eq!(of(b"session,", "shots.csv"), Written::Csv);
    assert_eq!(of(b"session,", "Shots.JSON"), Written::Json);
    assert_eq!(of(b"", ""), Written::Csv);
}

#[test]
fn consent_plan_and_level_are_set_and_taken_away() {
    let study = study();
    let mut document =
        json!({"player": {"itn": 3}, "plan_code": "X", "consent": 1, "sessions": []});
    uploaded::set_itn(&mut document, None);
    uploaded::set_plan_code(&mut document, None);
    assert_eq!(document, json!({"consent": 1, "sessions": []}));
    uploaded::set_itn(&mut document, Some(4));
    uploaded::set_plan_code(&mut document, Some("ABCD2345"));
    let scope = crate::vocabulary::ConsentScope::PoolingAndRows;
    assert_eq!(
        uploaded::with_consent(&document, &study, scope, false),
        json!({
            "consent": {"text_version": "1", "scope": "pooling_and_rows"},
            "sessions": [], "player": {"itn": 4}, "plan_code": "ABCD2345"
        })
    );
}

fn every_fault_has_a_line(rejection: &Rejection) -> bool {
    rejection.faults.iter().all(|fault| {
        let number = fault
            .pointer
            .strip_prefix("line ")
            .and_then(|rest| rest.split(',').next())
            .and_then(|line| line.parse::<u64>().ok());
        number.is_some_and(|line| 1 <= line)
    })
}

proptest! {
    #[test]
    fn any_bytes_are_read_or_faulted_by_line(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        if let Err(rejection) = shots(&bytes, &study()) {
            prop_assert!(every_fault_has_a_line(&rejection), "{rejection:?}");
        }
    }

    #[test]
    fn any_cells_are_read_or_faulted_by_line(
        cells in prop::collection::vec(
            prop::sample::select(vec![
                "1", "2", "looser", "tighter", "48", "54", "lb", "kg", "forehand", "volley", "deep",
                "out", "97.5", "101", "km/h", "mph", "", ",", "\n", "\r\n", "\"", ";", "é", "300",
            ]),
            0..120,
        ),
        is_in_place in any::<bool>(),
    ) {
        let text = if is_in_place {
            let rows = cells.chunks(8).map(|row| row.join(","));
            format!("{HEADER}\n{}", rows.collect::<Vec<_>>().join("\n"))
        } else {
            format!("{HEADER}\n{}", cells.concat())
        };
        if let Err(rejection) = read(&text) {
            prop_assert!(every_fault_has_a_line(&rejection), "{rejection:?}");
            prop_assert!(rejection.faults.len() <= rejection.n_faults);
        }
    }

    #[test]
    fn one_changed_cell_of_a_good_file_never_panics(
        line in 2_usize..=21,
        column in 0_usize..8,
        cell in "\\PC{0,12}",
    ) {
        let name = HEADER.split(',').nth(column).unwrap();
        match read(&with(line, name, &cell)) {
            Ok(read) => prop_assert!(
                crate::intake::contribution(
                    uploaded::with_consent(
                        &read.document,
                        &study(),
                        crate::vocabulary::ConsentScope::Pooling,
                        true,
                    )
                    .to_string()
                    .as_bytes(),
                    &study(),
                )
                .is_ok()
            ),
            Err(rejection) => prop_assert!(every_fault_has_a_line(&rejection)),
        }
    }
}
