use super::*;
use crate::findings::{BatchLabel, Choice, Rows, Withheld, table};
use crate::pooling::{Effects, Level};
use crate::protocol::{AnalysisRules, GapBands, StudyLabel};
use crate::units::{Hundredths, TensionUnit};
use crate::vocabulary::{Direction, Outcome, ShotClass, Stroke};
use ndarray::Array1;

const FOREHAND: ShotClass = ShotClass {
    stroke: Stroke::Forehand,
    direction: Direction::All,
};

/// A study with two primary outcomes and three gaps, after its third batch.
fn publication() -> Publication {
    let edges = [500, 800, 1200].map(Hundredths::from_count);
    let primary = |outcome| PrimaryOutcome {
        outcome,
        class: FOREHAND,
        smallest_worthwhile: None,
    };
    Publication {
        study: StudyLabel {
            slug: "a".to_owned(),
            question: "Is looser faster?".to_owned(),
            invented: false,
        },
        batch: Some(BatchLabel {
            number: 3,
            date: "2026-11-29".to_owned(),
        }),
        protocol_version: 1,
        rules: AnalysisRules {
            bands: GapBands::new(TensionUnit::Pound, edges.to_vec()).unwrap(),
            primary: vec![primary(Outcome::Speed), primary(Outcome::InShare)],
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

/// All that is found in `publication`, with players of the given number and difference at each gap
/// of speed.
fn findings(publication: &Publication, speed: [(usize, f64); 3]) -> Findings {
    let mut findings = publication.analyse(Choice::default()).unwrap();
    for ((place, band), (players, difference)) in (0..).zip(0..).zip(speed) {
        let analysis: &mut Analysis = &mut findings.analyses[place];
        let key = analysis.key;
        assert_eq!(
            (key.outcome, key.band),
            (Outcome::Speed, GapBand::Numbered(band))
        );
        let column = |value: f64| Array1::from_elem(players, value);
        let (estimates, variances) = (column(difference), column(1.0));
        analysis.result = match Effects::new(estimates.view(), variances.view(), None) {
            Ok(effects) if 5 <= players => {
                Ok(table(&effects, Level::NINETY_FIVE, Choice::default()))
            }
            _ => Err(Withheld { minimum_players: 5 }),
        };
    }
    findings
}

/// The newest batch, in the units of a reader who chose none.
fn view<'a>(publication: &'a Publication, findings: &'a Findings) -> CardView<'a> {
    CardView {
        publication,
        findings,
        standing: Standing::Live,
        hidden: None,
        units: Units::unchosen(TensionUnit::Pound),
        address: None,
    }
}

fn live(publication: &Publication, findings: &Findings) -> Card {
    card(&view(publication, findings))
}

#[test]
fn large_figures_are_of_the_gap_with_most_players_whatever_was_found_there() {
    let publication = publication();
    for (speed, main) in [
        ([(12, 9.0), (30, 2.0), (20, -9.0)], 1),
        ([(12, 0.0), (30, 9.0), (31, 2.0)], 2),
        ([(30, 2.0), (30, 9.0), (30, -9.0)], 0),
    ] {
        let card = live(&publication, &findings(&publication, speed));
        assert_eq!(card.main, Some(main), "{speed:?}");
        assert_eq!(card.gaps.len(), 3);
        let found = card.gaps[main].difference.as_ref().unwrap();
        assert!((found.estimate - speed[main].1).abs() < 1e-9);
    }
}

#[test]
fn nothing_is_told_in_large_figures_where_the_gap_with_most_players_leaves_the_direction_open() {
    let publication = publication();
    for speed in [
        [(12, 9.0), (30, 0.0), (20, -9.0)],
        [(12, 0.0), (30, 9.0), (31, 0.1)],
        [(30, 0.0), (30, 9.0), (30, -9.0)],
    ] {
        let card = live(&publication, &findings(&publication, speed));
        assert_eq!(card.main, None, "{speed:?}");
        assert!(card.gaps.iter().all(|gap| gap.difference.is_ok()));
    }
}

#[test]
fn the_card_says_what_the_page_says() {
    let publication = publication();
    let found = findings(&publication, [(12, 0.0), (40, 9.0), (3, 9.0)]);
    let card = live(&publication, &found);
    assert_eq!(card.question, "Is looser faster?");
    assert_eq!(card.notice, None);
    assert_eq!(card.about, "Mean ball speed, forehand");
    assert!(card.sentence.starts_with(
        "The looser string bed may make the ball faster at a gap of 8 to under 12 lb. At other \
         gaps we cannot tell."
    ));
    assert_eq!(card.gaps[1].counts, "40 pairs, 40 players");
    let withheld = card.gaps[2].difference.as_ref().unwrap_err();
    assert_eq!(withheld, "fewer than 5 players so far");
    assert_eq!(
        (card.unit.as_str(), card.interval_words.as_str()),
        ("km/h", "95\u{A0}% range")
    );
    assert_eq!(card.label, "Batch 3, 2026-11-29");
    let (about, sentence) = &card.others[0];
    assert_eq!(about, "In share, forehand");
    assert_eq!(
        sentence,
        "Too few players so far to tell which string bed keeps a larger share of balls in."
    );
}

#[test]
fn too_few_players_for_a_claim_have_no_figures() {
    let publication = publication();
    let card = live(
        &publication,
        &findings(&publication, [(9, 9.0), (12, 0.0), (3, 9.0)]),
    );
    let nothing = card.gaps[0].difference.as_ref().unwrap_err();
    assert_eq!(nothing, "too few players for a claim yet");
    assert_eq!(card.main, None);
    let card = live(
        &publication,
        &findings(&publication, [(9, 9.0), (4, 0.0), (3, 9.0)]),
    );
    assert!(card.gaps.is_empty());
    assert_eq!(
        card.sentence,
        "Too few players so far to tell which string bed is faster."
    );
}

#[test]
fn before_the_first_batch_and_while_figures_are_hidden_nothing_is_told() {
    let nothing = Publication {
        batch: None,
        ..publication()
    };
    let found = findings(&nothing, [(40, 9.0); 3]);
    for (hidden, sentence) in [
        (None, "There is nothing to show yet."),
        (
            Some(Hidden::Renewing),
            "The figures are hidden for now, because sessions were withdrawn.",
        ),
        (
            Some(Hidden::NotMade),
            "The figures cannot be shown at the moment, because of a fault of this service.",
        ),
        (
            Some(Hidden::BeingMade),
            "The figures are being made, because this service was started anew: look again in some minutes.",
        ),
    ] {
        let card = card(&CardView {
            hidden,
            ..view(&nothing, &found)
        });
        assert_eq!(card.sentence, sentence);
        assert!(card.gaps.is_empty() && card.others.is_empty());
        assert_eq!((card.label.as_str(), card.counts.as_str()), ("", ""));
    }
}

#[test]
fn a_release_is_named_by_its_number_and_invented_data_by_their_notice() {
    let mut publication = publication();
    publication.study.invented = true;
    let found = findings(&publication, [(12, 0.0); 3]);
    let card = card(&CardView {
        standing: Standing::Release(2),
        address: Some("example.org/studies/a".to_owned()),
        ..view(&publication, &found)
    });
    assert_eq!(card.label, "Release 2, figures of 2026-11-29");
    assert_eq!(
        card.notice.as_deref(),
        Some("Invented data: nobody hit these balls.")
    );
    assert_eq!(card.address.as_deref(), Some("example.org/studies/a"));
}
