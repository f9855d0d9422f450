//! Laws of questions, for any rows and any filters.

use crate::laws::publication;
use proptest::collection::vec;
use proptest::option::of;
use proptest::prelude::*;
use proptest::sample::select;
use std::collections::BTreeSet;
use tautpool::disclosure::{to_tenth, to_three_digits};
use tautpool::findings::query::{NotAnswered, Query};
use tautpool::findings::{Choice, Circumstances, LevelBand, Publication, Row};
use tautpool::intake;
use tautpool::protocol::{AnalysisRules, GapBand};
use tautpool::vocabulary::{Outcome, ShotClass, StringFamily, Stroke, VarianceSource};
use tautpool::wire;

const FAMILIES: [StringFamily; 2] = [StringFamily::Polyester, StringFamily::NaturalGut];

fn row() -> impl Strategy<Value = Row> {
    let known = (
        any::<bool>(),
        of(any::<bool>()),
        of(select(LevelBand::ALL)),
        of(select(&FAMILIES[..])),
    );
    let figures = (-60.0..60.0_f64, 0.1..30.0_f64);
    let place = (1..14_u32, 1..24_i32, any::<bool>(), any::<bool>());
    (place, figures, known).prop_map(|((group, gap_lb, speed, forehand), figures, known)| {
        let (planned, blinded, level, string_family) = known;
        Row {
            group,
            pair: 1,
            band: match gap_lb {
                ..5 => GapBand::UnderProtocol,
                5..8 => GapBand::Numbered(0),
                8..12 => GapBand::Numbered(1),
                12..16 => GapBand::Numbered(2),
                _ => GapBand::Numbered(3),
            },
            gap_lb,
            outcome: if speed {
                Outcome::Speed
            } else {
                Outcome::InShare
            },
            class: if forehand {
                ShotClass::of(Stroke::Forehand)
            } else {
                ShotClass::of(Stroke::Serve)
            },
            estimate: to_tenth(figures.0),
            variance: to_three_digits(figures.1),
            imputed_variance: 0.0,
            source: VarianceSource::Reported,
            circumstances: Circumstances {
                planned: Some(planned),
                blinded,
                level,
                string_family,
                ..Circumstances::default()
            },
        }
    })
}

fn bands() -> Vec<GapBand> {
    let rules: AnalysisRules = publication(Vec::new()).rules;
    rules.bands.all().collect()
}

fn query() -> impl Strategy<Value = Query> {
    let gaps = (of(0..20_i64), of(1..20_i64));
    let known = (
        of(select(&FAMILIES[..])),
        of(select(LevelBand::ALL)),
        of(any::<bool>()),
        of(any::<bool>()),
    );
    (of(select(bands())), gaps, known, any::<bool>()).prop_map(|(band, gaps, known, speed)| Query {
        outcome: if speed {
            Outcome::Speed
        } else {
            Outcome::InShare
        },
        band,
        gap_from: gaps.0,
        gap_below: gaps.1,
        string_family: known.0,
        level_band: known.1,
        planned: known.2,
        blinded: known.3,
        ..Query::first(&publication(Vec::new()).rules)
    })
}

/// Mostly wide questions, since narrow ones are mostly refused.
fn wide() -> impl Strategy<Value = Query> {
    (query(), 0..5_usize).prop_map(|(query, kept)| {
        let first = Query {
            outcome: query.outcome,
            ..Query::first(&publication(Vec::new()).rules)
        };
        match kept {
            0 => first,
            1 => Query {
                band: query.band,
                ..first
            },
            2 => Query {
                gap_from: query.gap_from,
                ..first
            },
            3 => Query {
                planned: query.planned,
                ..first
            },
            _ => Query {
                level_band: query.level_band,
                ..first
            },
        }
    })
}

fn document(publication: &Publication, query: &Query) -> Result<String, NotAnswered> {
    let answer = publication.ask(query)?;
    Ok(wire::query::document(publication, query, &answer).to_string())
}

fn players(publication: &Publication, query: &Query) -> usize {
    let rows = publication.rows.iter().filter(|row| query.holds(row));
    rows.map(|row| row.group).collect::<BTreeSet<_>>().len()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn the_order_of_the_rows_changes_no_bit(
        (rows, shuffled) in vec(row(), 0..70)
            .prop_flat_map(|rows| (Just(rows.clone()), Just(rows).prop_shuffle())),
        query in wide(),
    ) {
        let [rows, shuffled] = [rows, shuffled].map(publication);
        prop_assert_eq!(document(&rows, &query), document(&shuffled, &query));
    }

    #[test]
    fn a_filter_that_keeps_everything_changes_no_figure(rows in vec(row(), 0..70), outcome in any::<bool>()) {
        let family = StringFamily::Polyester;
        let mut rows = rows;
        for row in &mut rows {
            row.circumstances.string_family = Some(family);
            row.circumstances.level = Some(LevelBand::Middling);
            row.circumstances.blinded = Some(true);
        }
        let publication = publication(rows);
        let plain = Query {
            outcome: if outcome { Outcome::Speed } else { Outcome::InShare },
            ..Query::first(&publication.rules)
        };
        let asked = publication.ask(&plain);
        for same in [
            Query { string_family: Some(family), ..plain },
            Query { level_band: Some(LevelBand::Middling), ..plain },
            Query { blinded: Some(true), ..plain },
            Query { gap_from: Some(0), gap_below: Some(Query::widest_gap_lb() + 1), ..plain },
        ] {
            match (&asked, publication.ask(&same)) {
                (Ok(asked), Ok(again)) => {
                    prop_assert_eq!(&asked.finding, &again.finding);
                    prop_assert_eq!(&asked.caveats, &again.caveats);
                    prop_assert_eq!(&asked.certainty, &again.certainty);
                    prop_assert_eq!(asked.said.verdict, again.said.verdict);
                    prop_assert_eq!(asked.basis, again.basis);
                }
                (asked, again) => prop_assert_eq!(asked, &again),
            }
        }
    }

    #[test]
    fn rows_outside_a_question_change_no_figure_of_its_answer(rows in vec(row(), 0..70), query in wide()) {
        let all = publication(rows);
        let alone = publication(all.rows.iter().filter(|row| query.holds(row)).collect());
        match (all.ask(&query), alone.ask(&query)) {
            (Ok(among), Ok(alone)) => {
                prop_assert_eq!(among.finding, alone.finding);
                prop_assert_eq!(among.caveats, alone.caveats);
                prop_assert_eq!(among.bands, alone.bands);
                prop_assert_eq!(among.basis, alone.basis);
                prop_assert_eq!(among.said.verdict, alone.said.verdict);
            }
            (among, alone) => prop_assert_eq!(among, alone),
        }
    }

    #[test]
    fn below_the_minimum_of_players_every_question_is_refused(rows in vec(row(), 0..50), query in query()) {
        let publication = publication(rows);
        let minimum = publication.rules.minimum_players;
        let n_players = players(&publication, &query);
        match publication.ask(&query) {
            Ok(answer) => {
                prop_assert!(minimum <= n_players);
                prop_assert!(minimum <= answer.finding.pooled.n_clusters);
                prop_assert!(answer.finding.pooled.n_clusters <= n_players);
            }
            Err(refused) => {
                prop_assert!(n_players < minimum);
                prop_assert_eq!(refused, NotAnswered::TooFewPlayers { minimum_players: minimum });
            }
        }
    }

    #[test]
    fn a_question_is_read_as_it_is_told(query in query()) {
        let publication = publication(Vec::new());
        let read = intake::query::read(&query.text(), &publication);
        let in_order = match (query.gap_from, query.gap_below) {
            (Some(from), Some(below)) => from < below,
            _ => true,
        };
        prop_assert_eq!(read.ok(), in_order.then_some(query));
    }
}

#[test]
fn what_is_given_away_by_two_answers_is_given_away_by_the_rows() {
    // Two answers that differ by one pair, among so few that the pair can be worked out: it stands
    // in the rows, so whoever subtracts has what they had.
    let effects = [1.0, 2.0, -1.0, 0.5, 3.0, 9.0];
    let rows = effects.iter().zip(1..).map(|(estimate, group)| Row {
        group,
        pair: 1,
        band: GapBand::Numbered(0),
        gap_lb: if group == 6 { 7 } else { 6 },
        outcome: Outcome::Speed,
        class: ShotClass::of(Stroke::Forehand),
        estimate: *estimate,
        variance: 1.0,
        imputed_variance: 0.0,
        source: VarianceSource::Reported,
        circumstances: Circumstances::default(),
    });
    let publication = publication(rows.collect());
    let first = Query::first(&publication.rules);
    let fixed = |query: Query| {
        publication
            .ask(&query)
            .unwrap()
            .finding
            .pooled
            .fixed
            .unwrap()
    };
    let all = fixed(first).estimate;
    let five = fixed(Query {
        gap_below: Some(7),
        ..first
    })
    .estimate;
    let sixth = 6.0 * all - 5.0 * five;
    assert!((sixth - 9.0).abs() < 1e-12, "{sixth}");
    let mut rows = publication.rows.iter();
    assert!(rows.any(|row| row.estimate.to_bits() == 9.0_f64.to_bits()));
    assert_eq!(first.choice, Choice::default());
}
