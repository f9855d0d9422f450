//! Analyses that a batch left as they were.
//!
//! A new pair touches the bands that it belongs to, and most others have the very rows that they had
//! before. Their analyses are taken over instead of being made anew, which is most of the work of a
//! batch. An analysis is a function of its rows and of what stands beside them, whatever order the rows
//! have and however players and pairs are numbered; so it is the same, to the last bit, when those are.

use super::selection::Selection;
use super::{Analysis, Findings, Key, Publication, Row};
use std::cmp::Ordering;
use std::collections::BTreeMap;

/// What was published before, with its findings.
#[derive(Clone, Copy, Debug)]
pub struct Before<'a> {
    /// The publication.
    pub publication: &'a Publication,
    /// What was found in it.
    pub findings: &'a Findings,
}

/// The analyses of an earlier publication, with the rows that each was made from.
pub(super) struct Earlier<'a> {
    before: Option<Before<'a>>,
    cells: BTreeMap<Key, Selection<'a>>,
}

impl<'a> Earlier<'a> {
    /// None of them when it was made by other rules, or at another level.
    pub(super) fn of(before: Option<Before<'a>>, now: &Publication) -> Self {
        let before = before.filter(|before| {
            (&before.publication.rules, before.publication.level) == (&now.rules, now.level)
        });
        Self {
            before,
            cells: before.map_or_else(BTreeMap::new, |before| before.publication.cells()),
        }
    }

    /// The analysis of these rows, when it was made before from nothing else. Its p value is adjusted
    /// for how many were asked then.
    pub(super) fn analysis(
        &self,
        now: &Publication,
        key: Key,
        rows: &Selection<'_>,
    ) -> Option<&'a Analysis> {
        let before = self.before?;
        let then = self.cells.get(&key)?;
        let beside = |publication: &Publication| {
            (
                publication.session_spread(&key),
                publication.count_model(&key),
                publication.first_versions_of(&key),
                publication.reached_of(&key),
            )
        };
        let is_same = beside(now) == beside(before.publication)
            && then.k() == rows.k()
            && of_players(then) == of_players(rows);
        let mut analyses = before.findings.analyses.iter();
        analyses.find(|analysis| is_same && analysis.key == key)
    }
}

/// The rows of each player, without numbers that are given anew with every batch, in an order that
/// their content alone decides.
fn of_players(rows: &Selection<'_>) -> Vec<Vec<Row>> {
    let mut players: BTreeMap<u32, Vec<Row>> = BTreeMap::new();
    for row in rows.rows() {
        players.entry(row.group).or_default().push(Row {
            group: 0,
            pair: 0,
            ..row
        });
    }
    let mut players: Vec<Vec<Row>> = players.into_values().collect();
    for rows in &mut players {
        rows.sort_unstable_by(by_content);
    }
    players.sort_unstable_by(|a, b| {
        let mut orders = a.iter().zip(b).map(|(a, b)| by_content(a, b));
        let first = orders.find(|order| order.is_ne());
        first.unwrap_or_else(|| a.len().cmp(&b.len()))
    });
    players
}

/// Rows of one analysis.
fn by_content(a: &Row, b: &Row) -> Ordering {
    a.estimate
        .total_cmp(&b.estimate)
        .then(a.variance.total_cmp(&b.variance))
        .then(a.imputed_variance.total_cmp(&b.imputed_variance))
        .then(a.gap_lb.cmp(&b.gap_lb))
        .then(a.source.cmp(&b.source))
        .then(a.circumstances.cmp(&b.circumstances))
}
