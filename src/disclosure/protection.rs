//! How well rows protect those behind them: worked out from nothing but the rows, so that whoever
//! has a download can check it.

use super::facts::Fact;
use crate::findings::{Circumstances, Publication, Row};
use crate::protocol::GapBand;
use crate::vocabulary::{Outcome, ShotClass};
use std::collections::{BTreeMap, BTreeSet};

/// What the rows of a publication attain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Protection {
    /// Players with rows.
    pub players: usize,
    /// Pairs with rows.
    pub pairs: usize,
    /// Classes of players who are alike in every fact that is shown of all their pairs.
    pub classes: usize,
    /// Players in the smallest class: the k of k-anonymity. `None` without rows.
    pub alike: Option<usize>,
    /// For each primary outcome how many different effects there are at least within a class whose
    /// players have one: distinct l-diversity (Machanavajjhala et al. 2007, ACM Transactions on
    /// Knowledge Discovery from Data 1:3). Knowing somebody's class tells that much less.
    pub different: Vec<Different>,
    /// For how many pairs each fact is not shown: hidden, or not told.
    pub not_shown: Vec<(Fact, usize)>,
}

/// Different effects within a class.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Different {
    /// What is compared.
    pub outcome: Outcome,
    /// For which shots.
    pub class: ShotClass,
    /// The least number of them; `None` where no class has two players with one.
    pub least: Option<usize>,
}

/// What is shown of one pair besides its figures.
type PairFacts = (GapBand, i32, Circumstances);

/// What the rows of a publication attain.
#[must_use]
pub fn protection(publication: &Publication) -> Protection {
    let mut pairs: BTreeMap<(u32, u32), PairFacts> = BTreeMap::new();
    for row in publication.rows.iter() {
        pairs.insert((row.group, row.pair), facts(&row));
    }
    let mut players: BTreeMap<u32, Vec<PairFacts>> = BTreeMap::new();
    for ((group, _), facts) in &pairs {
        players.entry(*group).or_default().push(*facts);
    }
    let mut classes: BTreeMap<Vec<PairFacts>, BTreeSet<u32>> = BTreeMap::new();
    for (group, mut facts) in players {
        facts.sort_unstable();
        classes.entry(facts).or_default().insert(group);
    }
    let different = different(publication, classes.values());
    Protection {
        players: classes.values().map(BTreeSet::len).sum(),
        pairs: pairs.len(),
        classes: classes.len(),
        alike: classes.values().map(BTreeSet::len).min(),
        different,
        not_shown: not_shown(pairs.values()),
    }
}

/// Everything of a row that others may know; what was measured is not among it.
fn facts(row: &Row) -> PairFacts {
    let circumstances = Circumstances {
        partner_pace_kmh: None,
        ..row.circumstances
    };
    (row.band, row.gap_lb, circumstances)
}

/// The least number of different effects in any class of which two players have one.
fn different<'a>(
    publication: &Publication,
    classes: impl Iterator<Item = &'a BTreeSet<u32>>,
) -> Vec<Different> {
    let numbered = classes.enumerate();
    let class_of: BTreeMap<u32, usize> = numbered
        .flat_map(|(number, groups)| groups.iter().map(move |group| (*group, number)))
        .collect();
    let of_outcome = |outcome: Outcome, class: ShotClass| {
        let mut found: BTreeMap<usize, (BTreeSet<u32>, BTreeSet<u64>)> = BTreeMap::new();
        let is_of = |row: &Row| (row.outcome, row.class) == (outcome, class);
        for row in publication.rows.iter().filter(is_of) {
            if let Some(number) = class_of.get(&row.group) {
                let (players, effects) = found.entry(*number).or_default();
                players.insert(row.group);
                effects.insert(row.estimate.to_bits());
            }
        }
        let of_several = found
            .into_values()
            .filter(|(players, _)| 2 <= players.len());
        of_several.map(|(_, effects)| effects.len()).min()
    };
    let primary = publication.rules.primary.iter();
    primary
        .map(|primary| Different {
            outcome: primary.outcome,
            class: primary.class,
            least: of_outcome(primary.outcome, primary.class),
        })
        .collect()
}

fn not_shown<'a>(pairs: impl Iterator<Item = &'a PairFacts>) -> Vec<(Fact, usize)> {
    let told = Fact::ALL.iter().filter(|fact| **fact != Fact::Gap);
    let mut counts: BTreeMap<Fact, usize> = told.map(|fact| (*fact, 0)).collect();
    for (_, _, known) in pairs {
        for (fact, is_shown) in [
            (Fact::Planned, known.planned.is_some()),
            (Fact::Order, known.order.is_some()),
            (Fact::Level, known.level.is_some()),
            (Fact::StringFamily, known.string_family.is_some()),
            (Fact::Blinded, known.blinded.is_some()),
            (Fact::Sessions, known.sessions.is_some()),
            (Fact::StringAge, known.string_age_hours.is_some()),
            (Fact::Month, known.month.is_some()),
            (Fact::Frame, known.frame.is_some()),
        ] {
            *counts.entry(fact).or_default() += usize::from(!is_shown);
        }
    }
    counts.into_iter().collect()
}
