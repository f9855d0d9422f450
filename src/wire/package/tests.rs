use super::columns::{From, of};
use super::text::defended;
use super::*;
use serde_json::json;

/// A table of the entries that an aggregate document lists.
fn written(aggregate: &Value, table: Table, format: Format) -> String {
    let listed = aggregate[table.list()].as_array().unwrap().clone();
    let mut text = String::new();
    write(&mut text, listed.into_iter(), table, format).unwrap();
    text
}

/// Every field of the descriptor's tables, with the name of its table.
fn fields(gap_unit: &str) -> Vec<(String, Value)> {
    let aggregate = json!({"protocol": {"gap_unit": gap_unit}});
    let hosting = crate::protocol::Hosting::default();
    let edition = Edition::Batch {
        hosting: &hosting,
        id: "urn:example:1",
        homepage: None,
    };
    let about = About {
        aggregate: &aggregate,
        edition,
    };
    let facts = File::all().into_iter().map(|file| FileFacts {
        file,
        sha256: "00".to_owned(),
        bytes: 1,
    });
    let facts: Vec<FileFacts> = facts.collect();
    let package = descriptor(&about, &facts);
    let resources = package["resources"].as_array().unwrap();
    assert_eq!(resources.len(), Table::ALL.len() * Format::ALL.len());
    let of_resource = |resource: &Value| {
        let fields = resource["schema"]["fields"].as_array().unwrap();
        let name = resource["name"].as_str().unwrap();
        let named = fields.iter().map(|field| (name.to_owned(), field.clone()));
        named.collect::<Vec<_>>()
    };
    resources.iter().flat_map(of_resource).collect()
}

#[test]
fn every_column_is_described_has_a_type_and_as_a_number_a_unit() {
    for (table, field) in fields("lb") {
        let name = format!("{table}: {}", field["name"]);
        let text = |key: &str| field[key].as_str().unwrap_or_default().to_owned();
        assert!(10 < text("description").len(), "{name}");
        assert!(text("description").ends_with('.'), "{name}");
        assert!(!text("title").is_empty(), "{name}");
        let kinds = ["integer", "number", "boolean", "string", "list"];
        assert!(kinds.contains(&text("type").as_str()), "{name}");
        let is_number = ["integer", "number"].contains(&text("type").as_str());
        let has_unit = field.get("unit").is_some() ^ field.get("unitByOutcome").is_some();
        assert_eq!(has_unit, is_number, "{name}");
        if let Some(codes) = field.get("unitByOutcome") {
            let codes = codes.as_object().unwrap();
            assert_eq!(codes.len(), crate::vocabulary::Outcome::ALL.len(), "{name}");
            let description = text("description");
            assert!(description.contains("km/h"), "{name}: {description}");
        }
    }
}

#[test]
fn whole_numbers_of_rows_have_a_unit_that_their_name_says() {
    // A count has the unit 1. What ends in another unit's letters must be one of those known.
    let dictionary = Dictionary::new();
    for column in of(Table::Rows, &dictionary) {
        let ends = [
            "_kg", "_mph", "_kmh", "_lb", "_hours", "_minutes", "_percent",
        ];
        let has_end = ends.iter().any(|end| column.name.ends_with(end));
        let is_one = column.unit == Some(columns::Unit::One);
        assert!(!(has_end && is_one), "{}", column.name);
    }
}

#[test]
fn every_column_but_the_derived_ones_stands_in_the_schema() {
    let dictionary = Dictionary::new();
    for table in Table::ALL {
        let columns = of(*table, &dictionary);
        assert!(4 < columns.len());
        for column in &columns {
            if let From::At(at) = &column.from {
                let entry = dictionary.entry(table.definition(), at);
                assert!(entry.is_some(), "{table:?}: {at}");
            }
        }
        let mut names: Vec<&str> = columns.iter().map(|column| column.name.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), columns.len(), "{table:?}");
    }
}

#[test]
fn tensions_are_forces_in_the_unit_of_the_bands() {
    let unit = |gap_unit: &str, name: &str| {
        let fields = fields(gap_unit);
        let mut found = fields.iter().filter(|(table, _)| table == "pooled");
        let found = found.find(|(_, field)| field["name"] == name).unwrap();
        (found.1["unit"].clone(), found.1["description"].to_string())
    };
    assert_eq!(unit("lb", "gap_from").0, "[lbf_av]");
    let (code, words) = unit("kg", "gap_from");
    assert_eq!(code, "kgf");
    assert!(words.contains("kilograms of string tension"), "{words}");
}

#[test]
fn files_have_names_that_lead_back_to_them() {
    let names: Vec<String> = File::all().into_iter().map(File::name).collect();
    assert_eq!(names[0], "datapackage.json");
    assert!(names.contains(&"rows.csv".to_owned()));
    for file in File::all() {
        assert_eq!(File::of_name(&file.name()), Some(file));
    }
    assert_eq!(File::of_name("rows.xls"), None);
}

#[test]
fn no_text_becomes_a_formula_and_every_text_can_be_had_back() {
    for text in [
        "=1+1",
        "+1",
        "-1",
        "@a",
        "\ta",
        "\ra",
        "\na",
        "'a",
        "''",
        "＝1",
        "a=b",
        "",
        "polyester",
    ] {
        let cell = defended(text);
        let first = cell.chars().next();
        assert!(!first.is_some_and(|first| "=+-@\t\r\n＝＋－＠".contains(first)));
        assert_eq!(cell.strip_prefix('\'').unwrap_or(&cell), text);
    }
    assert_eq!(defended("a-b"), "a-b");
}

#[test]
fn csv_is_that_of_rfc_4180_and_numbers_stay_as_they_are() {
    let mut row = Map::new();
    for name in Dictionary::new().fields("row") {
        row.insert(name, Value::Null);
    }
    row.insert("group".to_owned(), json!(1));
    row.insert("estimate".to_owned(), json!(-0.5));
    row.insert("variance".to_owned(), json!(1e-7));
    row.insert("planned".to_owned(), json!(true));
    row.insert("order".to_owned(), json!("=\"a\",\r\nb"));
    let aggregate = json!({"rows": [row]});
    let csv = written(&aggregate, Table::Rows, Format::Csv);
    let (header, rest) = csv.split_once("\r\n").unwrap();
    assert!(header.starts_with("group,pair,"));
    assert!(rest.contains(",-0.5,1e-7,"), "{rest}");
    assert!(rest.contains(",true,\"'=\"\"a\"\",\r\nb\","), "{rest}");
    assert!(rest.ends_with("\r\n"));
    let ndjson = written(&aggregate, Table::Rows, Format::Ndjson);
    let line: Value = serde_json::from_str(ndjson.trim_end()).unwrap();
    assert_eq!(line, aggregate["rows"][0]);
    let empty = json!({"rows": []});
    assert_eq!(
        written(&empty, Table::Rows, Format::Csv),
        format!("{header}\r\n")
    );
    assert_eq!(written(&empty, Table::Rows, Format::Ndjson), "");
}

#[test]
fn what_cannot_be_estimated_is_named_with_its_reason() {
    let analysis = json!({
        "shown": {"interval_kind": "cluster_robust", "estimate": 1.5, "p": null},
        "models": {"reml": {"se": 0.2, "cluster_robust": {"se": 0.3}}},
        "scrutiny": {"caveats": [{"code": "few_players"}, {"code": "retrospective"}]},
        "not_estimable": [
            {"at": "/shown/p", "code": "few_degrees_of_freedom"},
            {"at": "/models/dl", "code": "one_effect"},
        ],
    });
    let aggregate = json!({"analyses": [analysis]});
    let line = written(&aggregate, Table::Pooled, Format::Ndjson);
    let line: Value = serde_json::from_str(&line).unwrap();
    assert_eq!(line["se"], 0.3);
    assert_eq!(line["caveats"], json!(["few_players", "retrospective"]));
    let expected = [
        "p:few_degrees_of_freedom",
        "dl_estimate:one_effect",
        "dl_se:one_effect",
        "dl_tau2:one_effect",
    ];
    assert_eq!(line["not_estimable"], json!(expected));
    let csv = written(&aggregate, Table::Pooled, Format::Csv);
    assert!(csv.contains(",few_players;retrospective,p:few"), "{csv}");
}

#[test]
fn an_empty_file_is_no_table() {
    let hosting = crate::protocol::Hosting::default();
    let about = About {
        aggregate: &json!({}),
        edition: Edition::Batch {
            hosting: &hosting,
            id: "urn:example:1",
            homepage: None,
        },
    };
    let resources = |format, bytes| {
        let file = File::Table(Table::Rows, format);
        let facts = FileFacts {
            file,
            sha256: "00".to_owned(),
            bytes,
        };
        let package = descriptor(&about, &[facts]);
        package["resources"].as_array().unwrap().len()
    };
    assert_eq!(resources(Format::Ndjson, 0), 0);
    assert_eq!(resources(Format::Ndjson, 9), 1);
    assert_eq!(resources(Format::Csv, 9), 1);
}

#[test]
fn a_licence_stands_where_the_standard_has_a_place_for_it() {
    use crate::protocol::{Hosting, Licence};
    let licences = |name: &str, url: Option<&str>| {
        let hosting = Hosting {
            licence: Some(Licence {
                name: name.to_owned(),
                url: url.map(str::to_owned),
            }),
            ..Hosting::default()
        };
        let about = About {
            aggregate: &json!({}),
            edition: Edition::Batch {
                hosting: &hosting,
                id: "urn:example:1",
                homepage: None,
            },
        };
        let package = descriptor(&about, &[]);
        let said = package["description"].as_str().unwrap().to_owned();
        (package.get("licenses").cloned(), said)
    };
    let (of_name, _) = licences("CC0-1.0", None);
    assert_eq!(
        of_name,
        Some(json!([{"name": "CC0-1.0", "title": "CC0-1.0"}]))
    );
    let (of_url, _) = licences("A licence of ours", Some("https://pool.example/terms"));
    let url = json!([{"path": "https://pool.example/terms", "title": "A licence of ours"}]);
    assert_eq!(of_url, Some(url));
    let (neither, said) = licences("A licence of ours", None);
    assert_eq!(neither, None);
    assert!(said.contains("Licence of the data: A licence of ours."));
}
