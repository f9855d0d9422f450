//! Analyses that a batch left as they were.

use super::rows;
use crate::laws::{Made, number, publication};
use tautpool::findings::{Before, Choice, Findings, Publication, Row, SessionSpread};
use tautpool::protocol::GapBand;
use tautpool::vocabulary::Outcome;

/// Two outcomes in three bands, most players with one pair, every fifth with two.
fn crowd(seed: u64) -> Vec<Row> {
    let mut all = Vec::new();
    for (place, outcome) in [Outcome::Speed, Outcome::InShare].into_iter().enumerate() {
        all.extend(rows(
            seed + u64::try_from(place).unwrap(),
            48,
            |idx, row| Row {
                group: number(if idx % 5 == 4 { idx } else { idx + 1 }),
                pair: 1 + u32::from(idx % 5 == 4),
                band: GapBand::Numbered(u8::try_from(idx % 15 / 5).unwrap()),
                outcome,
                ..row
            },
        ));
    }
    all
}

/// Numbers of players and the order of rows as another batch would have them.
fn renumbered(mut rows: Vec<Row>, made: &mut Made) -> Vec<Row> {
    let mut numbers: Vec<u32> = (1..=200).collect();
    made.shuffle(&mut numbers);
    for row in &mut rows {
        row.group = numbers[row.group as usize];
        row.pair = 3 - row.pair;
    }
    made.shuffle(&mut rows);
    rows
}

fn found(publication: &Publication) -> Findings {
    publication.analyse(Choice::default()).unwrap()
}

fn after(now: &Publication, before: &Publication, findings: &Findings) -> Findings {
    let before = Before {
        publication: before,
        findings,
    };
    now.analyse_after(Choice::default(), Some(before)).unwrap()
}

/// What was found, with every analysis marked by a figure that it never has.
fn marked(publication: &Publication) -> Findings {
    let mut findings = found(publication);
    for analysis in &mut findings.analyses {
        analysis.corrected_at_least = 77;
    }
    findings
}

/// The bands whose analyses were taken over, but those that nobody is in.
fn taken_over(findings: &Findings) -> Vec<GapBand> {
    let analyses = findings.analyses.iter();
    let analyses = analyses.filter(|analysis| analysis.result.is_ok());
    let marked = analyses.filter(|analysis| analysis.corrected_at_least == 77);
    let mut bands: Vec<GapBand> = marked.map(|analysis| analysis.key.band).collect();
    bands.sort_unstable();
    bands.dedup();
    bands
}

#[test]
fn what_is_taken_over_is_to_the_last_bit_what_would_be_made_anew() {
    let mut made = Made(11);
    let before = publication(crowd(1));
    for changed in 0..6 {
        let mut rows = renumbered(crowd(1), &mut made);
        // One row fewer, one more, another figure, another fact, another player, or nothing.
        match changed {
            0 => drop(rows.pop()),
            1 => rows.push(Row {
                group: 500,
                ..rows[0]
            }),
            2 => rows[7].variance *= 2.0,
            3 => rows[7].circumstances.planned = None,
            4 => rows[7].group = 501,
            _ => {}
        }
        let now = publication(rows);
        assert_eq!(
            after(&now, &before, &found(&before)),
            found(&now),
            "{changed}"
        );
    }
}

#[test]
fn only_the_bands_that_something_came_to_are_made_anew() {
    let mut made = Made(12);
    let before = publication(crowd(1));
    let all = [0, 1, 2].map(GapBand::Numbered);
    let same = publication(renumbered(before.rows.iter().collect(), &mut made));
    assert_eq!(taken_over(&after(&same, &before, &marked(&before))), all);

    let mut rows = renumbered(before.rows.iter().collect(), &mut made);
    let newcomers = before
        .rows
        .iter()
        .filter(|row| row.band == GapBand::Numbered(1));
    rows.extend(newcomers.map(|row| Row {
        group: 600 + row.group,
        ..row
    }));
    let touched = publication(rows);
    let others = [0, 2].map(GapBand::Numbered);
    assert_eq!(
        taken_over(&after(&touched, &before, &marked(&before))),
        others
    );
}

#[test]
fn whatever_else_an_analysis_rests_on_has_to_be_the_same_too() {
    let before = publication(crowd(1));
    let mut other_rules = before.clone();
    other_rules.rules.minimum_players += 1;
    let mut other_spread = before.clone();
    other_spread.session_spreads.push(SessionSpread {
        outcome: before.rules.primary[0].outcome,
        class: before.rules.primary[0].class,
        variance: 0.5,
        se: 0.1,
        players_at_least: 10,
    });
    for now in [other_rules, other_spread] {
        let findings = after(&now, &before, &marked(&before));
        let speed = findings.analyses.iter().find(|analysis| analysis.primary);
        assert_ne!(speed.unwrap().corrected_at_least, 77);
        assert_eq!(after(&now, &before, &found(&before)), found(&now));
    }
}
