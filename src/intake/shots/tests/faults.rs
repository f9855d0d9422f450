//! Files with faults: each is named by its place.

use super::*;

#[test]
fn every_bad_cell_is_named_by_line_and_column() {
    for (column, cell, code) in [
        ("session", "", FaultCode::Missing),
        ("session", "0", FaultCode::TooSmall),
        ("session", "9", FaultCode::TooLarge),
        ("session", "1.5", FaultCode::NotWhole),
        ("session", "one", FaultCode::WrongType),
        ("session", "Example 1", FaultCode::NotInList),
        ("string_bed", "", FaultCode::Missing),
        ("string_bed", "loose", FaultCode::NotInList),
        ("tension", "", FaultCode::Missing),
        ("tension", "fifty", FaultCode::WrongType),
        ("tension", "101", FaultCode::TooLarge),
        ("tension_unit", "pounds", FaultCode::NotInList),
        ("stroke", "", FaultCode::Missing),
        ("stroke", "all", FaultCode::NotInList),
        ("landed", "long", FaultCode::NotInList),
        ("speed", "97 km/h", FaultCode::WrongType),
        ("speed", "\"97,5\"", FaultCode::WrongType),
        ("speed", "97.505", FaultCode::TooManyDecimals),
        ("speed", "0", FaultCode::TooSmall),
        ("speed", "300.01", FaultCode::TooLarge),
        ("speed_unit", "", FaultCode::Missing),
        ("speed_unit", "m/s", FaultCode::NotInList),
    ] {
        let found = if cell == "\"97,5\"" {
            // Quoted, so it is written after the cells were taken apart.
            places(&with(4, column, "97.5").replace(",97.5,", ",\"97,5\","))
        } else {
            places(&with(4, column, cell))
        };
        assert_eq!(
            found,
            [(format!("line 4, column {column}"), code)],
            "{column} {cell:?}"
        );
    }
}

#[test]
fn what_holds_for_a_session_holds_in_all_its_lines() {
    for (column, cell) in [
        ("string_bed", "tighter"),
        ("tension", "48.5"),
        ("tension_unit", "kg"),
        ("speed_unit", "mph"),
    ] {
        let text = with(7, column, cell);
        let rejection = read(&text).unwrap_err();
        assert_eq!(
            places(&text),
            [(
                format!("line 7, column {column}"),
                FaultCode::DiffersInSession
            )]
        );
        assert!(rejection.faults[0].sentence.contains("line 2 says"));
    }
    // 48.0 is 48.
    assert!(read(&with(7, "tension", "48.0")).is_ok());
    assert_eq!(
        places(&with(15, "session", "1"))[0],
        ("line 15, column session".to_owned(), FaultCode::OutOfOrder)
    );
}

#[test]
fn all_faults_come_at_once_and_are_counted_beyond_the_list() {
    let mut lines = lines();
    lines[3] = lines[3].replace("lb", "stone");
    lines[3] = lines[3].replace("forehand", "smash");
    lines[12] = lines[12].replace("km/h", "knots");
    assert_eq!(
        places(&file(&lines))
            .into_iter()
            .map(|(place, _)| place)
            .collect::<Vec<_>>(),
        [
            "line 4, column tension_unit",
            "line 4, column stroke",
            "line 13, column speed_unit"
        ]
    );
    let many = format!("{HEADER}\n{}", "1,looser,48,lb,smash,,,\n".repeat(900));
    let rejection = read(&many).unwrap_err();
    assert_eq!((rejection.faults.len(), rejection.n_faults), (500, 900));
}

#[test]
fn the_first_line_is_asked_for_its_names() {
    let headed = |header: &str| places(&file(&lines()).replacen(HEADER, header, 1));
    let misspelt = HEADER.replace("speed_unit", "speed_units");
    assert_eq!(
        headed(&misspelt),
        [
            (
                "line 1, column speed_units".to_owned(),
                FaultCode::UnknownField
            ),
            ("line 1, column speed_unit".to_owned(), FaultCode::Missing)
        ]
    );
    let rejection = read(&misspelt).unwrap_err();
    assert!(
        rejection.faults[0]
            .sentence
            .contains("did you mean `speed_unit`?")
    );
    let twice = HEADER.replace("landed", "speed");
    assert_eq!(headed(&twice)[0].1, FaultCode::DuplicateKey);
    assert_eq!(headed("1,2,3,4,5,6,7,8")[0].1, FaultCode::Missing);
    assert_eq!(headed(&HEADER.replace(',', "\t"))[0].1, FaultCode::Missing);
    assert_eq!(places("")[0].1, FaultCode::Missing);
    assert_eq!(places(HEADER)[0].1, FaultCode::TooFew);
}

#[test]
fn lines_of_another_length_are_named() {
    let longer = file(&lines()).replacen("km/h\n", "km/h,note\n", 1);
    assert_eq!(places(&longer)[0].0, "line 2, column 9");
    let shorter = file(&lines()).replacen(",km/h\n", "\n", 1);
    assert_eq!(places(&shorter)[0].0, "line 2");
}

#[test]
fn what_is_no_text_is_refused() {
    let mut bytes = file(&lines()).into_bytes();
    let place = bytes.iter().rposition(|byte| *byte == b'k').unwrap();
    bytes[place] = 0xff;
    let rejection = shots(&bytes, &study()).unwrap_err();
    assert_eq!(rejection.faults[0].pointer, "line 21");
    assert!(rejection.faults[0].sentence.contains("UTF-8"));
    let zip = shots(b"PK\x03\x04whatever", &study()).unwrap_err();
    assert!(zip.faults[0].sentence.contains("save the sheet as CSV"));
    let large = vec![b'a'; MOST_BYTES + 1];
    assert_eq!(
        shots(&large, &study()).unwrap_err().faults[0].code,
        FaultCode::TooLong
    );
    let many = format!(
        "{HEADER}\n{}",
        "1,looser,9,lb,serve,,,\n".repeat(MOST_SHOTS + 1)
    );
    assert!(many.len() < MOST_BYTES);
    let rejection = read(&many).unwrap_err();
    assert_eq!(
        rejection.faults[0].pointer,
        format!("line {}", MOST_SHOTS + 2)
    );
}

#[test]
fn the_rules_of_a_contribution_are_told_at_the_lines() {
    let text = file(&lines());
    let only_looser = lines()[..11].to_vec();
    assert_eq!(
        places(&file(&only_looser)),
        [("line 2, column string_bed".to_owned(), FaultCode::TooFew)]
    );
    assert_eq!(
        places(&text.replace(",54,", ",47,")),
        [(
            "line 2, column string_bed".to_owned(),
            FaultCode::LooserNotLooser
        )]
    );
    assert_eq!(
        places(&text.replace(",54,lb", ",54,kg"))[0],
        (
            "line 12, column tension".to_owned(),
            FaultCode::TensionOutOfBounds
        )
    );
    let untimed = text
        .lines()
        .map(|line| line.rsplitn(3, ',').last().unwrap().to_owned() + ",,")
        .collect::<Vec<_>>();
    let untimed = file(&untimed).replacen(",,\n", ",speed,speed_unit\n", 1);
    assert_eq!(
        places(&untimed),
        [(
            "line 2, column speed".to_owned(),
            FaultCode::NothingToCompare
        )]
    );
    let mph = text.replace(",km/h", ",mph");
    let mixed: String = mph
        .lines()
        .enumerate()
        .map(|(place, line)| {
            let line = if place < 11 {
                line.replace("mph", "km/h")
            } else {
                line.to_owned()
            };
            line + "\n"
        })
        .collect();
    let rejection = read(&mixed).unwrap_err();
    assert_eq!(
        places(&mixed)[0],
        (
            "line 12, column speed".to_owned(),
            FaultCode::SpeedsFarApart
        )
    );
    assert!(
        rejection.faults[0]
            .sentence
            .starts_with("Session 2, forehand: ")
    );
}
