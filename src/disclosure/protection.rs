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
    let mut numbers: BTreeMap<PairFacts, u32> = BTreeMap::new();
    // Player, pair and the number of what is shown of it.
    let mut pairs: Vec<(u32, u32, u32)> = Vec::new();
    for row in publication.rows.iter() {
        let next = u32::try_from(numbers.len()).unwrap_or(u32::MAX);
        let number = *numbers.entry(facts(&row)).or_insert(next);
        let pair = (row.group, row.pair, number);
        if pairs.last() != Some(&pair) {
            pairs.push(pair);
        }
    }
    pairs.sort_by_key(|(group, pair, _)| (*group, *pair));
    pairs.dedup_by_key(|(group, pair, _)| (*group, *pair));
    let classes = Classes::of(&pairs);
    Protection {
        players: classes.of_player.len(),
        pairs: pairs.len(),
        classes: classes.sizes.len(),
        alike: classes.sizes.iter().copied().min(),
        different: different(publication, &classes),
        not_shown: not_shown(&numbers, &pairs),
    }
}

/// Players by what is shown of all their pairs.
struct Classes {
    /// How many players each has.
    sizes: Vec<usize>,
    /// Each player with the number of their class, by player.
    of_player: Vec<(u32, u32)>,
}

impl Classes {
    /// Pairs stand in the order of their players.
    fn of(pairs: &[(u32, u32, u32)]) -> Self {
        let mut numbers: BTreeMap<Vec<u32>, u32> = BTreeMap::new();
        let (mut sizes, mut of_player) = (Vec::new(), Vec::new());
        for pairs in pairs.chunk_by(|a, b| a.0 == b.0) {
            let mut shown: Vec<u32> = pairs.iter().map(|(_, _, number)| *number).collect();
            shown.sort_unstable();
            let next = u32::try_from(numbers.len()).unwrap_or(u32::MAX);
            let class = *numbers.entry(shown).or_insert(next);
            match sizes.get_mut(class as usize) {
                Some(size) => *size += 1,
                None => sizes.push(1),
            }
            of_player.extend(pairs.first().map(|(group, _, _)| (*group, class)));
        }
        Self { sizes, of_player }
    }

    fn of_group(&self, group: u32) -> Option<u32> {
        let found = self
            .of_player
            .binary_search_by_key(&group, |(group, _)| *group);
        let (_, class) = self.of_player.get(found.ok()?)?;
        Some(*class)
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
fn different(publication: &Publication, classes: &Classes) -> Vec<Different> {
    let of_outcome = |outcome: Outcome, class: ShotClass| {
        let is_of = |row: &Row| (row.outcome, row.class) == (outcome, class);
        let rows = publication.rows.iter().filter(is_of);
        let effects = rows.filter_map(|row| {
            let class = classes.of_group(row.group)?;
            Some((class, row.group, row.estimate.to_bits()))
        });
        let mut effects: Vec<(u32, u32, u64)> = effects.collect();
        effects.sort_unstable();
        let of_classes = effects.chunk_by(|a, b| a.0 == b.0);
        let of_several = of_classes.filter(|of_class| {
            let groups = of_class.first().zip(of_class.last());
            groups.is_some_and(|(first, last)| first.1 != last.1)
        });
        let n_different = |of_class: &[(u32, u32, u64)]| {
            let effects = of_class.iter().map(|(_, _, effect)| *effect);
            effects.collect::<BTreeSet<u64>>().len()
        };
        of_several.map(n_different).min()
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

fn not_shown(numbers: &BTreeMap<PairFacts, u32>, pairs: &[(u32, u32, u32)]) -> Vec<(Fact, usize)> {
    let mut n_pairs = vec![0; numbers.len()];
    for (_, _, number) in pairs {
        if let Some(n_pairs) = n_pairs.get_mut(*number as usize) {
            *n_pairs += 1;
        }
    }
    let told = Fact::ALL.iter().filter(|fact| **fact != Fact::Gap);
    let mut counts: BTreeMap<Fact, usize> = told.map(|fact| (*fact, 0)).collect();
    for ((_, _, known), number) in numbers {
        let n_pairs = n_pairs.get(*number as usize).copied().unwrap_or_default();
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
            *counts.entry(fact).or_default() += if is_shown { 0 } else { n_pairs };
        }
    }
    counts.into_iter().collect()
}
