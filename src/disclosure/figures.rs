//! Figures over many players that analyses take as they are: how much sessions differ, and shares
//! by models of counts, which rows do not show.

use super::{CountedPair, Kept, to_three_digits};
use crate::findings::{CountModel, Key, LogOdds, SessionSpread};
use crate::pooling::counts::{Arm, CountPair, CountPairs, exact_odds_ratio};
use crate::pooling::replicates::{Group, Replicates};
use crate::pooling::{Interval, Level, NumericError, RandomMean};
use crate::protocol::AnalysisRules;
use crate::vocabulary::{Outcome, ShotClass};
use std::cmp::Reverse;
use std::collections::BTreeMap;

/// Most pairs that the model of the counts themselves is fitted to; it takes a third of a millisecond
/// for each. A log odds ratio of fifty shots an arm has a standard error of about 0.4, so that of 2,000
/// of them has one of 0.01, to which it is rounded.
const MOST_EXACT: usize = 2_000;

/// Sessions of arms that were played more than once, summed up by arm, as they are gathered pair by
/// pair: each with its player. Players without a row are not among them: subtracting could leave few
/// of them.
#[derive(Debug, Default)]
pub(super) struct Repeated(BTreeMap<(Outcome, ShotClass), Vec<(u32, Group)>>);

impl Repeated {
    /// Takes the next pair.
    ///
    /// # Errors
    /// [`NumericError`] when a session's figures are not usable, which intake rules out.
    pub(super) fn take(
        &mut self,
        place: usize,
        counted: &CountedPair,
        kept: &Kept,
    ) -> Result<(), NumericError> {
        for arm in &counted.repeats {
            let key = Key {
                outcome: arm.outcome,
                class: arm.class,
                band: counted.pair.band,
            };
            if kept.has_row(place, &key) {
                let sessions = arm.sessions.iter().map(|session| {
                    let n = usize::try_from(session.n).unwrap_or_default();
                    (session.mean, session.variance, n)
                });
                let player = u32::try_from(counted.player).ok();
                let arms = self.0.entry((arm.outcome, arm.class)).or_default();
                arms.extend(player.zip(Group::new(sessions)?));
            }
        }
        Ok(())
    }

    /// How much sessions of one player and string bed differ, for every outcome and class in which
    /// at least ten players, and at least the protocol's minimum, repeated sessions.
    pub(super) fn spreads(self, rules: &AnalysisRules) -> Vec<SessionSpread> {
        let minimum_players = rules.minimum_players;
        let mut spreads = Vec::new();
        for ((outcome, class), arms) in self.0 {
            let replicates = Replicates::of_groups(arms);
            if let Ok(found) = replicates.variance()
                && minimum_players <= replicates.n_clusters()
            {
                spreads.push(SessionSpread {
                    outcome,
                    class,
                    variance: to_three_digits(found.value),
                    se: to_three_digits(found.se),
                    players_at_least: replicates.n_clusters() / minimum_players * minimum_players,
                });
            }
        }
        spreads
    }
}

/// Counts behind the primary shares of those who have a row, as they are gathered pair by pair, each
/// with its player.
#[derive(Debug, Default)]
pub(super) struct Counted(BTreeMap<Key, Vec<(u32, Narrow)>>);

/// Events and trials of the first arm and of the second: no session has more shots than this holds.
type Narrow = [u32; 4];

impl Counted {
    pub(super) fn take(
        &mut self,
        place: usize,
        counted: &CountedPair,
        kept: &Kept,
        rules: &AnalysisRules,
    ) {
        for primary in &rules.primary {
            let key = Key {
                outcome: primary.outcome,
                class: primary.class,
                band: counted.pair.band,
            };
            let counts = counts_of(counted, &key).filter(|_| kept.has_row(place, &key));
            let player = u32::try_from(counted.player).ok();
            if let Some(of_player) = player.zip(counts) {
                self.0.entry(key).or_default().push(of_player);
            }
        }
    }

    /// The primary shares by models of the counts. Nothing is said of fewer players than the
    /// protocol's minimum.
    ///
    /// # Errors
    /// [`NumericError`] when counts are not usable, which intake rules out.
    pub(super) fn models(
        mut self,
        rules: &AnalysisRules,
        level: Level,
    ) -> Result<Vec<CountModel>, NumericError> {
        let mut models = Vec::new();
        for primary in &rules.primary {
            for band in rules.bands.all() {
                let key = Key {
                    outcome: primary.outcome,
                    class: primary.class,
                    band,
                };
                let counts = one_each(self.0.remove(&key).unwrap_or_default());
                if rules.minimum_players <= counts.len() {
                    models.push(model(key, &counts, level)?);
                }
            }
        }
        Ok(models)
    }
}

/// The counts behind an effect that counts.
fn counts_of(counted: &CountedPair, key: &Key) -> Option<Narrow> {
    let is_of = |outcome: Outcome, class: ShotClass| (outcome, class) == (key.outcome, key.class);
    let mut effects = counted.pair.effects.iter();
    effects.find(|effect| is_of(effect.outcome, effect.class))?;
    let mut counts = counted.counts.iter();
    let (_, _, counts) = counts.find(|(outcome, class, _)| is_of(*outcome, *class))?;
    let (looser, tighter) = (&counts.looser, &counts.tighter);
    let [a, b, c, d] = [looser.x, looser.n, tighter.x, tighter.n].map(|n| u32::try_from(n).ok());
    Some([a?, b?, c?, d?])
}

/// The counts of one pair of each player: the one with the most shots, and of those with as many the
/// one that its content says, so that their order does not.
fn one_each(mut counts: Vec<(u32, Narrow)>) -> Vec<CountPair> {
    let shots = |[_, first, _, second]: &Narrow| u64::from(*first) + u64::from(*second);
    counts.sort_unstable_by_key(|(player, counts)| (*player, Reverse((shots(counts), *counts))));
    counts.dedup_by_key(|(player, _)| *player);
    let arm = |events: u32, trials: u32| Arm {
        events: events.into(),
        trials: trials.into(),
    };
    let pairs = counts.iter().map(|(_, [a, b, c, d])| CountPair {
        first: arm(*a, *b),
        second: arm(*c, *d),
    });
    pairs.collect()
}

fn model(key: Key, counts: &[CountPair], level: Level) -> Result<CountModel, NumericError> {
    let pairs = CountPairs::new(counts)?;
    let ratios = pairs.log_odds_ratios();
    let normal = ratios.as_ref().ok().and_then(|ratios| {
        let mean = RandomMean::new(&ratios.effects, level).ok()?;
        let interval = mean.hartung_knapp_safe.ok()?.interval();
        Some(log_odds(mean.estimate, interval))
    });
    let exact = exact_odds_ratio(&pairs.thinned(MOST_EXACT), level);
    let random = exact.random.ok();
    Ok(CountModel {
        key,
        k: pairs.k(),
        n_excluded: pairs.n_left_out(),
        normal,
        exact: random.map(|random| log_odds(random.estimate, random.wald.interval())),
    })
}

fn log_odds(estimate: f64, interval: Interval) -> LogOdds {
    LogOdds {
        estimate: to_hundredth(estimate),
        low: to_hundredth(interval.low),
        high: to_hundredth(interval.high),
    }
}

/// Rounded to two decimals; never minus zero.
fn to_hundredth(value: f64) -> f64 {
    (value * 100.0).round() / 100.0 + 0.0
}
