//! What is said of analyses that rows alone do not give: first versions, and how they settled.

use super::{first, line, planned, pooled, publication, rows};
use crate::corpus;
use crate::laws::number;
use std::collections::BTreeMap;
use tautpool::findings::sensitivity::{Sensitivity, sentence};
use tautpool::findings::{Basis, Choice, FirstFigures, Publication, Row};
use tautpool::pages;
use tautpool::protocol::GapBand;
use tautpool::units::{TensionUnit, Units};

/// What was sent first of the rows that `which` holds of.
fn sent_first(
    rows: &[Row],
    which: impl Fn(usize) -> bool,
    figures: impl Fn(&Row) -> FirstFigures,
) -> BTreeMap<usize, FirstFigures> {
    let rows = rows.iter().enumerate();
    rows.filter(|(place, _)| which(*place))
        .map(|(place, row)| (place, figures(row)))
        .collect()
}

fn slower(row: &Row) -> FirstFigures {
    Some((row.estimate - 1.5, 2.0 * row.variance))
}

/// The publication with what it says of first versions.
fn with_first(rows: &[Row], first: &BTreeMap<usize, FirstFigures>) -> Publication {
    let mut made = publication(rows.to_vec());
    made.first_versions = made.with_first_versions(first).unwrap();
    made
}

#[test]
fn first_versions_take_the_place_of_corrected_ones() {
    // Six of twenty-one were corrected, one of these from something that belonged elsewhere.
    let all = rows(17, 21, |_, row| row);
    let mut sent = sent_first(&all, |place| place % 4 == 0, slower);
    sent.insert(8, None);
    let made = with_first(&all, &sent);
    let analysis = first(&made);
    assert_eq!(analysis.corrected_at_least, 5);
    let found = line(&analysis, Sensitivity::FirstVersions).unwrap();
    assert_eq!(found.counts, None);
    let as_sent = all.iter().enumerate().filter_map(|(place, row)| {
        let own = Some((row.estimate, row.variance));
        sent.get(&place).copied().unwrap_or(own)
    });
    let expected = pooled(as_sent).to_bits();
    assert_eq!(found.result.unwrap().estimate.to_bits(), expected);
    let words = "First versions of what at least 5 players corrected, as they were sent before.";
    assert_eq!(sentence(found.kind, analysis.corrected_at_least), words);
    // Nothing else depends on it.
    assert_eq!(analysis.result, first(&publication(all.clone())).result);
    let findings = made.analyse(Choice::default()).unwrap();
    let study = corpus::study();
    let page = pages::study(&pages::StudyView {
        study: &study,
        standing: pages::Standing::Live,
        publication: &made,
        findings: &findings,
        everybody: &[],
        hidden: None,
        states_ordinary: false,
        units: Units::unchosen(TensionUnit::Pound),
        base: None,
        flow: None,
        history: Vec::new(),
    });
    assert!(page.unwrap().contains(words.trim_end_matches('.')));
}

#[test]
fn first_versions_of_too_few_are_not_spoken_of() {
    let all = rows(17, 21, |_, row| row);
    let line_of = |rows: &[Row], sent: &BTreeMap<usize, FirstFigures>| {
        line(&first(&with_first(rows, sent)), Sensitivity::FirstVersions)
    };
    assert_eq!(line_of(&all, &BTreeMap::new()), None);
    assert_eq!(
        line_of(&all, &sent_first(&all, |place| place < 4, slower)),
        None
    );
    assert!(line_of(&all, &sent_first(&all, |place| place < 5, slower)).is_some());
    // Only what the analysis rests on counts: here the planned pairs, four of them corrected.
    let half_planned = rows(17, 21, |idx, row| if idx < 11 { planned(row) } else { row });
    let sent = sent_first(&half_planned, |place| 7 <= place, slower);
    let made = with_first(&half_planned, &sent);
    assert_eq!(first(&made).basis, Basis::Planned);
    assert_eq!(line(&first(&made), Sensitivity::FirstVersions), None);
    // And where four alone would be left with a first version here.
    let few = rows(18, 12, |_, row| row);
    let elsewhere = sent_first(&few, |place| 4 <= place, |_| None);
    assert_eq!(line_of(&few, &elsewhere), None);
    // Two corrected pairs of one player are one player.
    let twice = rows(21, 12, |idx, row| Row {
        group: number(1 + idx / 2),
        pair: number(1 + idx % 2),
        ..row
    });
    assert_eq!(
        line_of(&twice, &sent_first(&twice, |place| place < 8, slower)),
        None
    );
}

#[test]
fn an_estimate_settles_in_steps_of_several_players() {
    let all = rows(23, 44, |idx, row| Row {
        group: number(1 + idx % 40),
        pair: number(1 + idx / 40),
        band: GapBand::Numbered(u8::from(idx % 5 == 4)),
        ..row
    });
    let made = publication(all.clone());
    // They came in the order of the rows, or the other way round.
    let as_listed: Vec<u32> = (0..44).collect();
    let reversed: Vec<u32> = (0..44).rev().collect();
    for came in [&as_listed, &reversed] {
        let reached = made.reached(came).unwrap();
        for (band, n_players) in [(0, 32), (1, 8)] {
            let of_band = reached
                .iter()
                .filter(|step| step.key.band == GapBand::Numbered(band));
            let players: Vec<usize> = of_band.clone().map(|step| step.players).collect();
            assert_eq!(players.last(), Some(&n_players), "{players:?}");
            assert!(5 <= players[0] && players.len() <= 8);
            assert!(
                players.windows(2).all(|pair| pair[0] + 5 <= pair[1]),
                "{players:?}"
            );
            let last = of_band.max_by_key(|step| step.players).unwrap();
            let analyses = made.analyse(Choice::default()).unwrap().analyses;
            let whole = analyses.iter().find(|found| found.key == last.key).unwrap();
            let shown = whole.result.as_ref().unwrap().shown.unwrap();
            assert_eq!(last.estimate.to_bits(), shown.estimate.to_bits());
            assert_eq!(last.interval, shown.interval);
        }
    }
    assert_ne!(
        made.reached(&as_listed).unwrap()[0].estimate.to_bits(),
        made.reached(&reversed).unwrap()[0].estimate.to_bits()
    );
}
