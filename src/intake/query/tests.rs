use super::*;
use crate::findings::{Choice, Rows};
use crate::protocol::{AnalysisRules, GapBand, PrimaryOutcome, StudyLabel};
use crate::units::{Hundredths, TensionUnit};
use crate::vocabulary::ShotClass;

/// A publication without rows, whose first question is the deep share of backhands.
fn publication() -> Publication {
    let edges = [500, 800].map(Hundredths::from_count);
    Publication {
        study: StudyLabel {
            slug: "made-up".to_owned(),
            question: "Is this made up?".to_owned(),
            invented: true,
        },
        batch: None,
        protocol_version: 1,
        rules: AnalysisRules {
            bands: GapBands::new(TensionUnit::Pound, edges.to_vec()).unwrap(),
            primary: vec![PrimaryOutcome {
                outcome: Outcome::DeepShare,
                class: ShotClass::of(Stroke::Backhand),
                smallest_worthwhile: None,
            }],
            minimum_players: 5,
        },
        level: Level::NINETY_FIVE,
        rows: Rows::default(),
        frames: Vec::new(),
        pairs_left_out: 0,
        first_versions: Vec::new(),
        reached: Vec::new(),
        session_spreads: Vec::new(),
        count_models: Vec::new(),
        plans: None,
    }
}

fn asked(text: &str) -> Query {
    read(text, &publication()).unwrap()
}

/// The faults of a question, as place, code and sentence.
fn faults(text: &str) -> Vec<(String, FaultCode, String)> {
    let rejection = read(text, &publication()).unwrap_err();
    let faults = rejection.faults.into_iter();
    faults
        .map(|fault| (fault.pointer, fault.code, fault.sentence))
        .collect()
}

fn only_fault(text: &str) -> (String, FaultCode, String) {
    let mut faults = faults(text);
    assert_eq!(faults.len(), 1, "{text}: {faults:?}");
    faults.remove(0)
}

#[test]
fn what_is_left_out_is_that_of_the_first_primary_outcome() {
    let first = "outcome=deep_share&stroke=backhand&direction=all";
    for text in ["", "&", "outcome=deep_share", "level=0.95&estimator=reml"] {
        assert_eq!(asked(text), Query::first(&publication().rules), "{text}");
        assert_eq!(asked(text).text(), first);
    }
    let serve = asked("stroke=serve");
    assert_eq!(
        serve.text(),
        "outcome=deep_share&stroke=serve&direction=all"
    );
}

#[test]
fn every_parameter_is_read_and_told_again_in_one_order() {
    let text = "outcome=speed&stroke=forehand&direction=crosscourt&band=band_2&gap_from=8&gap_below=12&string_family=natural_gut&level_band=itn_4_to_6&planned=true&blinded=false&estimator=pm&interval=wald&level=0.9";
    let query = asked(text);
    assert_eq!(query.text(), text);
    assert_eq!(query.band, Some(GapBand::Numbered(1)));
    assert_eq!(query.planned, Some(true));
    assert_eq!(query.blinded, Some(false));
    assert_ne!(query.choice, Choice::default());
    let mut parts: Vec<&str> = text.split('&').collect();
    assert_eq!(parts.len(), Parameter::ALL.len());
    parts.reverse();
    assert_eq!(asked(&parts.join("&")), query);
    // Percent-encoded as much as one likes (RFC 3986, section 2.1).
    let encoded: String = text
        .chars()
        .map(|letter| match letter {
            '=' | '&' => letter.to_string(),
            _ => format!("%{:02x}", u32::from(letter)),
        })
        .collect();
    assert_eq!(asked(&encoded), query);
}

#[test]
fn every_word_that_is_offered_is_taken() {
    let bands = publication().rules.bands;
    for parameter in Parameter::ALL {
        for word in words(*parameter, &bands) {
            let query = asked(&format!("{}={word}", parameter.code()));
            let goes_without_saying = *parameter == Parameter::Estimator && word == "reml";
            let told = query.word(*parameter);
            assert_eq!(told.is_none(), goes_without_saying, "{parameter:?} {word}");
        }
    }
}

#[test]
fn a_misspelt_parameter_is_refused_with_the_nearest_one() {
    for (misspelt, meant) in [
        ("outcom", "outcome"),
        ("gap_form", "gap_from"),
        ("levelband", "level_band"),
        ("string_familly", "string_family"),
        ("Planned", "planned"),
    ] {
        let (place, code, sentence) = only_fault(&format!("{misspelt}=x"));
        assert_eq!(place, format!("/{misspelt}"));
        assert_eq!(code, FaultCode::UnknownField);
        let said = format!("`{misspelt}` is not a parameter here; did you mean `{meant}`?");
        assert_eq!(sentence, said);
    }
    let (_, code, sentence) = only_fault("colour=blue");
    assert_eq!(code, FaultCode::UnknownField);
    assert!(
        sentence.contains("use one of: outcome, stroke,"),
        "{sentence}"
    );
}

#[test]
fn a_repeated_parameter_is_refused() {
    let (place, code, _) = only_fault("planned=true&planned=true");
    assert_eq!(
        (place.as_str(), code),
        ("/planned", FaultCode::DuplicateKey)
    );
}

#[test]
fn a_bad_value_is_named_with_what_is_allowed() {
    use FaultCode::{NotInList, NotUtf8, NotWhole, TooLarge, TooSmall, WrongType};
    for (text, place, code, mend) in [
        (
            "outcome=spede",
            "/outcome",
            NotInList,
            "write one of speed, deep_share",
        ),
        (
            "outcome=sped",
            "/outcome",
            NotInList,
            "did you mean `speed`?",
        ),
        ("outcome", "/outcome", NotInList, "\"\" is not in the list"),
        ("band=band_3", "/band", NotInList, "band_1, band_2, under"),
        (
            "string_family=unknown",
            "/string_family",
            NotInList,
            "natural_gut",
        ),
        ("planned=yes", "/planned", NotInList, "true, false"),
        ("gap_from=-1", "/gap_from", TooSmall, "0 to 85"),
        ("gap_from=86", "/gap_from", TooLarge, "0 to 85"),
        (
            "gap_from=99999999999999999999",
            "/gap_from",
            TooLarge,
            "0 to 85",
        ),
        ("gap_below=0", "/gap_below", TooSmall, "1 to 86"),
        ("gap_below=8.5", "/gap_below", NotWhole, "1 to 86"),
        ("gap_below=%2b8", "/gap_below", NotWhole, "1 to 86"),
        ("gap_from=", "/gap_from", NotWhole, "0 to 85"),
        (
            "gap_from=8&gap_below=8",
            "/gap_below",
            TooSmall,
            "gap_from, 8",
        ),
        ("level=0.49", "/level", TooSmall, "0.5 to under 1"),
        ("level=1", "/level", TooLarge, "0.5 to under 1"),
        ("level=95%25", "/level", WrongType, "0.5 to under 1"),
        ("level=nan", "/level", WrongType, "0.5 to under 1"),
        ("level=9e-1", "/level", WrongType, "0.5 to under 1"),
        ("level=", "/level", WrongType, "0.5 to under 1"),
        ("level=%f0%9", "/level", NotUtf8, "percent-encoded"),
        ("level=%ff", "/level", NotUtf8, "percent-encoded"),
    ] {
        let (at, found, sentence) = only_fault(text);
        assert_eq!((at.as_str(), found), (place, code), "{text}: {sentence}");
        assert!(sentence.contains(mend), "{text}: {sentence}");
    }
}

#[test]
fn every_fault_is_named_at_once_and_none_repeats_much() {
    let long = "x".repeat(5_000);
    let found = faults(&format!("{long}=1&outcome={long}&level=2&gap_from=x"));
    assert_eq!(found.len(), 4);
    for (place, _, sentence) in found {
        assert!(place.len() < 200 && sentence.len() < 400, "{sentence}");
    }
}
