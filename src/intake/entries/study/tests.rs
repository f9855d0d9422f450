use super::*;
use crate::intake;

fn demonstration() -> Value {
    serde_json::from_str(include_str!("../../../../fixtures/demo/study.json")).unwrap()
}

fn faults(entries: &StudyEntries) -> Vec<StudyFault> {
    let document = study_document(entries).to_string();
    intake::study(document.as_bytes()).map_or_else(
        |rejection| at_study_fields(entries, &rejection),
        |_| Vec::new(),
    )
}

fn names(faults: &[StudyFault]) -> Vec<&str> {
    faults
        .iter()
        .map(|fault| fault.field.as_deref().unwrap_or("none"))
        .collect()
}

#[test]
fn a_document_comes_back_from_its_entries() {
    let document = demonstration();
    let again = study_document(&study_entries(&document));
    let read = |document: &Value| intake::study(document.to_string().as_bytes()).unwrap();
    assert_eq!(read(&again), read(&document));
}

#[test]
fn a_new_study_lacks_its_question_and_name_and_nothing_else() {
    let mut entries = new_study(&demonstration());
    assert_eq!(names(&faults(&entries)), ["question", "study"]);
    entries.set("question", "Faster?");
    entries.set("study", "faster");
    assert_eq!(faults(&entries), []);
    let document = study_document(&entries);
    let study = intake::study(document.to_string().as_bytes()).unwrap();
    assert!(!study.label.invented);
    assert_eq!(study.hosting, crate::protocol::Hosting::default());
    assert_eq!(study.protocol.release_rule, None);
    for text in [&study.protocol.consent.text, &study.protocol.caution] {
        assert!(
            !text.contains("demonstration") && !text.contains("invented"),
            "{text}"
        );
    }
    let missing = intake::ready_to_recruit(&study).unwrap_err();
    let missing = at_study_fields(&entries, &missing);
    assert_eq!(names(&missing), ["contact", "licence_name", "privacy_text"]);
}

#[test]
fn every_fault_stands_at_its_field_in_the_order_of_the_form() {
    let mut entries = new_study(&demonstration());
    for (name, text) in [
        ("question", "Faster?"),
        ("study", "Not A Slug"),
        ("outcome_1", ""),
        ("worthwhile_2", "much"),
        ("gap_band_edges", "8 5"),
        ("minimum_shots", "twenty"),
        ("minimum_players", "2"),
        ("release_kind", "date"),
        ("release_on", "31.3.2027"),
        ("licence_url", "http://example.org"),
        ("caution", ""),
    ] {
        entries.set(name, text);
    }
    assert_eq!(
        names(&faults(&entries)),
        [
            "study",
            "worthwhile_2",
            "gap_band_edges",
            "minimum_shots",
            "minimum_players",
            "release_on",
            "caution",
            "licence_name",
            "licence_url",
        ]
    );
    entries.set("gap_band_edges", "5; 8,5 twelve");
    let found = faults(&entries);
    let edges = found
        .iter()
        .find(|fault| fault.field.as_deref() == Some("gap_band_edges"));
    assert!(edges.unwrap().sentence.contains("twelve"));
    for number in 1..=3 {
        entries.set(&format!("outcome_{number}"), "");
    }
    assert_eq!(names(&faults(&entries))[1], "outcome_1");
}

#[test]
fn what_belongs_to_another_choice_is_left_out() {
    let mut entries = new_study(&demonstration());
    entries.set("release_kind", "players");
    entries.set("release_on", "2027-03-31");
    entries.set("release_at_least", "40");
    let document = study_document(&entries);
    assert_eq!(
        document["protocol"]["release_rule"],
        json!({"kind": "players", "at_least": 40})
    );
}
