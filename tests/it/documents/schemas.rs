//! The published schemas of what leaves: closed, described, with the program's own words.

use serde_json::{Value, json};
use std::collections::BTreeMap;
use tautpool::effects::LeftOutReason;
use tautpool::findings::caveats::Caveat;
use tautpool::findings::certainty::CertaintyLevel;
use tautpool::findings::families::Adjustment;
use tautpool::findings::gains::GainOf;
use tautpool::findings::query::{Note, Parameter, Query};
use tautpool::findings::questions::Explanation;
use tautpool::findings::sensitivity::Sensitivity;
use tautpool::findings::words::Verdict;
use tautpool::findings::{Basis, IntervalKind};
use tautpool::intake::FaultCode;
use tautpool::intake::query::words as question_words;
use tautpool::intake::schema::Schema;
use tautpool::plan::Kind;
use tautpool::pooling::Reason;
use tautpool::protocol::{GapBands, limits};
use tautpool::release::{Because, ReleaseKind, StatedRange};
use tautpool::screening::Rule;
use tautpool::units::{Hundredths, TensionUnit};
use tautpool::vocabulary::{Direction, Ground, Outcome, Sequence, Stroke, VarianceSource};
use tautpool::wire::problem::ProblemKind;

const LEAVING: [Schema; 13] = [
    Schema::Own,
    Schema::Pooled,
    Schema::Query,
    Schema::Aggregate,
    Schema::Receipt,
    Schema::Studies,
    Schema::Problem,
    Schema::Health,
    Schema::FormCheck,
    Schema::Plan,
    Schema::Protocol,
    Schema::Release,
    Schema::Releases,
];

/// The fields that may be absent: there is a regression only where moderators were asked for, and
/// DataCite's JSON leaves out what it does not have.
const OPTIONAL: [&str; 2] = ["regression", "rightsUri"];

/// Longest description: fault sentences are made with them.
const LONGEST_DESCRIPTION: usize = 120;

fn text(schema: Schema) -> Value {
    serde_json::from_str(schema.text()).unwrap()
}

/// Calls `look` with every part of a schema and its place.
fn walk(part: &Value, at: &str, look: &mut impl FnMut(&str, &Value)) {
    look(at, part);
    match part {
        Value::Object(fields) => {
            for (name, value) in fields {
                walk(value, &format!("{at}/{name}"), look);
            }
        }
        Value::Array(items) => {
            for (place, value) in items.iter().enumerate() {
                walk(value, &format!("{at}/{place}"), look);
            }
        }
        _ => {}
    }
}

/// The codes of an `enum` without its null.
fn codes(part: &Value) -> Vec<&str> {
    part.as_array()
        .unwrap()
        .iter()
        .filter_map(Value::as_str)
        .collect()
}

#[test]
fn objects_are_closed_and_every_field_is_described_and_required() {
    for schema in LEAVING {
        walk(&text(schema), "", &mut |at, part| {
            let Some(fields) = part.get("properties").and_then(Value::as_object) else {
                return;
            };
            // Conditions add to an object that is closed elsewhere.
            if at.ends_with("/if") || at.ends_with("/then") || at.ends_with("/else") {
                return;
            }
            let place = format!("{}{at}", schema.file_name());
            assert_eq!(part["additionalProperties"], false, "{place}");
            let names: Vec<&String> = fields
                .keys()
                .filter(|name| !OPTIONAL.contains(&name.as_str()))
                .collect();
            assert_eq!(part["required"], json!(names), "{place}");
            for (name, field) in fields {
                let described = field["description"].as_str().map(str::len);
                let fits = described.is_some_and(|length| length <= LONGEST_DESCRIPTION);
                assert!(fits, "{place}/{name}: {described:?}");
            }
        });
    }
}

#[test]
fn lists_of_words_are_those_of_the_program() {
    let words = |all: &[&'static str]| all.to_vec();
    let outcomes: Vec<_> = Outcome::ALL.iter().map(|word| word.code()).collect();
    let primary: Vec<_> = Outcome::PRIMARY.iter().map(|word| word.code()).collect();
    let strokes: Vec<_> = Stroke::ALL.iter().map(|word| word.code()).collect();
    let directions: Vec<_> = Direction::ALL.iter().map(|word| word.code()).collect();
    let sources: Vec<_> = VarianceSource::ALL.iter().map(|word| word.code()).collect();
    let kinds: Vec<_> = IntervalKind::ALL.iter().map(|word| word.code()).collect();
    let expected = BTreeMap::from([
        ("outcome", outcomes),
        ("declared", primary),
        (
            "by",
            Explanation::ALL.iter().map(|word| word.code()).collect(),
        ),
        ("basis", Basis::ALL.iter().map(|word| word.code()).collect()),
        (
            "verdict",
            Verdict::ALL.iter().map(|word| word.code()).collect(),
        ),
        ("of", GainOf::ALL.iter().map(|word| word.code()).collect()),
        ("stroke", strokes),
        ("direction", directions),
        ("variance_source", sources),
        ("interval_kind", kinds),
        ("gap_unit", words(&["lb", "kg"])),
    ]);
    let mut n_lists = 0;
    for schema in LEAVING {
        walk(&text(schema), "", &mut |at, part| {
            let declared = at.ends_with("/primary/items/properties/outcome");
            let name = at.rsplit('/').next().unwrap_or_default();
            let name = if declared { "declared" } else { name };
            if let (Some(words), Some(list)) = (expected.get(name), part.get("enum")) {
                assert_eq!(&codes(list), words, "{}{at}", schema.file_name());
                n_lists += 1;
            }
        });
    }
    assert!(20 < n_lists, "{n_lists}");
}

#[test]
fn lists_of_reasons_are_those_of_the_program() {
    let receipt = text(Schema::Receipt);
    let flags: Vec<_> = Rule::ALL.iter().map(|word| word.code()).collect();
    let left_out: Vec<_> = LeftOutReason::ALL.iter().map(|word| word.code()).collect();
    let code = "properties/code/enum";
    let list = |schema: &Value, part: &str| {
        let list = schema
            .pointer(&format!("/$defs/{part}/{code}"))
            .unwrap()
            .clone();
        codes(&list)
            .into_iter()
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    assert_eq!(list(&receipt, "flag"), flags);
    assert_eq!(list(&receipt, "left_out"), left_out);
    let problem = text(Schema::Problem);
    let faults: Vec<_> = FaultCode::ALL.iter().map(|word| word.code()).collect();
    assert_eq!(list(&problem, "fault"), faults);
    let types: Vec<_> = ProblemKind::ALL
        .iter()
        .map(|word| format!("/problems#{}", word.code()))
        .collect();
    assert_eq!(problem["properties"]["type"]["enum"], json!(types));
    let reasons: Vec<_> = Reason::ALL.iter().map(Reason::code).collect();
    for schema in [Schema::Pooled, Schema::Aggregate] {
        let schema = text(schema);
        assert_eq!(list(&schema, "not_estimable"), reasons);
        assert_eq!(list(&schema, "caveat"), Caveat::CODES);
        let lines: Vec<_> = Sensitivity::ALL.iter().map(|word| word.code()).collect();
        assert_eq!(list(&schema, "sensitivity"), lines);
        let field = |part: &str| schema["$defs"].pointer(part).unwrap().clone();
        let levels: Vec<_> = CertaintyLevel::ALL.iter().map(|word| word.code()).collect();
        assert_eq!(codes(&field("/certainty/properties/level/enum")), levels);
        let methods: Vec<_> = Adjustment::ALL.iter().map(|word| word.code()).collect();
        assert_eq!(codes(&field("/adjusted_p/properties/method/enum")), methods);
    }
}

#[test]
fn lists_of_plans_are_those_of_the_program() {
    let kinds: Vec<_> = Kind::ALL.iter().map(|word| word.code()).collect();
    for schema in [Schema::PlanRequest, Schema::Plan] {
        let list = text(schema)["properties"]["kind"]["enum"].clone();
        assert_eq!(codes(&list), kinds);
    }
    let sequences: Vec<_> = Sequence::ALL.iter().map(|word| word.code()).collect();
    let list = text(Schema::Plan)["properties"]["sequence"]["enum"].clone();
    assert_eq!(codes(&list), sequences);
}

#[test]
fn lists_of_releases_are_those_of_the_program() {
    let release = text(Schema::Release);
    let list = |place: &str| release.pointer(place).unwrap().clone();
    let kinds: Vec<_> = ReleaseKind::ALL.iter().map(|word| word.code()).collect();
    assert_eq!(codes(&list("/properties/kind/enum")), kinds);
    let listed = text(Schema::Releases);
    let of_list = "/properties/releases/items/properties/kind/enum";
    assert_eq!(codes(listed.pointer(of_list).unwrap()), kinds);
    let ranges: Vec<_> = StatedRange::ALL.iter().map(|word| word.code()).collect();
    assert_eq!(codes(&list("/$defs/stated/properties/range/enum")), ranges);
    let because: Vec<_> = Because::ALL.iter().map(|word| word.code()).collect();
    assert_eq!(
        codes(&list("/$defs/stated/properties/because/enum")),
        because
    );
    let grounds: Vec<_> = Ground::ALL.iter().map(|word| word.code()).collect();
    let of_flow = "/$defs/flow/properties/declined/items/properties/ground/enum";
    assert_eq!(codes(&list(of_flow)), grounds);
    let levels: Vec<_> = CertaintyLevel::ALL.iter().map(|word| word.code()).collect();
    let of_gap = "/$defs/answer/properties/gaps/items/properties/certainty/enum";
    assert_eq!(codes(&list(of_gap)), levels);
}

#[test]
fn pooled_and_aggregate_describe_what_they_share_in_the_same_words() {
    let pooled = text(Schema::Pooled);
    let aggregate = text(Schema::Aggregate);
    let mut n_shared = 0;
    for (name, part) in pooled["$defs"].as_object().unwrap() {
        let other = &aggregate["$defs"][name];
        // Only in the pooled document may an analysis be of a table that is not a study's.
        if name != "analysis" && !other.is_null() {
            assert_eq!(part, other, "{name}");
            n_shared += 1;
        }
    }
    assert_eq!(n_shared, 60);
}

#[test]
fn words_and_bounds_of_questions_are_those_of_the_program() {
    let query = text(Schema::Query);
    let question = &query["$defs"]["question"]["properties"];
    let bands = GapBands::new(TensionUnit::Pound, vec![Hundredths::from_count(500)]).unwrap();
    for parameter in Parameter::ALL {
        let part = &question[parameter.code()];
        let words = question_words(*parameter, &bands);
        if part["enum"].is_array() {
            assert_eq!(codes(&part["enum"]), words, "{parameter:?}");
        }
    }
    let widest = Query::widest_gap_lb();
    assert_eq!(question["gap_from"]["maximum"], widest);
    assert_eq!(question["gap_below"]["maximum"], widest + 1);
    let names: Vec<&String> = question.as_object().unwrap().keys().collect();
    let parameters: Vec<_> = Parameter::ALL.iter().map(|one| one.code()).collect();
    assert_eq!(names[..parameters.len()], parameters);
    let notes: Vec<_> = Note::ALL.iter().map(|word| word.code()).collect();
    assert_eq!(
        codes(&query["$defs"]["note"]["properties"]["code"]["enum"]),
        notes
    );
}

#[test]
fn bounds_of_rows_are_those_of_the_program() {
    let row = &text(Schema::Aggregate)["$defs"]["row"]["properties"];
    let widest = limits::TENSION_HIGHEST.minus(limits::TENSION_LOWEST);
    assert_eq!(row["gap_lb"]["maximum"], widest.nearest_pound());
}
